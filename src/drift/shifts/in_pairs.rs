//! The search for sudden shifts that nobody wrote down, in the pairs of all probes: rounds of [`scan`], each with the shifts
//! that those before it found.

use std::collections::BTreeSet;

use crate::drift::model::{FleetModel, NormalMixture, ProbeModel, ShiftTerm, ln_sum};
use crate::drift::results::{Shift, ShiftKind};
use crate::drift::settings::DriftSettings;

use super::scan::{ShiftCandidate, ln_ratios, scan};

assumed! {
    /// Most shifts that are sought on one probe.
    const MOST_A_PROBE: usize = 3, "shifts";
    /// Fewer pairs than this show no shift.
    const PAIRS_NEEDED: usize = 4, "pairs";
    /// A sign goes with the shift of another probe when less than this share of its strength is left, in logarithms.
    const STAYS: f64 = 0.5, "share";
    /// One probe may have shifted as well as another when it is less than so many times less likely.
    const AS_LIKELY: f64 = 20.0, "times";
}

/// The method as it stands in the tables.
const FOUND: &str = "likelihood-ratio scan, calibrated by simulation";

/// SD of the size of a shift that was none, SG.
const NO_SHIFT_SD: f64 = 1e-5;

/// A probe by number and the likeliest shift of it.
struct ShiftSign(usize, ShiftCandidate);

impl DriftSettings {
    /// The model with the shifts that are found in it, and these.
    ///
    /// One round finds at most one shift a probe; what it finds goes into the model like a known event, and the probes
    /// with one are searched again. A sign that goes with the shift of a probe beside waits for the next round.
    pub(in crate::drift) fn find_shifts(&self, model: &FleetModel) -> (FleetModel, Vec<Shift>) {
        let mut model = model.clone();
        let mut shifts = Vec::new();
        let mut open: BTreeSet<usize> = (0..model.probes.len())
            .filter(|p| model.probes.get(*p).is_some_and(|part| part.n() >= *PAIRS_NEEDED))
            .collect();
        for _ in 0..*MOST_A_PROBE {
            if open.is_empty() || self.shift_alarm <= 0.0 {
                break;
            }
            let candidates = scan(&model, self.change_sd_sg, self.common.level);
            let signs: Vec<ShiftSign> =
                candidates.into_iter().enumerate().filter_map(|(p, c)| Some(ShiftSign(p, c?))).collect();
            let is_found = |sign: &&ShiftSign| open.contains(&sign.0) && sign.1.p_probe <= self.shift_alarm;
            let mut found: Vec<&ShiftSign> = signs.iter().filter(is_found).collect();
            found.sort_by(|a, b| b.1.ln_ratio.total_cmp(&a.1.ln_ratio));
            open = found.iter().map(|sign| sign.0).collect();
            while let Some(&strongest) = found.first() {
                let (rivals, gone) = self.rivals(&model, &signs, strongest);
                let group: Vec<&ShiftSign> = [strongest].into_iter().chain(rivals).collect();
                for sign in &group {
                    let Some(part) = model.probes.get(sign.0) else { continue };
                    shifts.push(self.shift(&model, part, sign, &group));
                    let step = self.step(part, &sign.1);
                    model = model.with_step(sign.0, step);
                    open.insert(sign.0);
                }
                found.retain(|sign| !gone.contains(&sign.0) && group.iter().all(|of| of.0 != sign.0));
            }
        }
        (model, shifts)
    }

    fn step(&self, part: &ProbeModel, found: &ShiftCandidate) -> ShiftTerm {
        let (at, months) = (part.instant(found.months), found.months);
        ShiftTerm { at, months, sd: self.change_sd_sg, event: None }
    }

    /// The probes beside one that has a sign whose own sign goes when that one shifted: first those that may as well be the ones
    /// that did, then all of them by number.
    fn rivals<'a>(
        &self,
        model: &FleetModel,
        signs: &'a [ShiftSign],
        of: &ShiftSign,
    ) -> (Vec<&'a ShiftSign>, Vec<usize>) {
        let beside = model.beside(of.0);
        let Some(part) = model.probes.get(of.0).filter(|_| !beside.is_empty()) else { return (Vec::new(), Vec::new()) };
        let left = ln_ratios(&model.with_step(of.0, self.step(part, &of.1)), self.change_sd_sg);
        let goes = |sign: &&ShiftSign| {
            let after = left.get(sign.0).copied().unwrap_or_default();
            beside.contains(&sign.0) && sign.1.ln_ratio > 0.0 && after < *STAYS * sign.1.ln_ratio
        };
        let gone: Vec<&ShiftSign> = signs.iter().filter(goes).collect();
        let numbers = gone.iter().map(|sign| sign.0).collect();
        (gone.into_iter().filter(|sign| sign.1.ln_ratio > of.1.ln_ratio - AS_LIKELY.ln()).collect(), numbers)
    }

    /// A shift that was found, of this probe or another of its group.
    fn shift(
        &self,
        model: &FleetModel,
        part: &ProbeModel,
        ShiftSign(p, found): &ShiftSign,
        group: &[&ShiftSign],
    ) -> Shift {
        let weight = (found.ln_ratio - ln_sum(group.iter().map(|sign| sign.1.ln_ratio))).exp();
        let mut size: Vec<(f64, f64, f64)> =
            found.size.0.iter().map(|(w, mean, sd)| (weight * w, *mean, *sd)).collect();
        if group.len() > 1 {
            size.push((1.0 - weight, 0.0, NO_SHIFT_SD));
        }
        let others = group.iter().filter(|sign| sign.0 != *p).filter_map(|sign| model.probes.get(sign.0));
        Shift {
            probe: part.probe.clone(),
            at: part.instant(found.months),
            earliest: part.instant(found.between.0),
            latest: part.instant(found.between.1),
            shift_sg: NormalMixture(size).estimate(self.common.level, FOUND).into(),
            kind: ShiftKind::Found,
            or_probes: others.map(|part| part.probe.clone()).collect(),
            p_probe: Some(found.p_probe),
            p_fleet: Some(found.p_fleet),
        }
    }
}
