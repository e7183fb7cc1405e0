//! From a batch's readings round its cooling to the coefficient.

use crate::calibration::{Calibration, Calibrations, CovarianceRoot};
use crate::error::Result;
use crate::fit::robust::median_of;
use crate::fit::{Estimate, Finding, quantile};
use crate::gravity::{Gravity, GravitySeries, Liquids};
use crate::liquid::BeerDensity;
use crate::season::{Batch, Flags, Season};
use crate::units::Instant;

use super::plateaus::{CoolingPoint, TempPlateau, cold, warm};
use super::result::{ShellEffect, ShellEffects};
use super::settings::ShellEffectSettings;

/// Events after which the beer, or the probe, is no longer the same.
const CHANGES: [&str; 10] =
    ["dry_hop", "sugar_added", "diluted", "moved", "knocked", "cleaned", "cell_swap", "shell", "board", "reweighed"];

impl ShellEffectSettings {
    /// Looks at the cooling of each batch through each of its probes; `series` are the batches' gravities.
    ///
    /// # Method
    /// With `y = ln rho_curve(tilt) - ln rho_liquid(SG, T)` of each reading, SG being that before the cooling, the
    /// coefficient is `(y_warm - y_cold)/(T_warm - T_cold)`. Plateaus are means of six-hour medians: of the 48 h before the
    /// cooling, where the fall of SG must be shown to be small, and of the settled cold. Errors come from the scatter of the
    /// blocks (Welch's t) and from the curve between the two tilts.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] for a setting that cannot be; those of the liquid formulas for an original gravity outside
    /// 1.0 to 1.2.
    pub fn run(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        gravity: &Gravity,
        series: &[GravitySeries],
    ) -> Result<ShellEffects> {
        self.check()?;
        let liquids = calibrations.liquids(season)?;
        let mut effects = Vec::new();
        for series in series {
            let Some(batch) = season.batch(&series.batch) else { continue };
            for probe in 0..series.probes.len() {
                let log = CoolingLog { season, calibrations, gravity, series, batch, probe: probe as u32 };
                effects.push(self.effect(&log, &liquids)?);
            }
        }
        Ok(ShellEffects { effects, settings: self.clone() })
    }

    fn effect(&self, log: &CoolingLog<'_>, liquids: &Liquids) -> Result<ShellEffect> {
        let (series, batch) = (log.series, log.batch);
        let probe = series.probes.get(log.probe as usize).map_or("", |p| p.probe.as_str());
        // A plan that lies ahead is no cooling yet.
        let cooled_h = series.cooled_hours.filter(|cooled| series.hours.last().is_some_and(|last| last > cooled));
        let mut effect = ShellEffect {
            probe: probe.to_owned(),
            batch: batch.batch.clone(),
            calibration: None,
            cooled_at: cooled_h.map(|h| batch.pitched_at.plus_hours(h)),
            sg: None,
            temps_c: None,
            readings: None,
            effective_per_k: Finding::missing("no cooling was seen"),
            stated_per_k: None,
            stated_sd_per_k: None,
            agreement_p: None,
        };
        let Some(cooled_h) = cooled_h else { return Ok(effect) };
        let liquid = liquids.of(log.season, Some(batch.batch.as_str()));
        if let Err(why) = self.tell(log, liquid, cooled_h, &mut effect) {
            effect.effective_per_k = Finding::missing(why);
        }
        Ok(effect)
    }

    /// Fills the effect as far as it can be had, or says why not.
    fn tell(
        &self,
        log: &CoolingLog<'_>,
        liquid: &BeerDensity,
        cooled_h: f64,
        effect: &mut ShellEffect,
    ) -> std::result::Result<(), String> {
        let calibration = log.calibration(cooled_h - self.warm_h)?;
        effect.calibration = Some(calibration.calibration.clone());
        effect.stated_per_k = Some(3.0 * calibration.shell.linear_per_k);
        effect.stated_sd_per_k = Some(3.0 * calibration.shell.sd_per_k);
        let sg = log.sg_before(cooled_h, self.warm_h).ok_or("no readings before the cooling")?;
        effect.sg = Some(sg);
        let points = log.points(calibration, liquid, sg, cooled_h - self.warm_h);
        let before = warm(&points, cooled_h, sg, self)?;
        let after = cold(&points, cooled_h, self)?;
        effect.temps_c = Some((before.temp_c, after.temp_c));
        effect.readings = Some((before.readings, after.readings));
        let cooling = before.temp_c - after.temp_c;
        if cooling < self.least_cooling_c {
            let least = self.least_cooling_c;
            return Err(format!("the cooling is too small: {cooling:.1} K; {least:.1} K wanted"));
        }
        log.unchanged(cooled_h - self.warm_h, after.last_h)?;
        let curve = log.curve_variance(calibration, &before, &after, liquid, sg);
        let estimate = self.coefficient(&before, &after, curve).map_err(|why| why.to_string())?;
        let stated_sd = 3.0 * calibration.shell.sd_per_k;
        let away = (estimate.value - 3.0 * calibration.shell.linear_per_k) / estimate.se.hypot(stated_sd);
        effect.agreement_p = Some(2.0 * quantile::normal_upper_tail(away.abs()));
        effect.effective_per_k = Finding::Estimated(estimate);
        Ok(())
    }

    fn coefficient(&self, before: &TempPlateau, after: &TempPlateau, curve_variance: f64) -> Result<Estimate> {
        let cooling = before.temp_c - after.temp_c;
        let variance = before.variance + after.variance + curve_variance;
        // Welch and Satterthwaite; the curve's part is as good as known.
        let df = variance.powi(2) / (before.variance.powi(2) / before.df + after.variance.powi(2) / after.df);
        let (value, se) = ((before.mean - after.mean) / cooling, variance.sqrt() / cooling);
        Estimate::student_t(value, se, df.min(1e6), self.common.level, "six-hour blocks, Welch's t")
    }
}

/// One probe in one batch.
struct CoolingLog<'a> {
    season: &'a Season,
    calibrations: &'a Calibrations,
    gravity: &'a Gravity,
    series: &'a GravitySeries,
    batch: &'a Batch,
    probe: u32,
}

impl<'a> CoolingLog<'a> {
    /// Places in the series of this probe's readings from that hour on.
    fn places(&self, from_h: f64) -> impl Iterator<Item = usize> {
        let series = self.series;
        (0..series.hours.len()).filter(move |&i| {
            series.probe.get(i) == Some(&self.probe) && series.hours.get(i).is_some_and(|h| *h >= from_h)
        })
    }

    /// The one calibration that all readings from that hour on rest on.
    fn calibration(&self, from_h: f64) -> std::result::Result<&'a Calibration, String> {
        let used = |i: usize| {
            let row = *self.series.rows.get(i)?;
            self.gravity.calibration.get(row).copied().flatten()
        };
        let mut all: Vec<u32> = self.places(from_h).filter_map(used).collect();
        all.dedup();
        match all.as_slice() {
            [] => Err("no readings round the cooling".to_owned()),
            &[one] => self.calibrations.calibrations.get(one as usize).ok_or_else(|| "no calibration".to_owned()),
            _ => Err("the probe was calibrated again in between".to_owned()),
        }
    }

    /// Median SG of the hours before the cooling.
    fn sg_before(&self, cooled_h: f64, window_h: f64) -> Option<f64> {
        let series = self.series;
        let warm = |i: &usize| series.hours.get(*i).is_some_and(|h| *h < cooled_h);
        let mut sg: Vec<f64> =
            self.places(cooled_h - window_h).filter(warm).filter_map(|i| series.sg.get(i).copied()).collect();
        median_of(&mut sg)
    }

    fn points(&self, calibration: &Calibration, liquid: &BeerDensity, sg: f64, from_h: f64) -> Vec<CoolingPoint> {
        let series = self.series;
        let one = |i: usize| {
            let reading = self.season.readings.get(*series.rows.get(i)?)?;
            let curve = calibration.fitted.curve.at(reading.tilt_deg)?.density_kg_m3;
            let beer = liquid.density_kg_m3(sg, reading.temp_c).ok()?;
            Some(CoolingPoint { hours: *series.hours.get(i)?, log_ratio: (curve / beer).ln(), temp_c: reading.temp_c })
        };
        self.places(from_h).filter_map(one).collect()
    }

    /// Nothing that changes beer or probe is written down in between, and no curve went stale.
    fn unchanged(&self, from_h: f64, to_h: f64) -> std::result::Result<(), String> {
        let at = |h: f64| self.batch.pitched_at.plus_hours(h);
        let (from, to): (Instant, Instant) = (at(from_h), at(to_h));
        let probe = self.series.probes.get(self.probe as usize).map(|p| p.probe.as_str());
        let own = |batch: Option<&str>, of: Option<&str>| batch == Some(self.batch.batch.as_str()) || of == probe;
        let change = self.season.events.iter().find(|e| {
            CHANGES.contains(&e.kind.as_str())
                && (from..=to).contains(&e.at)
                && own(e.batch.as_deref(), e.probe.as_deref())
        });
        if let Some(change) = change {
            return Err(format!("{} at {} changed beer or probe in between", change.kind, change.at));
        }
        let mut stale = self.places(from_h).filter_map(|i| {
            let row = *self.series.rows.get(i)?;
            self.gravity.flags.get(row).map(|flags| flags.intersects(Flags::CALIBRATION_STALE))
        });
        let first = stale.next();
        if stale.any(|now| Some(now) != first) {
            return Err("the calibration became stale in between".to_owned());
        }
        Ok(())
    }

    /// Variance that the curve's coefficients bring to the difference of the two plateaus.
    fn curve_variance(
        &self,
        calibration: &Calibration,
        before: &TempPlateau,
        after: &TempPlateau,
        liquid: &BeerDensity,
        sg: f64,
    ) -> f64 {
        let root = CovarianceRoot::of(&calibration.fitted);
        let sources = |plateau: &TempPlateau| {
            let density = liquid.density_kg_m3(sg, plateau.temp_c).ok()? * plateau.mean.exp();
            let at = calibration.fitted.curve.at(calibration.fitted.curve.tilt_deg(density)?)?;
            Some(root.through(&at.gradient).map(|effect| effect / density))
        };
        match (sources(before), sources(after)) {
            (Some(a), Some(b)) => a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum(),
            _ => 0.0,
        }
    }
}
