//! What is true, worked out from the calendar and the fleet.

use std::collections::BTreeMap;

use crate::error::Result;
use crate::season::Reference;

use super::ageing::ProbeChange;
use super::bench::BenchDay;
use super::calendar::{Calendar, Planned};
use super::fermentation::Traits;
use super::fleet::SimulatedProbe;
use super::strain::YeastStrain;
use super::truth::{BatchTruth, CurveTruth, ErrorTruth, ProbeTruth, ShiftTruth, StrainTruth};

/// SG at which the errors of probes are stated is 1.020; curves are given on this grid.
const CURVE_SG: (f64, usize) = (0.005, 22);

pub(super) fn batch(calendar: &Calendar, planned: &Planned) -> BatchTruth {
    let Traits { original_sg, terminal_sg, limit_sg, finish_h, lag_h, mid_h, t90_h, .. } = planned.traits;
    let at = |hours: f64| calendar.instant(planned.pitched_day + hours / 24.0);
    BatchTruth {
        batch: planned.id.clone(),
        strain: planned.brew.strain.name.to_owned(),
        original_sg,
        terminal_sg,
        limit_sg,
        lowest_sg: planned.real.sg_at(planned.until_h(calendar)),
        finish_h,
        finish_at: at(finish_h),
        lag_h,
        mid_h,
        t90_h,
        max_rate_sg_per_day: planned.traits.max_rate_sg_per_day,
        attenuation: planned.traits.attenuation,
        attenuation_extract: planned.traits.attenuation_extract,
        abv_percent: planned.traits.abv_percent,
        cooled_at: planned.cooling.filter(|(hours, _)| *hours < planned.until_h(calendar)).map(|(hours, _)| at(hours)),
        end: planned.end(calendar),
    }
}

pub(super) fn strain(strain: YeastStrain, traits: &Traits) -> StrainTruth {
    StrainTruth {
        strain: strain.name.to_owned(),
        maltotriose_share: strain.maltotriose_share,
        speed: strain.speed,
        settling_per_h: strain.settling_per_h,
        stop_temp_c: strain.stop_temp_c,
        usual_temp_c: strain.usual_temp_c,
        attenuation: traits.attenuation,
        lag_h: traits.lag_h,
        mid_h: traits.mid_h,
        max_rate_sg_per_day: traits.max_rate_sg_per_day,
        finish_h: traits.finish_h,
    }
}

/// What is true of the probes of a season is worked out from.
pub(super) struct FleetTruth<'a> {
    pub calendar: &'a Calendar,
    pub fleet: &'a [SimulatedProbe],
    pub sessions: &'a [BenchDay],
    pub references: &'a [Reference],
}

/// A probe with the days that its drift is stated for.
struct Observed<'a> {
    unit: &'a SimulatedProbe,
    curves: Vec<f64>,
    from: f64,
    to: f64,
    then: ProbeChange,
}

impl Observed<'_> {
    fn grid(&self) -> impl Iterator<Item = f64> + '_ {
        (0..).map(|week| self.from + 7.0 * f64::from(week)).take_while(|&day| day <= self.to + 1e-9)
    }

    /// Errors on the first curve: in full, and of gradual change alone.
    fn errors(&self, day: f64) -> Result<(f64, f64)> {
        let before: ProbeChange = self
            .unit
            .ageing
            .shifts
            .iter()
            .filter(|s| s.day <= self.from)
            .fold(ProbeChange::default(), |sum, shift| sum.plus(shift.change));
        let gradual = self.unit.ageing.gradual(day).plus(before);
        Ok((self.unit.error_sg(&self.then, &self.unit.ageing.total(day))?, self.unit.error_sg(&self.then, &gradual)?))
    }
}

impl<'a> FleetTruth<'a> {
    /// Days of the last baths of a probe's calibrations, in order.
    fn curves_from(&self, probe: usize) -> Vec<f64> {
        let own = self.sessions.iter().filter(|s| s.calibrates && s.probes.contains(&probe));
        own.map(BenchDay::last_day).collect()
    }

    /// Last day on which a reading of this probe can be held against a reference: baths and samples of its batches.
    fn observed_to(&self, unit: &SimulatedProbe, probe: usize) -> f64 {
        let batches: Vec<&str> = self.calendar.of_probe(probe).map(|batch| batch.id.as_str()).collect();
        let touches = |r: &&Reference| {
            let is_of_batch = r.batch.as_deref().is_some_and(|b| batches.contains(&b));
            r.probe.as_deref() == Some(unit.row.probe.as_str()) || is_of_batch
        };
        let days = self.references.iter().filter(touches).map(|r| r.at.days_since(self.calendar.start));
        days.fold(0.0, f64::max)
    }

    fn observed(&self) -> impl Iterator<Item = Observed<'a>> {
        self.fleet.iter().enumerate().filter_map(|(probe, unit)| {
            let curves = self.curves_from(probe);
            let from = *curves.first()?;
            Some(Observed { unit, from, to: self.observed_to(unit, probe), then: unit.ageing.total(from), curves })
        })
    }

    /// The truth of every probe, by id.
    pub fn probes(&self) -> Result<Vec<ProbeTruth>> {
        let mut by_id = BTreeMap::new();
        for seen in self.observed() {
            let (unit, then) = (seen.unit, seen.then);
            let points = seen.grid().map(|day| Ok((day, seen.errors(day)?))).collect::<Result<Vec<_>>>()?;
            let slope = |pick: fn(&(f64, f64)) -> f64| {
                let n = points.len().max(1) as f64;
                let middle = points.iter().map(|p| p.0).sum::<f64>() / n;
                let spread: f64 = points.iter().map(|p| (p.0 - middle).powi(2)).sum();
                let moment: f64 = points.iter().map(|p| (p.0 - middle) * pick(&p.1)).sum();
                (spread > 0.0).then(|| 30.0 * moment / spread)
            };
            let mass_g = unit.body.mass_g + then.mass_g;
            by_id.insert(
                unit.row.probe.clone(),
                ProbeTruth {
                    probe: unit.row.probe.clone(),
                    k_kg_m3: mass_g * 1e-3 / (std::f64::consts::PI * (unit.body.radius_mm * 1e-3).powi(3)),
                    total_mass_g: mass_g,
                    radius_mm: unit.body.radius_mm,
                    e_mm: (unit.body.mass_g * unit.body.e_mm + then.across_g_mm) / mass_g,
                    z_g_mm: (unit.body.mass_g * unit.body.z_g_mm + then.along_g_mm) / mass_g,
                    zero_deg: unit.sensor.zero_deg + then.zero_deg,
                    expansion_per_k: unit.body.expansion_per_k,
                    water_tilt_deg: unit.bath_tilt_deg(&then, 1.0)?,
                    tilt_at_1100_deg: unit.bath_tilt_deg(&then, 1.100)?,
                    from: self.calendar.instant(seen.from),
                    to: self.calendar.instant(seen.to),
                    drift_sg_per_30d: slope(|e| e.0),
                    gradual_sg_per_30d: slope(|e| e.1),
                },
            );
        }
        Ok(by_id.into_values().collect())
    }

    /// Weekly errors of every probe, by id.
    pub fn errors(&self) -> Result<Vec<ErrorTruth>> {
        let mut out = Vec::new();
        for seen in self.observed() {
            for day in seen.grid() {
                let (error_sg, gradual_error_sg) = seen.errors(day)?;
                let latest = seen.curves.iter().copied().filter(|&curve| curve <= day).fold(seen.from, f64::max);
                let since = seen.unit.error_sg(&seen.unit.ageing.total(latest), &seen.unit.ageing.total(day))?;
                out.push(ErrorTruth {
                    probe: seen.unit.row.probe.clone(),
                    at: self.calendar.instant(day),
                    error_sg,
                    gradual_error_sg,
                    since_last_sg: since,
                });
            }
        }
        out.sort_by(|a, b| (&a.probe, a.at).cmp(&(&b.probe, b.at)));
        Ok(out)
    }

    /// Sudden changes after the first calibration, by probe and time.
    pub fn shifts(&self) -> Result<Vec<ShiftTruth>> {
        let mut out = Vec::new();
        for (probe, unit) in self.fleet.iter().enumerate() {
            let from = self.curves_from(probe).first().copied().unwrap_or(0.0);
            for shift in unit.ageing.shifts.iter().filter(|shift| shift.day > from) {
                let after = unit.ageing.total(shift.day);
                // A moment before: shifts fall on different moments.
                let before = unit.ageing.total(shift.day - 1e-6);
                out.push(ShiftTruth {
                    probe: unit.row.probe.clone(),
                    at: self.calendar.instant(shift.day),
                    kind: shift.kind.to_owned(),
                    recorded: shift.recorded,
                    shift_sg: unit.error_sg(&before, &after)?,
                });
            }
        }
        out.sort_by(|a, b| (&a.probe, a.at).cmp(&(&b.probe, b.at)));
        Ok(out)
    }

    /// The true curve of every calibration, by probe and time.
    pub fn curves(&self) -> Result<Vec<CurveTruth>> {
        let mut out = Vec::new();
        for (probe, unit) in self.fleet.iter().enumerate() {
            for (calibration, day) in self.curves_from(probe).into_iter().enumerate() {
                let change = unit.ageing.total(day);
                for i in 0..CURVE_SG.1 {
                    let sg = 0.995 + CURVE_SG.0 * i as f64;
                    out.push(CurveTruth {
                        probe: unit.row.probe.clone(),
                        calibration: calibration + 1,
                        calibrated_at: self.calendar.instant(day),
                        sg,
                        tilt_deg: unit.bath_tilt_deg(&change, sg)?,
                    });
                }
            }
        }
        out.sort_by(|a, b| (&a.probe, a.calibration).cmp(&(&b.probe, b.calibration)).then(a.sg.total_cmp(&b.sg)));
        Ok(out)
    }
}
