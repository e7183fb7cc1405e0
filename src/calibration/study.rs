//! The study: from a season to the calibrations of its probes.

use std::collections::BTreeMap;

use rayon::iter::Either;
use rayon::prelude::*;

use crate::error::Result;
use crate::fit::{Estimate, Finding};
use crate::float::ShellExpansion;
use crate::liquid::WATER_20C_KG_M3;
use crate::season::Season;

use super::errors::Sources;
use super::fit_data::FitPoint;
use super::fitted_curve::FittedCalibration;
use super::fleet::fit_together;
use super::noise::Noise;
use super::prepared::{Preparation, PreparedSession};
use super::result::{Calibration, Calibrations, NoCurve, Suspect};
use super::selection::Choice;
use super::sessions::{BathSession, Role, mistyped, sessions_of};
use super::settings::CalibrationSettings;

impl CalibrationSettings {
    /// Calibrates every probe of the season.
    ///
    /// Each session's candidates are fitted and chosen alone; then the chosen curves of all probes that share baths are
    /// fitted together, with the error of each shared bath as one unknown. Errors that all baths of an instrument or a
    /// weighing have are in the curves' covariances.
    ///
    /// A bath that all others contradict is left out of the curves: it is then a check of them, which the study of drift names.
    /// So is a row whose gravity is not that of most rows of the same bath.
    ///
    /// Shells expand as beers show that were cooled at rest, where there are any: with what they show all is fitted once more.
    ///
    /// A probe or a session that gives no curve is no error: it is in [`Calibrations::without`] with the reason.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] for a setting that cannot be.
    #[doc = example!(season "let calibrations = CalibrationSettings::default().fit(&season)?;\nlet probe = &season.probes[0].probe;\nprintln!(\"{}\", calibrations.probe(probe)?);")]
    pub fn fit(&self, season: &Season) -> Result<Calibrations> {
        self.check()?;
        let pairs = season.pairs(self.window_min)?;
        let sources = Sources::of(season, self);
        let mut without = Vec::new();
        let mut sessions: Vec<BathSession> = Vec::new();
        for probe in probe_ids(season) {
            let noise = Noise::of(&season.readings, season.readings.of_probe(&probe));
            let own = sessions_of(season, &probe, &pairs, noise, self);
            if own.is_empty() {
                let why = "no bath with a tilt of this probe".to_owned();
                without.push(NoCurve { probe, at: None, why, check: false });
            }
            sessions.extend(own);
        }
        let fit = |shells: &BTreeMap<String, ShellExpansion>| {
            let preparation = Preparation { settings: self, season, sources: &sources, shells };
            self.fit_sessions(&preparation, &sessions)
        };
        let mut found = fit(&BTreeMap::new());
        let shells = found.shells_seen(season)?;
        if !shells.is_empty() {
            found = fit(&shells);
        }
        found.without.extend(without);
        found.without.sort_by(|a, b| a.probe.cmp(&b.probe).then(a.at.cmp(&b.at)));
        found.water_checks = found.check_water(&sources, &sessions)?;
        found.sources = sources;
        Ok(found)
    }

    /// Curves from sessions, and the reasons of those that give none.
    fn fit_sessions(&self, preparation: &Preparation<'_>, sessions: &[BathSession]) -> Calibrations {
        let sources = preparation.sources;
        let prepare = |session: &BathSession, wrong: &[usize]| {
            let none = |why, check| NoCurve { probe: session.probe.clone(), at: session.ended(), why, check };
            match session.role() {
                Role::Defines(baths) => match preparation.without(session, &baths, wrong) {
                    Ok(one) => Either::Left(one),
                    Err(why) => Either::Right(none(why.to_string(), false)),
                },
                Role::Check(why) => Either::Right(none(why, true)),
            }
        };
        let mut wrong = mistyped(preparation.season, sources);
        let mut alone: Vec<_> = sessions.par_iter().map(|session| prepare(session, &wrong)).collect();
        let (prepared, without, shared_baths) = loop {
            let (mut prepared, without): (Vec<PreparedSession>, Vec<NoCurve>) =
                alone.par_iter().cloned().partition_map(|one| one);
            let (shared_baths, mut found) = fit_together(&mut prepared, sources, self.common.level);
            found.retain(|row| !wrong.contains(row));
            if found.is_empty() {
                break (prepared, without, shared_baths);
            }
            wrong.extend(&found);
            let is_in = |session: &BathSession| session.immersions.iter().any(|bath| found.contains(&bath.reference));
            let again = alone.par_iter_mut().zip(sessions).filter(|(_, session)| is_in(session));
            again.for_each(|(one, session)| *one = prepare(session, &wrong));
        };
        let mut calibrations: Vec<Calibration> = Vec::new();
        for one in prepared {
            let number = 1 + calibrations.iter().filter(|c| c.probe == one.probe).count();
            calibrations.push(self.finish(one, number));
        }
        Calibrations { calibrations, without, shared_baths, ..Calibrations::none(self.clone()) }
    }

    fn finish(&self, one: PreparedSession, number: usize) -> Calibration {
        let PreparedSession { probe, calibrated_at, shell, mut baths, points, choice, mut remarks, .. } = one;
        let Choice { kind, fitted, rmse_sg, left_out, mut candidates } = choice;
        for chosen in candidates.iter_mut().filter(|candidate| candidate.chosen) {
            chosen.fitted = Some(fitted.clone());
        }
        for ((bath, point), left) in baths.iter_mut().zip(&points).zip(left_out) {
            let on_curve = fitted.curve.at(point.tilt_deg).map_or(f64::NAN, |at| at.density_kg_m3);
            bath.residual_sg = (on_curve - point.density_kg_m3) / WATER_20C_KG_M3;
            bath.studentised = left.as_ref().map(|left| left.studentised);
        }
        if let Some(first) = one.suspects.first() {
            let name = |of: &Suspect| Some(format!("{} (by SG {:+.4})", baths.get(of.bath)?.name(), of.off_sg));
            let names: Vec<String> = one.suspects.iter().filter_map(name).collect();
            let (p, names) = (first.p, names.join(" or "));
            remarks.push(format!("its baths contradict each other (p = {p:.1e}); furthest off is {names}"));
        }
        let water_tilt_deg = water_tilt(&fitted, self.common.level);
        let range = |pick: fn(f64, f64) -> f64, start| baths.iter().map(|b| b.sg).fold(start, pick);
        let on_curve = |point: Option<&FitPoint>| point.map_or(f64::NAN, |p| p.density_kg_m3);
        Calibration {
            calibration: format!("{probe}/{number}"),
            probe,
            calibrated_at,
            kind,
            rmse_sg,
            sg_min: range(f64::min, f64::INFINITY),
            sg_max: range(f64::max, f64::NEG_INFINITY),
            density_range_kg_m3: (on_curve(points.first()), on_curve(points.last())),
            fitted,
            baths,
            left_out: one.left_out,
            shell,
            water_tilt_deg,
            suspects: one.suspects,
            remarks,
            level: self.common.level,
            candidates,
        }
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

/// Tilt in water at 20 C by the curve, with the curve's error.
fn water_tilt(fitted: &FittedCalibration, level: f64) -> Finding {
    let Some(tilt) = fitted.curve.tilt_deg(WATER_20C_KG_M3) else {
        return Finding::missing("the curve does not reach the density of water");
    };
    let Some(at) = fitted.curve.at(tilt) else {
        return Finding::missing("the curve does not rise at the density of water");
    };
    let se = fitted.variance(&at).sqrt() / at.per_deg;
    Estimate::student_t(tilt, se, fitted.df, level, "delta, t").into()
}
