//! The study: from the season's probes and their calibrations to the builds.

use crate::calibration::prepared::{end_of, last_event, mass_at};
use crate::calibration::{BathPoint, Calibration, Calibrations};
use crate::error::Result;
use crate::fit::Finding;
use crate::float::Hull;
use crate::liquid::WATER_20C_KG_M3;
use crate::season::{EndShape, Probe, Season};
use crate::units::Instant;

use super::advice::advice;
use super::physics::{CONTRADICTED, Outside, Rested, rests};
use super::result::{Build, Builds, N};
use super::settings::BuildSettings;

/// The strongest wort that a probe should tell.
const STRONGEST_SG: f64 = 1.1;
/// The least that 0.010 SG should turn it by, degrees: ten times the noise of a common sensor, which is then 0.001 SG.
const LEAST_DEG: f64 = 1.0;
const END_OF_TIME: Instant = Instant::from_micros(i64::MAX);

impl BuildSettings {
    /// Checks every probe that has a mass, by its latest calibration.
    ///
    /// A probe whose shape or baths do not suffice has a row with empty numbers and the reason.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] for a setting that cannot be.
    #[doc = example!(season "let calibrations = CalibrationSettings::default().fit(&season)?;\nprintln!(\"{}\", BuildSettings::default().run(&season, &calibrations)?);")]
    pub fn run(&self, season: &Season, calibrations: &Calibrations) -> Result<Builds> {
        self.check()?;
        Ok(Builds {
            builds: season.probes.iter().filter_map(|probe| self.build(season, probe, calibrations)).collect(),
        })
    }

    fn build(&self, season: &Season, probe: &Probe, calibrations: &Calibrations) -> Option<Build> {
        let calibration =
            calibrations.calibrations.iter().filter(|c| c.probe == probe.probe).max_by_key(|c| c.calibrated_at);
        let at = calibration.map_or(END_OF_TIME, |c| c.calibrated_at);
        let total_mass_g = mass_at(season, probe, at).filter(|mass| *mass > 0.0 && mass.is_finite())?;
        let mut remarks = Vec::new();
        let now = mass_at(season, probe, END_OF_TIME);
        if let Some(now) = now.filter(|now| (now - total_mass_g).abs() > 3.0 * self.common.instruments.mass_sd_g) {
            remarks
                .push(format!("it weighs {now:.1} g since its calibration at {total_mass_g:.1} g: calibrate afresh"));
        }
        let (hull, found) = match self.rests(probe, total_mass_g, calibration, calibrations, &mut remarks) {
            Ok((hull, found)) => (Some(hull), found),
            Err(why) => (None, std::array::from_fn(|_| Finding::missing(why.clone()))),
        };
        let contradicted = found.iter().all(|finding| finding.why().is_some_and(|why| why.ends_with(CONTRADICTED)));
        let mut build = Build {
            probe: probe.probe.clone(),
            calibration: calibration.map(|c| c.calibration.clone()),
            total_mass_g,
            cell_mass_g: last_event(season, probe, at, |event| event.cell_mass_g).or(probe.cell_mass_g),
            hull,
            length_known: probe.length_mm.is_some(),
            contradicted,
            remarks,
            ..Build::of(found)
        };
        // The table of calibrations has the tilt in water already; one number, not two that differ a little.
        if let Some(by_curve) = calibration.map(|c| &c.water_tilt_deg).filter(|tilt| tilt.estimate().is_some()) {
            build.water_tilt_deg = by_curve.clone();
        }
        let turns = build.deg_per_0010_at_1010.value().zip(build.deg_per_0010_at_1050.value());
        let is_dry = build.top_wets_at_sg.value().is_none_or(|sg| sg > STRONGEST_SG);
        build.usable_to_1100 = turns.map(|(weak, strong)| is_dry && weak.min(strong) >= LEAST_DEG);
        build.advice = advice(&build, self);
        Some(build)
    }

    /// How the probe rests by its baths, or why that cannot be said.
    fn rests(
        &self,
        probe: &Probe,
        total_mass_g: f64,
        calibration: Option<&Calibration>,
        calibrations: &Calibrations,
        remarks: &mut Vec<String>,
    ) -> std::result::Result<(Hull, [Finding; N]), String> {
        let Some(calibration) = calibration else {
            let without = calibrations.without.iter().find(|none| none.probe == probe.probe);
            return Err(
                without.map_or("it is not calibrated".to_owned(), |none| format!("no calibration: {}", none.why))
            );
        };
        let diameter_mm = probe.diameter_mm.ok_or("its diameter is not known")?;
        let assumed = |end: Option<EndShape>, usual: EndShape, words: &str, remarks: &mut Vec<String>| {
            end.unwrap_or_else(|| {
                remarks.push(words.to_owned());
                usual
            })
        };
        let bottom = assumed(probe.bottom, EndShape::Hemisphere, "the bottom is taken as a hemisphere", remarks);
        let top = assumed(probe.top, EndShape::Flat, "the top is taken as flat", remarks);
        if probe.length_mm.is_none() {
            remarks.push("its length is not known: the top is taken as dry".to_owned());
        }
        let outside = Outside {
            mass_kg: total_mass_g / 1000.0,
            radius_m: diameter_mm / 2000.0,
            length_m: probe.length_mm.map(|mm| mm / 1000.0),
            bottom: end_of(bottom),
            top: end_of(top),
        };
        let baths: Vec<Rested> = calibration.baths.iter().map(|bath| rested(calibration, bath)).collect();
        let rests = rests(&outside, &baths, self).map_err(|why| why.to_string())?;
        Ok((rests.hull, rests.found))
    }
}

/// A bath brought to the temperature of the curve's shell: a larger shell in the same liquid is the usual one in a denser.
fn rested(calibration: &Calibration, bath: &BathPoint) -> Rested {
    let shell = &calibration.shell;
    let factor = shell.volume_factor(bath.temp_c);
    let density_kg_m3 = bath.density_kg_m3 * factor;
    let shell_sd = density_kg_m3 * shell.relative_sd(bath.temp_c);
    Rested {
        tilt_deg: bath.tilt_deg,
        tilt_sd_deg: bath.tilt_sd_deg,
        density_kg_m3,
        density_sd_kg_m3: (bath.sg_sd * WATER_20C_KG_M3).hypot(shell_sd),
    }
}
