//! The baths of several probes fitted together.

use std::collections::{BTreeMap, BTreeSet};

use crate::error::{Error, Result};
use crate::fit::{Estimate, quantile};
use crate::liquid::WATER_20C_KG_M3;

use super::errors::{ErrorSource, Sources};
use super::fit_data::{FitPoint, FitRules};
use super::fitted_curve::FittedCalibration;
use super::joint::fit_jointly;
use super::joint_rows::{LOOSE, Member};
use super::joint_solution::{JointFit, SharedEffect};
use super::prepared::PreparedSession;
use super::result::{BathPoint, Calibration, SharedBath, Suspect};

/// A suspect bath is named below this probability, over all baths of the calibration.
const SUSPECT_P: f64 = 0.01;
/// Gravity at which the shift by a suspect bath is stated.
const AT_SG: f64 = 1.020;

/// What the probes of a season say together.
#[derive(Default)]
pub(super) struct FleetFit {
    /// By place in the prepared sessions: the curve, where it was fitted together with others.
    pub curves: BTreeMap<usize, FittedCalibration>,
    pub suspects: BTreeMap<usize, Suspect>,
    pub shared_baths: Vec<SharedBath>,
    /// By place: why a session that shares baths was fitted alone.
    pub alone: BTreeMap<usize, String>,
}

impl FleetFit {
    /// Fits the chosen curves of all sessions that share baths together. Where that fails the curves of the single probes
    /// stay.
    pub fn fit(prepared: &[PreparedSession], sources: &Sources, rules: FitRules) -> Self {
        let mut fleet = Self::default();
        for group in groups(prepared) {
            let members: Vec<(usize, &PreparedSession, &FittedCalibration)> = group
                .iter()
                .filter_map(|&place| {
                    let one = prepared.get(place)?;
                    Some((place, one, one.chosen()?.fitted.as_ref()?))
                })
                .collect();
            if members.len() > 1 {
                let mut joined = Self::default();
                match joined.join(&members, sources, rules) {
                    Ok(()) => fleet.extend(joined),
                    // A joint fit that does not settle leaves each probe its own.
                    Err(why) => fleet.alone.extend(members.iter().map(|(place, ..)| (*place, why.to_string()))),
                }
            }
        }
        for (place, one) in prepared.iter().enumerate() {
            if !fleet.suspects.contains_key(&place)
                && let Some(suspect) = alone(one, rules)
            {
                fleet.suspects.insert(place, suspect);
            }
        }
        fleet
    }

    fn extend(&mut self, other: Self) {
        self.curves.extend(other.curves);
        self.suspects.extend(other.suspects);
        self.shared_baths.extend(other.shared_baths);
    }

    fn join(
        &mut self,
        members: &[(usize, &PreparedSession, &FittedCalibration)],
        sources: &Sources,
        rules: FitRules,
    ) -> Result<()> {
        let all: Vec<Member<'_>> =
            members.iter().map(|(_, one, single)| started(one, single)).collect::<Result<_>>()?;
        let together = fit_jointly(&all, rules, None)?;
        let baths = FleetBath::all(members, &together.effects);
        let doubt = baths.iter().max_by(|a, b| a.effect.value.abs().total_cmp(&b.effect.value.abs()));
        let left_out = doubt.map(|bath| WithoutBath::new(bath, &all, rules, baths.len())).transpose()?.flatten();
        let df = together.curves.iter().map(|c| c.df).sum::<f64>() / together.curves.len() as f64;
        for bath in &baths {
            let size = bath.kg_m3 / WATER_20C_KG_M3;
            let (value, se) = (bath.effect.value * size, bath.effect.variance.max(0.0).sqrt() * size);
            self.shared_baths.push(SharedBath {
                name: match sources.get(bath.effect.source) {
                    Some(ErrorSource::Bath(name, began)) => format!("{name}, {began}"),
                    other => other.map(ToString::to_string).unwrap_or_default(),
                },
                stated_sg: bath.stated_sg,
                stated_sd: size,
                probes: bath.probes.clone(),
                references: bath.references.clone(),
                error_sg: Estimate::student_t(value, se, df, rules.level, "all probes in the bath together, t")?,
                p: left_out.as_ref().filter(|l| l.source == bath.effect.source).map(|l| l.p),
            });
        }
        for (i, ((place, one, _), fitted)) in members.iter().zip(together.curves).enumerate() {
            let wrong = left_out.as_ref().filter(|l| l.p < SUSPECT_P);
            let own = wrong.and_then(|l| Some((l, one.points.iter().position(|p| p.is_of(l.source))?)));
            if let Some((left_out, bath)) = own
                && let Some(without) = left_out.without.curves.get(i)
                && let Some(suspect) = suspect(bath, left_out.p, &fitted, without.clone(), rules)
            {
                self.suspects.insert(*place, suspect);
            }
            self.curves.insert(*place, fitted);
        }
        Ok(())
    }
}

impl FleetFit {
    /// Writes each shared bath's error to the baths of the calibrations that were in it.
    pub fn tell(&self, calibrations: &mut [Calibration]) {
        for shared in &self.shared_baths {
            let same = |bath: &&mut BathPoint| bath.references.iter().any(|row| shared.references.contains(row));
            for bath in calibrations.iter_mut().flat_map(|c| &mut c.baths).filter(same) {
                bath.error_sg = Some(shared.error_sg.clone());
            }
        }
    }
}

impl FitPoint {
    /// Whether it is the bath of this source.
    fn is_of(&self, source: usize) -> bool {
        self.errors.first().is_some_and(|error| error.source == source)
    }
}

/// Sessions that are linked by common baths, as places.
fn groups(prepared: &[PreparedSession]) -> Vec<Vec<usize>> {
    let mut groups: Vec<(BTreeSet<usize>, Vec<usize>)> = Vec::new();
    for (place, one) in prepared.iter().enumerate() {
        let mut baths: BTreeSet<usize> =
            one.points.iter().filter_map(|p| p.errors.first()).map(|error| error.source).collect();
        let mut places = vec![place];
        let (linked, rest): (Vec<_>, Vec<_>) = groups.into_iter().partition(|(other, _)| !other.is_disjoint(&baths));
        for (other, more) in linked {
            baths.extend(other);
            places.extend(more);
        }
        places.sort_unstable();
        groups = rest;
        groups.push((baths, places));
    }
    groups.into_iter().map(|(_, places)| places).collect()
}

/// A session as a member that starts at its own fit.
fn started<'a>(one: &'a PreparedSession, single: &FittedCalibration) -> Result<Member<'a>> {
    let none = || Error::not_estimable(format!("a calibration of `{}`", one.probe), "no candidate was chosen");
    let kind = one.chosen().ok_or_else(none)?.kind;
    let mut member = Member::new(kind, &one.points, &one.prior)?;
    kind.start_at(&mut member.start, single.curve.coefficients());
    Ok(member)
}

/// A bath of several probes.
struct FleetBath {
    effect: SharedEffect,
    /// One standard deviation of its stated gravity, kg/m3.
    kg_m3: f64,
    stated_sg: f64,
    probes: Vec<String>,
    references: Vec<usize>,
}

impl FleetBath {
    fn all(members: &[(usize, &PreparedSession, &FittedCalibration)], effects: &[SharedEffect]) -> Vec<Self> {
        let of = |effect: &SharedEffect| {
            let rows = members.iter().flat_map(|(_, one, _)| one.points.iter().zip(&one.baths).map(|row| (*one, row)));
            let own: Vec<_> = rows.filter(|(_, (point, _))| point.is_of(effect.source)).collect();
            let &(_, (point, bath)) = own.first()?;
            let kg_m3 = point.errors.first()?.effect;
            let probes = own.iter().map(|(one, _)| one.probe.clone()).collect();
            let references = own.iter().flat_map(|(_, (_, bath))| bath.references.clone()).collect();
            Some(Self { effect: *effect, kg_m3, stated_sg: bath.sg, probes, references })
        };
        effects.iter().filter_map(of).collect()
    }
}

/// The fit without one bath.
struct WithoutBath {
    source: usize,
    p: f64,
    without: JointFit,
}

impl WithoutBath {
    fn new(bath: &FleetBath, members: &[Member<'_>], rules: FitRules, baths: usize) -> Result<Option<Self>> {
        let source = bath.effect.source;
        let without = fit_jointly(members, rules, Some(source))?;
        let Some(free) = without.effects.iter().find(|effect| effect.source == source) else { return Ok(None) };
        // In units of the stated standard deviation: the others' judgement of the bath, and how sure it is.
        let (error, variance) = (free.value * LOOSE, free.variance * LOOSE * LOOSE);
        let df = without.curves.iter().map(|c| c.df).sum::<f64>() / without.curves.len() as f64;
        let t = error / (1.0 + variance).sqrt();
        let p = (2.0 * quantile::student_t_upper_tail(t.abs(), df)? * baths as f64).min(1.0);
        Ok(Some(Self { source, p, without }))
    }
}

/// The worst bath of one probe by its own leave-one-out fits, if it is beyond what chance gives.
fn alone(one: &PreparedSession, rules: FitRules) -> Option<Suspect> {
    let left_out = &one.scored.iter().find(|s| s.candidate.chosen)?.left_out;
    let n = left_out.len() as f64;
    let each = left_out.iter().enumerate().filter_map(|(bath, left)| Some((bath, left.as_ref()?)));
    let (bath, left) = each.min_by(|a, b| a.1.p.total_cmp(&b.1.p))?;
    let p = (left.p * n).min(1.0);
    (p < SUSPECT_P).then(|| suspect(bath, p, one.chosen()?.fitted.as_ref()?, left.without.clone(), rules))?
}

fn suspect(
    bath: usize,
    p: f64,
    fitted: &FittedCalibration,
    without: FittedCalibration,
    rules: FitRules,
) -> Option<Suspect> {
    let tilt = fitted.curve.tilt_deg(AT_SG * WATER_20C_KG_M3)?;
    let (with_at, at) = (fitted.curve.at(tilt)?, without.curve.at(tilt)?);
    let shift = (at.density_kg_m3 - with_at.density_kg_m3) / WATER_20C_KG_M3;
    let se = without.variance(&at).sqrt() / WATER_20C_KG_M3;
    let shift_at_1020_sg = Estimate::student_t(shift, se, without.df, rules.level, "curve without the bath, t").ok()?;
    Some(Suspect { bath, p, without, shift_at_1020_sg })
}
