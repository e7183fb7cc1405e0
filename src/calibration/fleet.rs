//! The baths of several probes fitted together.

use std::collections::BTreeSet;

use crate::error::Result;
use crate::fit::{Estimate, quantile};
use crate::liquid::WATER_20C_KG_M3;

use super::errors::{ErrorSource, Sources};
use super::fit_data::{DISAGREES_P, FitPoint, is_wrong};
use super::fitted_curve::FittedCalibration;
use super::joint::fit_jointly;
use super::joint_rows::{LOOSE, Member};
use super::joint_solution::{JointFit, SharedEffect};
use super::prepared::PreparedSession;
use super::result::{BathPoint, SharedBath, Suspect};
use super::selection::Choice;

/// Gravity at which the shift by a suspect bath is stated.
const AT_SG: f64 = 1.020;

/// Fits the chosen curves of all sessions that share baths together, and names suspect baths. Where a fit fails the curves
/// of the single probes stay. The rows of baths that are wrong come with the baths that several probes share.
pub(super) fn fit_together(
    prepared: &mut [PreparedSession],
    sources: &Sources,
    level: f64,
) -> (Vec<SharedBath>, Vec<usize>) {
    for one in prepared.iter_mut() {
        one.suspect = alone(one, level);
    }
    let (mut shared_baths, mut wrong) = (Vec::new(), Vec::new());
    for group in groups(prepared) {
        if let [place] = group.as_slice() {
            wrong.extend(prepared.get(*place).into_iter().flat_map(wrong_alone));
            continue;
        }
        let members: Vec<&PreparedSession> = group.iter().filter_map(|&place| prepared.get(place)).collect();
        let joined = join(&members, sources, level).map_err(|why| why.to_string());
        let mut curves = joined.as_ref().map(|joined| joined.curves.iter()).unwrap_or_default();
        for place in group {
            let Some(one) = prepared.get_mut(place) else { continue };
            match (curves.next(), &joined) {
                (Some((fitted, suspect)), _) => {
                    one.choice.fitted = fitted.clone();
                    one.suspect = suspect.clone().or(one.suspect.take());
                }
                (_, Err(why)) => one.remarks.push(format!("fitted without the other probes in its baths: {why}")),
                _ => {}
            }
        }
        if let Ok(joined) = joined {
            shared_baths.extend(joined.baths);
            wrong.extend(joined.wrong);
        }
    }
    for shared in &shared_baths {
        let same = |bath: &&mut BathPoint| bath.references.iter().any(|row| shared.references.contains(row));
        for bath in prepared.iter_mut().flat_map(|one| &mut one.baths).filter(same) {
            bath.error_sg = Some(shared.error_sg.clone());
        }
    }
    (shared_baths, wrong)
}

/// What probes in common baths say together.
struct Joined {
    /// By member: its curve, and the suspect bath where it was in it.
    curves: Vec<(FittedCalibration, Option<Suspect>)>,
    baths: Vec<SharedBath>,
    /// Rows of the bath that is wrong.
    wrong: Vec<usize>,
}

fn join(members: &[&PreparedSession], sources: &Sources, level: f64) -> Result<Joined> {
    let all: Vec<Member<'_>> = members.iter().map(|one| started(one)).collect::<Result<_>>()?;
    let together = fit_jointly(&all, level, None)?;
    let baths = FleetBath::all(members, &together.effects);
    let doubt = baths.iter().max_by(|a, b| a.effect.value.abs().total_cmp(&b.effect.value.abs()));
    let left_out = doubt.map(|bath| WithoutBath::new(bath, &all, level, baths.len())).transpose()?.flatten();
    let df = mean_df(&together);
    let shared_bath = |bath: FleetBath| -> Result<SharedBath> {
        let size = bath.kg_m3 / WATER_20C_KG_M3;
        let (value, se) = (bath.effect.value * size, bath.effect.variance.max(0.0).sqrt() * size);
        Ok(SharedBath {
            name: match sources.get(bath.effect.source) {
                Some(ErrorSource::Bath(name, began)) => format!("{name}, {began}"),
                other => other.map(ToString::to_string).unwrap_or_default(),
            },
            stated_sg: bath.stated_sg,
            stated_sd: size,
            probes: bath.probes,
            references: bath.references,
            error_sg: Estimate::student_t(value, se, df, level, "all probes in the bath together, t")?,
            p: left_out.as_ref().filter(|l| l.source == bath.effect.source).map(|l| l.p),
        })
    };
    let baths: Vec<SharedBath> = baths.into_iter().map(shared_bath).collect::<Result<_>>()?;
    let suspected = left_out.as_ref().filter(|l| l.p < *DISAGREES_P);
    let wrong = baths.iter().filter(|bath| bath.p.is_some() && suspected.is_some_and(|l| is_wrong(l.off_sg, l.se_sg)));
    let wrong = wrong.flat_map(|bath| bath.references.clone()).collect();
    let with_suspect = |(i, (one, fitted)): (usize, (&&PreparedSession, FittedCalibration))| {
        let suspect = suspected.and_then(|left| {
            let bath = one.points.iter().position(|p| p.is_of(left.source))?;
            suspect(bath, left.p, &fitted, left.without.curves.get(i)?.clone(), level)
        });
        (fitted, suspect)
    };
    Ok(Joined { curves: members.iter().zip(together.curves).enumerate().map(with_suspect).collect(), baths, wrong })
}

fn mean_df(fit: &JointFit) -> f64 {
    fit.curves.iter().map(|c| c.df).sum::<f64>() / fit.curves.len() as f64
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
fn started(one: &PreparedSession) -> Result<Member<'_>> {
    let mut member = Member::new(one.choice.kind, &one.points, &one.prior)?;
    one.choice.kind.start_at(&mut member.start, one.choice.fitted.curve.coefficients());
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
    fn all(members: &[&PreparedSession], effects: &[SharedEffect]) -> Vec<Self> {
        let of = |effect: &SharedEffect| {
            let rows = members.iter().flat_map(|one| one.points.iter().zip(&one.baths).map(|row| (*one, row)));
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
    /// Stated minus what the others say, and its standard error, the stated one included, SG.
    off_sg: f64,
    se_sg: f64,
    without: JointFit,
}

impl WithoutBath {
    fn new(bath: &FleetBath, members: &[Member<'_>], level: f64, baths: usize) -> Result<Option<Self>> {
        let source = bath.effect.source;
        let without = fit_jointly(members, level, Some(source))?;
        let Some(free) = without.effects.iter().find(|effect| effect.source == source) else { return Ok(None) };
        // In units of the stated standard deviation: the others' judgement of the bath, and how sure it is.
        let (error, variance) = (free.value * LOOSE, free.variance * LOOSE * LOOSE);
        let df = mean_df(&without);
        let t = error / (1.0 + variance).sqrt();
        let p = (2.0 * quantile::student_t_upper_tail(t.abs(), df)? * baths as f64).min(1.0);
        let size = bath.kg_m3 / WATER_20C_KG_M3;
        Ok(Some(Self { source, p, off_sg: error * size, se_sg: (1.0 + variance).sqrt() * size, without }))
    }
}

/// The worst bath of one probe by its own leave-one-out fits, if it is beyond what chance gives.
fn alone(one: &PreparedSession, level: f64) -> Option<Suspect> {
    let Choice { fitted, left_out, .. } = &one.choice;
    let each = left_out.iter().enumerate().filter_map(|(bath, left)| Some((bath, left.as_ref()?)));
    let (bath, left) = each.min_by(|a, b| a.1.p.total_cmp(&b.1.p))?;
    let p = (left.p * left_out.len() as f64).min(1.0);
    if p < *DISAGREES_P { suspect(bath, p, fitted, left.without.clone(), level) } else { None }
}

/// Rows of the bath that is wrong by the others of this probe.
fn wrong_alone(one: &PreparedSession) -> Vec<usize> {
    let wrong = one.suspect.as_ref().and_then(|suspect| {
        let left = one.choice.left_out.get(suspect.bath)?.as_ref()?;
        let wrong = is_wrong(left.error_sg, left.error_sg / left.studentised);
        one.baths.get(suspect.bath).filter(|_| wrong)
    });
    wrong.map(|bath| bath.references.clone()).unwrap_or_default()
}

fn suspect(bath: usize, p: f64, fitted: &FittedCalibration, without: FittedCalibration, level: f64) -> Option<Suspect> {
    let tilt = fitted.curve.tilt_deg(AT_SG * WATER_20C_KG_M3)?;
    let (with_at, at) = (fitted.curve.at(tilt)?, without.curve.at(tilt)?);
    let shift = (at.density_kg_m3 - with_at.density_kg_m3) / WATER_20C_KG_M3;
    let se = without.variance(&at).sqrt() / WATER_20C_KG_M3;
    let shift_at_1020_sg = Estimate::student_t(shift, se, without.df, level, "curve without the bath, t").ok()?;
    Some(Suspect { bath, p, without, shift_at_1020_sg })
}
