//! Which readings belong to which reference.

use crate::season::{Reference, Season};
use crate::units::Instant;

use super::noise::{Noise, UNUSABLE, middle};

/// A reference and the readings of one probe that belong to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Pairing {
    /// Row of `Season::references`.
    pub reference: usize,
    /// The probe.
    pub probe: String,
    /// Rows of `Season::readings`, in order of time; empty where the reference brings its own tilt.
    pub rows: Vec<usize>,
    /// How many references share these readings: rows taken at the same instant do.
    pub sharers: usize,
}

/// Pairs every reference with the readings of its probe; a sample without probe, with those of every probe that read
/// in its batch.
///
/// A reading belongs to the reference nearest in time, within `window_min` minutes, and to no other, unless several
/// references were taken at the same instant. A sample takes readings of its batch only; a bath takes none that the
/// log labels with a batch. Readings that are out of range, frozen or at a jump of the clock belong to none. A
/// reference with neither a tilt of its own nor readings is in no pair.
pub fn pair_references(season: &Season, window_min: f64) -> Vec<Pairing> {
    let mut pairings = Vec::new();
    for probe in &probe_ids(season) {
        let claims = claims_of(season, probe);
        let mut rows_of = vec![Vec::new(); claims.len()];
        assign_readings(season, probe, &claims, window_min / 60.0, &mut rows_of);
        for (claim, rows) in claims.iter().zip(&rows_of) {
            let own_tilt = claim.reference_has_tilt(season, probe);
            if !own_tilt && rows.is_empty() {
                continue;
            }
            let sharers = claims.iter().filter(|other| other.at == claim.at && other.batch == claim.batch).count();
            pairings.push(Pairing {
                reference: claim.reference,
                probe: probe.clone(),
                rows: if own_tilt { Vec::new() } else { rows.clone() },
                sharers: sharers.max(1),
            });
        }
    }
    pairings
}

/// Every probe id of the season: of its readings, its references and its table, sorted.
pub(crate) fn probe_ids(season: &Season) -> Vec<String> {
    let mut ids = season.readings.probe_ids.clone();
    ids.extend(season.references.iter().filter_map(|r| r.probe.clone()));
    ids.extend(season.probes.iter().map(|p| p.probe.clone()));
    ids.sort();
    ids.dedup();
    ids
}

/// A reference that may have readings of one probe.
struct Claim {
    reference: usize,
    at: Instant,
    /// The batch of a sample, as an index into the readings' ids; none for a bath.
    batch: Option<u32>,
    sample: bool,
}

impl Claim {
    /// A tilt that the reference brings counts for the probe it names.
    fn reference_has_tilt(&self, season: &Season, probe: &str) -> bool {
        season.references.get(self.reference).is_some_and(|r| r.tilt_deg.is_some() && r.probe.as_deref() == Some(probe))
    }
}

fn claims_of(season: &Season, probe: &str) -> Vec<Claim> {
    let mut claims: Vec<Claim> = season
        .references
        .iter()
        .enumerate()
        .filter(|(_, r)| r.sg.is_finite() && concerns(r, probe))
        .map(|(reference, r)| Claim {
            reference,
            at: r.at,
            batch: r.batch.as_deref().and_then(|batch| season.readings.batch_index(batch)),
            sample: r.is_sample(),
        })
        .collect();
    claims.sort_by_key(|claim| claim.at);
    claims
}

/// A reference that names a probe is about that one; a sample that names none is about every probe in its batch.
fn concerns(reference: &Reference, probe: &str) -> bool {
    match &reference.probe {
        Some(own) => own == probe,
        None => reference.is_sample(),
    }
}

fn assign_readings(season: &Season, probe: &str, claims: &[Claim], window_h: f64, rows_of: &mut [Vec<usize>]) {
    let readings = &season.readings;
    let (Some(first), Some(last)) = (claims.first(), claims.last()) else { return };
    let range = readings.of_probe_between(probe, first.at.plus_hours(-window_h), last.at.plus_hours(window_h));
    for row in range {
        let Some(reading) = readings.get(row) else { continue };
        if reading.flags.intersects(UNUSABLE) || !reading.tilt_deg.is_finite() {
            continue;
        }
        let batch = readings.batch.get(row).copied().flatten();
        let labelled = readings.batch_given.get(row).copied().unwrap_or(false);
        let from = claims.partition_point(|claim| claim.at < reading.at.plus_hours(-window_h));
        let mut nearest: Option<f64> = None;
        let mut owners: Vec<usize> = Vec::new();
        for (i, claim) in claims.iter().enumerate().skip(from) {
            if claim.at > reading.at.plus_hours(window_h) {
                break;
            }
            let fits = if claim.sample {
                claim.batch.is_some() && claim.batch == batch
            } else {
                !(labelled && batch.is_some())
            };
            let apart = reading.at.hours_since(claim.at).abs();
            if !fits || nearest.is_some_and(|least| apart > least) {
                continue;
            }
            let same_instant = owners.first().and_then(|&o| claims.get(o)).is_some_and(|owner| owner.at == claim.at);
            if !same_instant {
                if nearest.is_some_and(|least| apart >= least) {
                    continue;
                }
                owners.clear();
            }
            nearest = Some(apart);
            owners.push(i);
        }
        for owner in owners {
            if let Some(rows) = rows_of.get_mut(owner) {
                rows.push(row);
            }
        }
    }
}

/// A steady tilt and temperature from readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SteadyTilt {
    /// Mean tilt, degrees.
    pub tilt_deg: f64,
    /// Its standard error by the noise of the readings, degrees.
    pub se_deg: f64,
    /// Mean temperature, C.
    pub temp_c: f64,
    /// Readings used.
    pub n: usize,
}

/// The tilt of a probe that rests in a bath at `at`, from the readings `rows`.
///
/// Seed: the median of the three readings nearest in time. Used: the unbroken run round the nearest reading whose
/// tilts are within five noise SDs (and at least one degree) of the seed, so that readings from the way to the bath
/// stay out. The variance of one reading pools the run's own spread with the probe's noise, which counts as ten
/// readings; autocorrelation raises the variance of the mean by (1 + rho)/(1 - rho).
pub(crate) fn steady_tilt(season: &Season, rows: &[usize], at: Instant, noise: Noise) -> Option<SteadyTilt> {
    const NOISE_DF: f64 = 10.0;
    let readings: Vec<(f64, f64, f64)> = rows
        .iter()
        .filter_map(|&row| season.readings.get(row))
        .map(|r| (r.at.hours_since(at), r.tilt_deg, r.temp_c))
        .collect();
    let mut by_distance: Vec<usize> = (0..readings.len()).collect();
    by_distance.sort_by(|&a, &b| distance(&readings, a).total_cmp(&distance(&readings, b)));
    let centre = *by_distance.first()?;
    let mut nearest: Vec<f64> =
        by_distance.iter().take(3).filter_map(|&i| readings.get(i)).map(|&(_, tilt, _)| tilt).collect();
    let seed = middle(&mut nearest)?;
    let reach = (5.0 * noise.sd_deg).max(1.0);
    let near = |&(_, tilt, _): &(f64, f64, f64)| (tilt - seed).abs() <= reach;
    let (before, after) = readings.split_at_checked(centre)?;
    let mut run: Vec<(f64, f64, f64)> = before.iter().rev().take_while(|r| near(r)).copied().collect();
    run.extend(after.iter().take_while(|r| near(r)).copied());
    if run.is_empty() {
        run.extend(readings.get(centre).copied());
    }
    let n = run.len() as f64;
    let tilt_deg = run.iter().map(|r| r.1).sum::<f64>() / n;
    let squares: f64 = run.iter().map(|r| (r.1 - tilt_deg).powi(2)).sum();
    let variance = (NOISE_DF * noise.sd_deg.powi(2) + squares) / (NOISE_DF + n - 1.0);
    let inflation = noise.inflation().min(n);
    let temps: Vec<f64> = run.iter().map(|r| r.2).filter(|t| t.is_finite()).collect();
    let temp_c = if temps.is_empty() { f64::NAN } else { temps.iter().sum::<f64>() / temps.len() as f64 };
    Some(SteadyTilt { tilt_deg, se_deg: (variance * inflation / n).sqrt(), temp_c, n: run.len() })
}

fn distance(readings: &[(f64, f64, f64)], index: usize) -> f64 {
    readings.get(index).map_or(f64::INFINITY, |r| r.0.abs())
}
