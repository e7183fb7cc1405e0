//! From a session to baths with their errors and what is known of the probe before them.

use std::collections::BTreeMap;

use crate::error::{Error, Result};
use crate::float::{End, Shape, ShellExpansion};
use crate::liquid::{WATER_20C_KG_M3, sucrose_bath_density_kg_m3};
use crate::season::{EndShape, Event, Probe, Season};
use crate::units::Instant;

use super::errors::{BathError, Sources};
use super::fit_data::{AGREES_P, FitPoint, FloatPrior, HullPrior};
use super::result::{BathPoint, Suspect};
use super::selection::{Choice, choose};
use super::sessions::{BathSession, Immersion, replicates};
use super::settings::CalibrationSettings;

/// A session that defines a curve, with every candidate fitted to it alone.
#[derive(Clone)]
pub(super) struct PreparedSession {
    pub probe: String,
    pub calibrated_at: Instant,
    pub shell: ShellExpansion,
    pub prior: FloatPrior,
    /// By rising density, as `points`.
    pub baths: Vec<BathPoint>,
    pub points: Vec<FitPoint>,
    pub choice: Choice,
    pub suspects: Vec<Suspect>,
    pub remarks: Vec<String>,
    pub left_out: Vec<BathPoint>,
}

/// What all sessions of a season are prepared with.
pub(super) struct Preparation<'a> {
    pub settings: &'a CalibrationSettings,
    pub season: &'a Season,
    pub sources: &'a Sources,
    /// Expansions of shells that are known beyond what is written of them, by probe.
    pub shells: &'a BTreeMap<String, ShellExpansion>,
}

impl Preparation<'_> {
    /// Baths, prior and candidates of a session; these immersions define its curve.
    fn prepare(&self, session: &BathSession, immersions: &[&Immersion]) -> Result<PreparedSession> {
        let (settings, season) = (self.settings, self.season);
        let id = session.probe.as_str();
        let what = || format!("a calibration of `{id}`");
        let calibrated_at = session.ended().ok_or_else(|| Error::not_estimable(what(), "no bath"))?;
        let probe = season.probes.iter().find(|p| p.probe == id);
        let mut remarks = Vec::new();
        let written = settings.shell_of(probe, &mut remarks);
        let shell = self.shells.get(id).copied().unwrap_or(written);
        let (off, sd) = (shell.linear_per_k - written.linear_per_k, shell.sd_per_k.hypot(written.sd_per_k));
        if off.abs() > 3.0 * sd {
            let (seen, stated) = (shell.linear_per_k, written.linear_per_k);
            remarks.push(format!(
                "beers that were cooled at rest show a shell that expands by {seen:.1e} per K; stated is {stated:.1e}"
            ));
        }
        let mut prior = settings.prior_of(season, probe, calibrated_at, &mut remarks);
        prior.size_source = self.sources.of_size(id);
        let (baths, points) = self.points(immersions, &shell, &mut remarks);
        check_baths(&points).map_err(|why| Error::not_estimable(what(), why))?;
        let choice = choose(&points, &prior, settings.common.level)?;
        let (probe, suspects, left_out) = (id.to_owned(), Vec::new(), Vec::new());
        Ok(PreparedSession { probe, calibrated_at, shell, prior, baths, points, choice, suspects, left_out, remarks })
    }

    /// The same without the immersions whose references are `wrong`, which is remarked on; with all of them where the others
    /// give no curve. Where all of them give none either, without one bath, if there is but one whose omission gives a
    /// curve that agrees with the rest.
    pub(super) fn without(
        &self,
        session: &BathSession,
        immersions: &[&Immersion],
        wrong: &[usize],
    ) -> Result<PreparedSession> {
        let without = |wrong: &dyn Fn(&Immersion) -> bool| {
            let (out, right): (Vec<&Immersion>, Vec<&Immersion>) = immersions.iter().partition(|bath| wrong(bath));
            let mut one = self.prepare(session, &right)?;
            let (baths, points) = self.points(&out, &one.shell, &mut one.remarks);
            for (mut bath, point) in baths.into_iter().zip(points) {
                let on_curve = one.choice.fitted.curve.at(point.tilt_deg).map_or(f64::NAN, |at| at.density_kg_m3);
                bath.residual_sg = (on_curve - point.density_kg_m3) / WATER_20C_KG_M3;
                one.remarks.push(format!("the bath {} does not fit the others and is left out", bath.name()));
                one.left_out.push(bath);
            }
            Ok(one)
        };
        let given = without(&|bath| wrong.contains(&bath.reference));
        given.or_else(|_| without(&|_| false)).or_else(|why| {
            let baths = replicates(immersions);
            let fits = |one: &PreparedSession| one.points.len() > 2 && one.choice.fitted.agreement_p >= *AGREES_P;
            let left = baths.iter().filter_map(|out| without(&|bath| out.contains(&bath)).ok().filter(fits));
            <[PreparedSession; 1]>::try_from(left.collect::<Vec<_>>()).map(|[one]| one).map_err(|_| why)
        })
    }

    /// The baths as reported and as fitted, by rising density; immersions in one bath are one point.
    fn points(
        &self,
        immersions: &[&Immersion],
        shell: &ShellExpansion,
        remarks: &mut Vec<String>,
    ) -> (Vec<BathPoint>, Vec<FitPoint>) {
        let mut sound: Vec<&Immersion> = Vec::new();
        for &immersion in immersions {
            let (at, tilt) = (immersion.at, immersion.tilt_deg);
            if let Err(why) = sucrose_bath_density_kg_m3(immersion.sg, immersion.temp_c) {
                remarks.push(format!("the bath at {at} is left out: {why}"));
            } else if !(tilt > 0.0 && tilt < 90.0) {
                remarks.push(format!("the bath at {at} is left out: its tilt is {tilt} degrees; wanted 0 to 90"));
            } else {
                sound.push(immersion);
            }
        }
        let same_bath = replicates(&sound);
        let mut both: Vec<(BathPoint, FitPoint)> =
            same_bath.iter().filter_map(|members| self.point(members, shell)).collect();
        both.sort_by(|a, b| a.1.density_kg_m3.total_cmp(&b.1.density_kg_m3));
        both.into_iter().unzip()
    }

    /// One bath: tilts are averaged, the error of the bath itself is one and stays.
    fn point(&self, members: &[&Immersion], shell: &ShellExpansion) -> Option<(BathPoint, FitPoint)> {
        let first = members.first()?;
        let n = members.len() as f64;
        let mean = |of: fn(&Immersion) -> f64| members.iter().map(|m| of(m)).sum::<f64>() / n;
        let (sg, temp_c, tilt_deg) = (mean(|m| m.sg), mean(|m| m.temp_c), mean(|m| m.tilt_deg));
        // One bath, one error: immersions in it do not average it out.
        let errors = self.sources.of_row(first.reference);
        let sg_sd = errors.iter().fold(0.0, |sd: f64, error| sd.hypot(error.effect));
        let tilt_sd_deg = (mean(|m| m.tilt_sd_deg * m.tilt_sd_deg) / n).sqrt();
        let density = sucrose_bath_density_kg_m3(sg, temp_c).ok()?;
        let on_curve = density * shell.volume_factor(temp_c);
        let shell_sd = on_curve * shell.relative_sd(temp_c);
        let bath = BathPoint {
            references: members.iter().map(|m| m.reference).collect(),
            at: members.iter().map(|m| m.at).max().unwrap_or(first.at),
            bath: first.bath.clone(),
            sg,
            sg_sd,
            error_sg: None,
            temp_c,
            density_kg_m3: density,
            tilt_deg,
            tilt_sd_deg,
            residual_sg: f64::NAN,
            studentised: None,
        };
        let in_density = |e: &BathError| BathError { effect: e.effect * WATER_20C_KG_M3, ..*e };
        let errors = errors.iter().map(in_density).collect();
        Some((bath, FitPoint { tilt_deg, tilt_sd_deg, density_kg_m3: on_curve, density_sd_kg_m3: shell_sd, errors }))
    }
}

impl CalibrationSettings {
    /// The shell's expansion; one that nobody knows is remarked on and taken as unknown.
    fn shell_of(&self, probe: Option<&Probe>, remarks: &mut Vec<String>) -> ShellExpansion {
        let Some(shell) = probe.and_then(|p| p.shell.as_deref()) else { return self.unknown_shell };
        ShellExpansion::parse(shell).unwrap_or_else(|why| {
            remarks.push(why.to_string());
            self.unknown_shell
        })
    }

    /// What mass, diameter and bottom say about the curve before the baths.
    pub(super) fn prior_of(
        &self,
        season: &Season,
        probe: Option<&Probe>,
        at: Instant,
        remarks: &mut Vec<String>,
    ) -> FloatPrior {
        let mut usable = |value: Option<f64>, name: &str| {
            let good = value.filter(|v| *v > 0.0 && v.is_finite());
            if let (Some(bad), None) = (value, good) {
                remarks.push(format!("{name} is {bad}: not used"));
            }
            good
        };
        let mass = usable(probe.and_then(|p| mass_at(season, p, at)), "total_mass_g");
        let diameter = usable(probe.and_then(|p| p.diameter_mm), "diameter_mm");
        let length = usable(probe.and_then(|p| p.length_mm), "length_mm");
        let radius_m = diameter.unwrap_or(36.0) / 2000.0;
        let mut end = |end: Option<EndShape>, usual: End, told: Option<&str>| {
            if let (None, Some(told)) = (end, told) {
                remarks.push(told.to_owned());
            }
            end.map_or(usual, end_of)
        };
        let bottom =
            end(probe.and_then(|p| p.bottom), End::Hemisphere, Some("the bottom is assumed to be a hemisphere"));
        let told = length.map(|_| "the top is assumed to be flat");
        let top = end(probe.and_then(|p| p.top), End::Flat, told);
        let measured = mass.zip(diameter).map(|(mass_g, diameter_mm)| {
            let errors = &self.common.instruments;
            let relative_sd = (errors.mass_sd_g / mass_g).hypot(3.0 * errors.diameter_sd_mm / diameter_mm);
            (mass_g / 1000.0, relative_sd)
        });
        let hull = measured.zip(length).and_then(|((mass_kg, relative_sd), length_mm)| {
            let profile = Shape::new(radius_m, length_mm / 1000.0, bottom, top).ok()?.profile();
            Some(HullPrior::new(profile, mass_kg, relative_sd))
        });
        let k = |(mass_kg, sd): (f64, f64)| (mass_kg / (std::f64::consts::PI * radius_m.powi(3)), sd);
        FloatPrior { hull, kappa: bottom.kappa(radius_m), k_known: measured.map(k), size_source: None }
    }
}

/// Total mass at a moment: the last one that an event before it found, else the one in the table of probes.
pub(super) fn mass_at(season: &Season, probe: &Probe, at: Instant) -> Option<f64> {
    last_event(season, probe, at, |event| event.total_mass_g).or(probe.total_mass_g)
}

/// What the last event of a probe up to a moment tells.
pub(super) fn last_event(
    season: &Season,
    probe: &Probe,
    at: Instant,
    of: impl Fn(&Event) -> Option<f64>,
) -> Option<f64> {
    let own = season.events.iter().filter(|e| e.probe.as_deref() == Some(probe.probe.as_str()) && e.at <= at);
    own.filter_map(of).next_back()
}

pub(super) fn end_of(shape: EndShape) -> End {
    match shape {
        EndShape::Flat => End::Flat,
        EndShape::Hemisphere => End::Hemisphere,
        EndShape::SemiEllipsoidMm(height) => End::SemiEllipsoid { height_m: height / 1000.0 },
    }
}

/// Why these baths can define no curve at all, whatever its form.
pub(super) fn check_baths(points: &[FitPoint]) -> std::result::Result<(), String> {
    let (Some(light), Some(heavy)) = (points.first(), points.last()) else {
        return Err("no bath with a density and a tilt".into());
    };
    if points.len() < 2 {
        return Err("one bath only; a curve needs at least two of different gravity".into());
    }
    let apart = heavy.density_kg_m3 - light.density_kg_m3;
    let noise = heavy.total_sd_kg_m3().hypot(light.total_sd_kg_m3());
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
