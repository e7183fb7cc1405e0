//! The study: from a season to the calibrations of its probes.

use crate::error::{Error, Result};
use crate::fit::{Estimate, Finding};
use crate::float::{End, Shape, ShellExpansion};
use crate::liquid::{WATER_20C_KG_M3, sucrose_bath_density_kg_m3};
use crate::season::{EndShape, Probe, Season};
use crate::units::Instant;

use super::curve::FittedCurve;
use super::fit::{FitPoint, FitRules, FloatPrior, HullPrior, fit_curve};
use super::noise::Noise;
use super::result::{BathPoint, Calibration, Calibrations, NoCurve, Suspect};
use super::select::{Scored, choose};
use super::sessions::{Immersion, Role, Session, replicates, sessions_of};
use super::settings::CalibrationSettings;

/// Tilt of a good probe in pure water, degrees: common practice, no source.
pub const WATER_TILT_DEG: f64 = 25.0;
/// How far from it a good probe may be.
pub const WATER_TILT_TOLERANCE_DEG: f64 = 5.0;
/// A suspect bath is named below this probability, over all baths of the calibration.
const SUSPECT_P: f64 = 0.01;

impl CalibrationSettings {
    /// Calibrates every probe of the season.
    ///
    /// A probe or a session that gives no curve is no error: it is in [`Calibrations::without`] with the reason.
    ///
    /// # Errors
    /// [`Error::Setting`] for a setting that cannot be.
    pub fn fit(&self, season: &Season) -> Result<Calibrations> {
        self.check()?;
        let pairs = season.pairs(self.window_min)?;
        let mut found = Calibrations { calibrations: Vec::new(), without: Vec::new(), settings: self.clone() };
        for probe in probe_ids(season) {
            let noise = Noise::of(&season.readings, season.readings.of_probe(&probe));
            let sessions = sessions_of(season, &probe, &pairs, noise, self);
            if sessions.is_empty() {
                let why = "no bath with a tilt of this probe".to_owned();
                found.without.push(NoCurve { probe, at: None, why, check: false });
                continue;
            }
            let mut number = 0;
            for session in sessions {
                let at = session.ended();
                match session.role() {
                    Role::Check(why) => found.without.push(NoCurve { probe: probe.clone(), at, why, check: true }),
                    Role::Defines(used) => match self.calibrate(season, &session, &used, number + 1) {
                        Ok(calibration) => {
                            number += 1;
                            found.calibrations.push(calibration);
                        }
                        Err(why) => {
                            let (probe, why) = (probe.clone(), why.to_string());
                            found.without.push(NoCurve { probe, at, why, check: false });
                        }
                    },
                }
            }
        }
        Ok(found)
    }

    fn calibrate(&self, season: &Season, session: &Session, used: &[usize], number: usize) -> Result<Calibration> {
        let id = session.probe.as_str();
        let what = || format!("a calibration of `{id}`");
        let calibrated_at = session.ended().ok_or_else(|| Error::not_estimable(what(), "no bath"))?;
        let probe = season.probes.iter().find(|p| p.probe == id);
        let mut remarks = Vec::new();
        let (shell, shell_source) = self.shell_of(probe, &mut remarks);
        let prior = self.prior_of(season, probe, calibrated_at, &mut remarks)?;
        let immersions: Vec<&Immersion> = used.iter().filter_map(|&i| session.immersions.get(i)).collect();
        let (mut baths, points) = self.points(&immersions, &shell, &mut remarks);
        check_baths(&points).map_err(|why| Error::not_estimable(what(), why))?;
        let rules = FitRules { scale_df: self.scale_df, level: self.level };
        let scored = choose(&points, &prior, rules)?;
        let Some(Scored { candidate, left_out }) = scored.iter().find(|s| s.candidate.chosen) else {
            return Err(Error::not_estimable(what(), "no candidate was chosen"));
        };
        let fitted = candidate.fitted.clone().ok_or_else(|| Error::not_estimable(what(), "no fit"))?;
        for ((bath, point), left) in baths.iter_mut().zip(&points).zip(left_out) {
            let on_curve = fitted.curve.at(point.tilt_deg).map_or(f64::NAN, |at| at.density_kg_m3);
            bath.residual_sg = (on_curve - point.density_kg_m3) / WATER_20C_KG_M3;
            bath.studentised = left.map(|left| left.studentised);
        }
        let worst = left_out
            .iter()
            .enumerate()
            .filter_map(|(i, left)| left.map(|left| (i, (left.p * left_out.len() as f64).min(1.0))))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let suspect = worst
            .filter(|(_, p)| *p < SUSPECT_P)
            .and_then(|(bath, p)| suspect(bath, p, &fitted, candidate.kind, &points, &prior, rules));
        let water_tilt_deg = water_tilt(&fitted, self.level);
        let water_ok = water_tilt_deg.value().map(|tilt| (tilt - WATER_TILT_DEG).abs() <= WATER_TILT_TOLERANCE_DEG);
        let range = |pick: fn(f64, f64) -> f64, start| baths.iter().map(|b| b.sg).fold(start, pick);
        let on_curve = |point: Option<&FitPoint>| point.map_or(f64::NAN, |p| p.density_kg_m3);
        Ok(Calibration {
            probe: id.to_owned(),
            calibration: format!("{id}/{number}"),
            calibrated_at,
            kind: candidate.kind,
            rmse_sg: candidate.rmse_sg,
            sg_min: range(f64::min, f64::INFINITY),
            sg_max: range(f64::max, f64::NEG_INFINITY),
            density_range_kg_m3: (on_curve(points.first()), on_curve(points.last())),
            fitted,
            baths,
            shell,
            shell_source,
            shell_temp_c: self.shell_temp_c,
            water_tilt_deg,
            water_ok,
            suspect,
            remarks,
            level: self.level,
            candidates: scored.into_iter().map(|s| s.candidate).collect(),
        })
    }

    /// The shell's expansion with its source in words; an unknown one is assumed and remarked on.
    fn shell_of(&self, probe: Option<&Probe>, remarks: &mut Vec<String>) -> (ShellExpansion, String) {
        let Some(shell) = probe.and_then(|p| p.shell.as_deref()) else {
            return (self.unknown_shell, "unknown shell: the middle of all plastics".into());
        };
        match ShellExpansion::parse(shell) {
            Ok(expansion) => (expansion, shell.to_owned()),
            Err(why) => {
                remarks.push(why.to_string());
                (self.unknown_shell, format!("`{shell}` is no known shell: the middle of all plastics"))
            }
        }
    }

    /// What mass, diameter and bottom say about the curve before the baths.
    fn prior_of(
        &self,
        season: &Season,
        probe: Option<&Probe>,
        at: Instant,
        remarks: &mut Vec<String>,
    ) -> Result<FloatPrior> {
        let (mass, diameter) = (probe.and_then(|p| mass_at(season, p, at)), probe.and_then(|p| p.diameter_mm));
        let usable = |value: Option<f64>, name: &str, remarks: &mut Vec<String>| {
            let good = value.filter(|v| *v > 0.0 && v.is_finite());
            if let (Some(bad), None) = (value, good) {
                remarks.push(format!("{name} is {bad}: not used"));
            }
            good
        };
        let mass = usable(mass, "total_mass_g", remarks);
        let diameter = usable(diameter, "diameter_mm", remarks);
        let radius_m = diameter.unwrap_or(36.0) / 2000.0;
        let bottom = match probe.and_then(|p| p.bottom) {
            Some(bottom) => end_of(bottom),
            None => {
                remarks.push("the bottom is assumed to be a hemisphere".into());
                End::Hemisphere
            }
        };
        let relative_sd =
            |mass_g: f64, diameter_mm: f64| (self.mass_sd_g / mass_g).hypot(3.0 * self.diameter_sd_mm / diameter_mm);
        let k_known = mass.zip(diameter).map(|(mass_g, diameter_mm)| {
            let k = mass_g / 1000.0 / (std::f64::consts::PI * radius_m.powi(3));
            (k, relative_sd(mass_g, diameter_mm))
        });
        let length = usable(probe.and_then(|p| p.length_mm), "length_mm", remarks);
        let top = match probe.and_then(|p| p.top) {
            Some(top) => end_of(top),
            None => {
                if length.is_some() {
                    remarks.push("the top is assumed to be flat".into());
                }
                End::Flat
            }
        };
        let hull = mass.zip(diameter).zip(length).and_then(|((mass_g, diameter_mm), length_mm)| {
            let shape = Shape::new(radius_m, length_mm / 1000.0, bottom, top).ok()?;
            let relative_sd = relative_sd(mass_g, diameter_mm);
            Some(HullPrior { profile: shape.profile(), mass_kg: mass_g / 1000.0, relative_sd })
        });
        let k_weak = (self.k_typical_kg_m3, self.k_rel_sd);
        Ok(FloatPrior { hull, kappa: bottom.kappa(radius_m), k_known, k_weak })
    }

    /// The baths as reported and as fitted, by rising density; immersions in one bath are one point.
    fn points(
        &self,
        immersions: &[&Immersion],
        shell: &ShellExpansion,
        remarks: &mut Vec<String>,
    ) -> (Vec<BathPoint>, Vec<FitPoint>) {
        let mut both: Vec<(BathPoint, FitPoint)> = Vec::new();
        let mut sound: Vec<&Immersion> = Vec::new();
        for &immersion in immersions {
            if let Err(why) = sucrose_bath_density_kg_m3(immersion.sg, immersion.temp_c) {
                remarks.push(format!("the bath at {} is left out: {why}", immersion.at));
            } else if !(immersion.tilt_deg > 0.0 && immersion.tilt_deg < 90.0) {
                let (at, tilt) = (immersion.at, immersion.tilt_deg);
                remarks.push(format!("the bath at {at} is left out: its tilt is {tilt} degrees; wanted 0 to 90"));
            } else {
                sound.push(immersion);
            }
        }
        for group in replicates(&sound) {
            let members: Vec<&Immersion> = group.iter().filter_map(|&i| sound.get(i).copied()).collect();
            both.extend(self.point(&members, shell));
        }
        both.sort_by(|a, b| a.1.density_kg_m3.total_cmp(&b.1.density_kg_m3));
        both.into_iter().unzip()
    }

    /// One bath: tilts are averaged, the error of the bath itself is one and stays.
    fn point(&self, members: &[&Immersion], shell: &ShellExpansion) -> Option<(BathPoint, FitPoint)> {
        let first = members.first()?;
        let n = members.len() as f64;
        let mean = |of: fn(&Immersion) -> f64| members.iter().map(|m| of(m)).sum::<f64>() / n;
        let (sg, temp_c, tilt_deg) = (mean(|m| m.sg), mean(|m| m.temp_c), mean(|m| m.tilt_deg));
        let sg_sd = mean(|m| m.sg_sd * m.sg_sd).sqrt();
        let tilt_sd_deg = (mean(|m| m.tilt_sd_deg * m.tilt_sd_deg) / n).sqrt();
        let density = sucrose_bath_density_kg_m3(sg, temp_c).ok()?;
        let on_curve = density * shell.volume_factor(temp_c, self.shell_temp_c);
        let shell_sd = on_curve * shell.relative_sd(temp_c, self.shell_temp_c);
        let bath = BathPoint {
            references: members.iter().map(|m| m.reference).collect(),
            at: members.iter().map(|m| m.at).max().unwrap_or(first.at),
            bath: first.bath.clone(),
            sg,
            sg_sd,
            temp_c,
            density_kg_m3: density,
            tilt_deg,
            tilt_sd_deg,
            residual_sg: f64::NAN,
            studentised: None,
        };
        let density_sd_kg_m3 = (sg_sd * WATER_20C_KG_M3).hypot(shell_sd);
        Some((bath, FitPoint { tilt_deg, tilt_sd_deg, density_kg_m3: on_curve, density_sd_kg_m3 }))
    }
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

/// Total mass at a moment: the last one that an event before it found, else the one in the table of probes.
pub(super) fn mass_at(season: &Season, probe: &Probe, at: Instant) -> Option<f64> {
    season
        .events
        .iter()
        .filter(|event| event.probe.as_deref() == Some(probe.probe.as_str()) && event.at <= at)
        .filter_map(|event| event.total_mass_g)
        .next_back()
        .or(probe.total_mass_g)
}

fn end_of(shape: EndShape) -> End {
    match shape {
        EndShape::Flat => End::Flat,
        EndShape::Hemisphere => End::Hemisphere,
        EndShape::SemiEllipsoidMm(height) => End::SemiEllipsoid { height_m: height / 1000.0 },
    }
}

/// Why these baths can define no curve at all, whatever its form.
fn check_baths(points: &[FitPoint]) -> std::result::Result<(), String> {
    let (Some(light), Some(heavy)) = (points.first(), points.last()) else {
        return Err("no bath with a density and a tilt".into());
    };
    if points.len() < 2 {
        return Err("one bath only; a curve needs at least two of different gravity".into());
    }
    let apart = heavy.density_kg_m3 - light.density_kg_m3;
    let noise = heavy.density_sd_kg_m3.hypot(light.density_sd_kg_m3);
    if apart < 3.0 * noise {
        return Err(format!("all baths lie within {apart:.2} kg/m3 of each other; a curve needs different gravities"));
    }
    let rise = heavy.tilt_deg - light.tilt_deg;
    let noise = heavy.tilt_sd_deg.hypot(light.tilt_sd_deg);
    if rise < 3.0 * noise {
        let (a, b) = (light.tilt_deg, heavy.tilt_deg);
        return Err(format!(
            "the tilt goes from {a:.1} degrees in the lightest bath to {b:.1} in the heaviest; it must rise with density"
        ));
    }
    Ok(())
}

/// Tilt in water at 20 C by the curve, with the curve's error.
fn water_tilt(fitted: &FittedCurve, level: f64) -> Finding {
    let Some(tilt) = fitted.curve.tilt_deg(WATER_20C_KG_M3) else {
        return Finding::missing("the curve does not reach the density of water");
    };
    let Some(at) = fitted.curve.at(tilt) else {
        return Finding::missing("the curve does not rise at the density of water");
    };
    let se = fitted.variance(&at).sqrt() / at.per_deg;
    match Estimate::student_t(tilt, se, fitted.df, level, "delta, t") {
        Ok(estimate) => Finding::Estimated(estimate),
        Err(why) => Finding::missing(why.to_string()),
    }
}

fn suspect(
    bath: usize,
    p: f64,
    fitted: &FittedCurve,
    kind: super::CurveKind,
    points: &[FitPoint],
    prior: &FloatPrior,
    rules: FitRules,
) -> Option<Suspect> {
    let others: Vec<FitPoint> = points.iter().enumerate().filter(|(i, _)| *i != bath).map(|(_, p)| *p).collect();
    let without = fit_curve(kind, &others, prior, rules).ok()?;
    let tilt = fitted.curve.tilt_deg(1.020 * WATER_20C_KG_M3)?;
    let (with_at, at) = (fitted.curve.at(tilt)?, without.curve.at(tilt)?);
    let shift = (at.density_kg_m3 - with_at.density_kg_m3) / WATER_20C_KG_M3;
    let se = without.variance(&at).sqrt() / WATER_20C_KG_M3;
    let shift_at_1020_sg = Estimate::student_t(shift, se, without.df, rules.level, "curve without the bath, t").ok()?;
    Some(Suspect { bath, p, shift_at_1020_sg })
}
