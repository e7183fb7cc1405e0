//! Sessions: baths of one probe that belong together, and whether they define a curve.

use std::collections::BTreeMap;

use crate::fit::robust::median_of;
use crate::season::{Pair, Reference, ReferenceUse, Season};
use crate::units::Instant;

use super::CalibrationSettings;
use super::errors::{Sources, is_tap_water};
use super::fit_data::LEAST_OFF_SG;
use super::noise::{Noise, UNUSABLE};

assumed! {
    /// Baths whose SG differs by no more than this are one gravity; a bath this near to 1 is water.
    const SAME_SG: f64 = 0.0005, "SG";
    /// Gravities besides water that a calibration needs.
    const OTHER_GRAVITIES: usize = 3, "gravities";
    /// The same of a provisional one.
    const PROVISIONAL_GRAVITIES: usize = 2, "gravities";
}

/// One immersion of a probe in a bath.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Immersion {
    pub reference: usize,
    pub at: Instant,
    pub bath: Option<String>,
    pub water: bool,
    pub sg: f64,
    pub sg_sd: f64,
    pub temp_c: f64,
    pub tilt_deg: f64,
    pub tilt_sd_deg: f64,
    pub use_as: Option<ReferenceUse>,
}

/// Baths of one probe, each less than the session gap from the next, in order of time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BathSession {
    pub probe: String,
    pub immersions: Vec<Immersion>,
    /// True where it gives a provisional curve with water and two others, as nothing better gives this probe one.
    pub provisional: bool,
}

/// What a session may do.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Role<'a> {
    /// These immersions define a curve.
    Defines(Vec<&'a Immersion>),
    /// It is a check, because.
    Check(String),
}

/// The sessions of one probe, from its pairs.
pub(crate) fn sessions_of(
    season: &Season,
    probe: &str,
    pairs: &[Pair],
    noise: Option<Noise>,
    settings: &CalibrationSettings,
) -> Vec<BathSession> {
    let mut immersions: Vec<Immersion> = pairs
        .iter()
        .filter(|pair| pair.probe == probe)
        .filter_map(|pair| Some((pair, season.references.get(pair.reference)?)))
        .filter(|(_, reference)| !reference.is_sample())
        .filter_map(|(pair, reference)| immersion(season, pair, reference, noise, settings))
        .collect();
    immersions.sort_by_key(|immersion| immersion.at);
    let together = |a: &Immersion, b: &Immersion| b.at.hours_since(a.at) < settings.session_gap_h;
    let session =
        |group: &[Immersion]| BathSession { probe: probe.to_owned(), immersions: group.to_vec(), provisional: false };
    let mut sessions: Vec<BathSession> = immersions.chunk_by(together).map(session).collect();
    let defines = |session: &BathSession| matches!(session.role(), Role::Defines(_));
    if !sessions.iter().any(defines) {
        for session in &mut sessions {
            session.provisional = true;
            if defines(session) {
                break;
            }
            session.provisional = false;
        }
    }
    sessions
}

/// The immersion of a pair; none when its readings are all unusable.
pub(crate) fn immersion(
    season: &Season,
    pair: &Pair,
    reference: &Reference,
    noise: Option<Noise>,
    settings: &CalibrationSettings,
) -> Option<Immersion> {
    let usual = noise.unwrap_or(Noise { sd_deg: settings.tilt_sd_deg, rho: 0.0, blocks: 0 });
    let steady = steady_tilt(season, &pair.rows, reference.at, usual);
    let (tilt_deg, tilt_sd_deg) = match (pair.own_tilt_deg, steady) {
        (Some(tilt), _) => (tilt, reference.tilt_sd_deg.filter(|sd| *sd > 0.0).unwrap_or(settings.tilt_sd_deg)),
        (_, Some(steady)) => (steady.tilt_deg, steady.se_deg.hypot(settings.tilt_sd_deg)),
        _ => return None,
    };
    let logged = steady.map(|steady| steady.temp_c).filter(|temp| temp.is_finite());
    let bath = reference.bath.clone();
    Some(Immersion {
        reference: pair.reference,
        at: reference.at,
        water: is_water(reference),
        bath,
        sg: reference.sg,
        sg_sd: reference.sd(),
        temp_c: reference.temp_c.or(logged).unwrap_or(settings.bath_temp_c),
        tilt_deg,
        tilt_sd_deg,
        use_as: reference.use_as,
    })
}

/// Water by its method or by its gravity.
pub(crate) fn is_water(reference: &Reference) -> bool {
    reference.method.as_deref() == Some("water") || is_tap_water(reference) || (reference.sg - 1.0).abs() <= *SAME_SG
}

impl BathSession {
    /// The time of its last bath.
    pub fn ended(&self) -> Option<Instant> {
        self.immersions.last().map(|immersion| immersion.at)
    }

    /// Whether it defines a curve: with water and at least three other gravities it does; a bath marked `calibrate` or
    /// `both` makes it do so whatever it holds, one marked `check` is left out of the curve.
    pub fn role(&self) -> Role<'_> {
        let baths: Vec<&Immersion> =
            self.immersions.iter().filter(|bath| bath.use_as != Some(ReferenceUse::Check)).collect();
        if baths.is_empty() {
            return Role::Check("all its baths are marked as checks".into());
        }
        let asked = baths.iter().any(|b| matches!(b.use_as, Some(ReferenceUse::Calibrate | ReferenceUse::Both)));
        let water = baths.iter().any(|b| b.water);
        let wanted = if self.provisional { *PROVISIONAL_GRAVITIES } else { *OTHER_GRAVITIES };
        let others = distinct(baths.iter().filter(|b| !b.water).map(|b| b.sg));
        if asked || (water && others >= wanted) {
            return Role::Defines(baths);
        }
        let water = if water { "water" } else { "no water" };
        let gravities = match others {
            0 => "no other gravity".to_owned(),
            1 => "1 other gravity".to_owned(),
            n => format!("{n} other gravities"),
        };
        Role::Check(format!("{water} and {gravities}; a calibration needs water and {}", *OTHER_GRAVITIES))
    }
}

/// How many gravities are apart by more than [`SAME_SG`].
pub(super) fn distinct(sgs: impl Iterator<Item = f64>) -> usize {
    let mut sorted: Vec<f64> = sgs.collect();
    sorted.sort_by(f64::total_cmp);
    let mut last = f64::NEG_INFINITY;
    let apart = |sg: &&f64| {
        let far = **sg - last > *SAME_SG;
        last = if far { **sg } else { last };
        far
    };
    sorted.iter().filter(apart).count()
}

/// Rows whose gravity is not the one at which most rows of the same bath stand: a slip for one probe.
pub(super) fn mistyped(season: &Season, sources: &Sources) -> Vec<usize> {
    let mut baths: BTreeMap<usize, Vec<(usize, f64)>> = BTreeMap::new();
    for (row, reference) in season.references.iter().enumerate().filter(|(_, r)| !r.is_sample() && !r.is_ignored()) {
        if let Some(bath) = sources.of_row(row).first() {
            baths.entry(bath.source).or_default().push((row, reference.sg));
        }
    }
    let slips = |rows: &Vec<(usize, f64)>| {
        let off = |from: f64, by: f64| rows.iter().filter(move |(_, sg)| (sg - from).abs() >= by).map(|(row, _)| *row);
        let most = rows.iter().find(|(_, sg)| 2 * off(*sg, *SAME_SG).count() < rows.len());
        most.map(|(_, sg)| off(*sg, *LEAST_OFF_SG).collect::<Vec<usize>>()).unwrap_or_default()
    };
    baths.values().flat_map(slips).collect()
}

/// Immersions by bath: the same name, or no name and the same gravity.
pub(crate) fn replicates<'a>(immersions: &[&'a Immersion]) -> Vec<Vec<&'a Immersion>> {
    let mut groups: Vec<Vec<&Immersion>> = Vec::new();
    for &immersion in immersions {
        let same = |other: &Immersion| match (&immersion.bath, &other.bath) {
            (Some(a), Some(b)) => a == b,
            (None, None) => (immersion.sg - other.sg).abs() <= *SAME_SG,
            _ => false,
        };
        match groups.iter_mut().find(|group| group.first().is_some_and(|first| same(first))) {
            Some(group) => group.push(immersion),
            None => groups.push(vec![immersion]),
        }
    }
    groups
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
        .filter(|r| !r.flags.intersects(UNUSABLE) && r.tilt_deg.is_finite())
        .map(|r| (r.at.hours_since(at), r.tilt_deg, r.temp_c))
        .collect();
    let mut by_distance: Vec<(f64, usize, f64)> =
        readings.iter().enumerate().map(|(i, r)| (r.0.abs(), i, r.1)).collect();
    by_distance.sort_by(|a, b| a.0.total_cmp(&b.0));
    let &(_, centre, _) = by_distance.first()?;
    let seed = median_of(&mut by_distance.iter().take(3).map(|r| r.2).collect::<Vec<f64>>())?;
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

#[cfg(test)]
#[path = "../../tests/inside/sessions.rs"]
mod tests;
