//! Pairs: each probe on its first calibration against each reference.

use std::collections::{BTreeMap, BTreeSet};

use crate::calibration::{
    BathError, Calibration, Calibrations, CovarianceRoot, Liquids, Noise, Sources, immersion, own_sd,
};
use crate::gravity::ReadingErrors;
use crate::season::{Pair, Reference, Season};
use crate::units::{HOURS_PER_DAY, Instant};

use crate::drift::results::{DriftPair, PairKind};
use crate::drift::settings::DriftSettings;

use super::plateau::{NO_BEER, Plateau, plateau_at};

/// A pair with what the model needs beside it.
#[derive(Debug, Clone)]
pub(in crate::drift) struct ModelPair {
    pub pair: DriftPair,
    /// Its error by source: that of the probe on its curve less that of the reference.
    pub errors: ReadingErrors,
    /// The beer of a pair without a sample.
    pub unsampled: Option<UnsampledBeer>,
    /// The instrument of the reference, where it has a bias.
    pub instrument: Option<BiasedInstrument>,
}

/// An instrument with a bias.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct BiasedInstrument {
    pub name: String,
    pub bias: BathError,
}

/// A beer of which no sample was drawn when its probes were at rest in it: its gravity is common to their pairs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::drift) struct UnsampledBeer {
    pub number: usize,
    /// What is known of its gravity beside the `reference_sg` of the pairs, SD, SG.
    pub sd_sg: f64,
}

/// A probe at rest as its first curve reads it.
pub(in crate::drift) struct PlateauGravity {
    pub sg: f64,
    /// Standard error by its own noise, SG.
    pub own_se: f64,
    /// Standard error of the curve, SG.
    pub curve_se: f64,
    pub temp_c: f64,
    /// How fast it falls.
    pub rate_sg_per_day: f64,
    pub errors: ReadingErrors,
}

/// A probe on its first calibration.
pub(in crate::drift) struct CheckedProbe<'a> {
    pub first: &'a Calibration,
    pub root: CovarianceRoot,
    pub noise: Option<Noise>,
}

pub(in crate::drift) struct PairFinder<'a> {
    pub season: &'a Season,
    pub calibrations: &'a Calibrations,
    pub settings: &'a DriftSettings,
    pub liquids: Liquids,
    pub sources: Sources,
    pub shared: BTreeMap<(String, usize), usize>,
    /// Readings of probes that did not float freely.
    pub held: BTreeSet<usize>,
}

impl PairFinder<'_> {
    pub fn found(&self, pair: &Pair, reference: &Reference, checked: &CheckedProbe) -> Option<ModelPair> {
        let first = checked.first;
        if first.baths.iter().any(|bath| bath.references.contains(&pair.reference)) {
            return None;
        }
        let rest = if reference.is_sample() {
            self.in_batch(pair, reference, checked.noise)?
        } else {
            self.in_bath(pair, reference, checked.noise)?
        };
        let PlateauGravity { sg, own_se, curve_se, temp_c, rate_sg_per_day, mut errors } =
            self.seen(checked, reference.batch.as_deref(), &rest)?;
        // An instrument that the curve was made with reads the reference as it read the baths.
        for error in self.sources.of_row(pair.reference) {
            errors.add(error.source, -error.effect);
        }
        let reference_sd = own_sd(reference, self.calibrations.settings.instrument_bias_sg(reference));
        let instrument = self.sources.instrument(pair.reference);
        let instrument = instrument.map(|(name, bias)| BiasedInstrument { name: name.to_owned(), bias });
        // Rows of one instant share the probe's plateau: each holds its part of what it says.
        let row = pair.rows.first().copied();
        let sharers = row.and_then(|row| self.shared.get(&(pair.probe.clone(), row))).copied().unwrap_or(1);
        let pair = DriftPair {
            at: reference.at,
            probe: pair.probe.clone(),
            reference: Some(pair.reference),
            kind: if reference.is_sample() { PairKind::Sample } else { PairKind::Bath },
            reference_sg: reference.sg,
            reference_sd,
            difference_sg: sg - reference.sg,
            own_se: own_se * (sharers as f64).sqrt(),
            curve_se,
            age_d: reference.at.days_since(first.calibrated_at),
            temp_c,
            method: reference.method.clone().unwrap_or_else(|| "not stated".to_owned()),
            batch: reference.batch.clone(),
            rate_sg_per_day,
            left_out: None,
        };
        Some(ModelPair { pair, errors, unsampled: None, instrument })
    }

    /// A probe at rest in a batch, or in a bath, on its first curve.
    pub fn seen(&self, checked: &CheckedProbe, batch: Option<&str>, rest: &Plateau) -> Option<PlateauGravity> {
        let liquid = self.liquids.of(self.season, batch);
        let temp_sd_c = self.calibrations.settings.temp_sd_c;
        let point = checked.first.gravity_at(liquid, rest.tilt_deg, rest.temp_c, temp_sd_c)?;
        let errors = checked.first.reading_errors(&checked.root, liquid, rest.tilt_deg, rest.temp_c, temp_sd_c)?;
        Some(PlateauGravity {
            sg: point.sg,
            own_se: rest.se_deg * point.sg_per_deg,
            curve_se: point.shared_se,
            temp_c: rest.temp_c,
            rate_sg_per_day: -rest.per_h * point.sg_per_deg * HOURS_PER_DAY,
            errors,
        })
    }

    fn in_bath(&self, pair: &Pair, reference: &Reference, noise: Option<Noise>) -> Option<Plateau> {
        immersion(self.season, pair, reference, noise, &self.calibrations.settings).map(|immersion| Plateau {
            tilt_deg: immersion.tilt_deg,
            se_deg: immersion.tilt_sd_deg,
            temp_c: immersion.temp_c,
            per_h: 0.0,
        })
    }

    /// The probe's plateau in a fermentation; a tilt written beside the sample counts as it stands.
    fn in_batch(&self, pair: &Pair, reference: &Reference, noise: Option<Noise>) -> Option<Plateau> {
        let usual = self.calibrations.settings.tilt_sd_deg;
        if let Some(tilt_deg) = pair.own_tilt_deg {
            let se_deg = reference.tilt_sd_deg.filter(|sd| *sd > 0.0).unwrap_or(usual);
            let temp_c = reference.temp_c.unwrap_or(self.calibrations.settings.bath_temp_c);
            return Some(Plateau { tilt_deg, se_deg, temp_c, per_h: 0.0 });
        }
        let readings = &self.season.readings;
        pair.rows.iter().find(|row| self.usable(**row))?;
        let batch = reference.batch.as_deref().and_then(|batch| readings.batch_index(batch));
        let rest = self.rest(&pair.probe, batch, reference.at, noise)?;
        let temp_c = if rest.temp_c.is_finite() { rest.temp_c } else { reference.temp_c? };
        Some(Plateau { temp_c, ..rest })
    }

    /// Whether a reading may be part of a plateau.
    pub fn usable(&self, row: usize) -> bool {
        let flags = self.season.readings.flags.get(row);
        flags.is_some_and(|flags| !flags.intersects(NO_BEER)) && !self.held.contains(&row)
    }

    /// The plateau of a probe in a batch.
    pub fn rest(&self, probe: &str, batch: Option<u32>, at: Instant, noise: Option<Noise>) -> Option<Plateau> {
        let readings = &self.season.readings;
        let window = self.settings.plateau_window_h;
        let keep = |row: usize| self.usable(row) && readings.batch.get(row).copied().flatten() == batch;
        let usual = self.calibrations.settings.tilt_sd_deg;
        let noise = noise.unwrap_or(Noise { sd_deg: usual, rho: 0.0, blocks: 0 });
        let rows = readings.of_probe_between(probe, at.plus_hours(-window), at.plus_hours(window));
        plateau_at(self.season, rows, keep, at, window, noise)
    }
}
