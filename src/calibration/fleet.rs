//! The baths of several probes fitted together.

use std::collections::BTreeSet;

use crate::error::Result;
use crate::fit::{Estimate, quantile};
use crate::liquid::WATER_20C_KG_M3;

use super::errors::{ErrorSource, Sources};
use super::fit_data::{DISAGREES_P, FitPoint, NAMED, is_wrong};
use super::fitted_curve::FittedCalibration;
use super::joint::fit_jointly;
use super::joint_rows::{LOOSE, Member};
use super::joint_solution::{JointFit, SharedEffect};
use super::prepared::PreparedSession;
use super::result::{BathPoint, SharedBath, Suspect};
use super::selection::LeftOut;

/// Fits the chosen curves of all sessions that share baths together, and names suspect baths. Where a fit fails the curves
/// of the single probes stay. The rows of baths that are wrong come with the baths that several probes share.
pub(super) fn fit_together(
    prepared: &mut [PreparedSession],
    sources: &Sources,
    level: f64,
) -> (Vec<SharedBath>, Vec<usize>) {
    for one in prepared.iter_mut() {
        one.suspects = alone(one);
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
                (Some(fitted), Ok(joined)) => {
                    one.choice.fitted = fitted.clone();
                    let place = |source: usize| one.points.iter().position(|p| p.is_of(source));
                    let suspect = |(source, judged): &(usize, Judged)| Some(judged.of(place(*source)?));
                    if !joined.doubted.is_empty() {
                        one.suspects = joined.doubted.iter().filter_map(suspect).collect();
                    }
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
    /// By member.
    curves: Vec<FittedCalibration>,
    baths: Vec<SharedBath>,
    /// The suspects among them, by their sources.
    doubted: Vec<(usize, Judged)>,
    /// Rows of the bath that is wrong.
    wrong: Vec<usize>,
}

fn join(members: &[&PreparedSession], sources: &Sources, level: f64) -> Result<Joined> {
    let all: Vec<Member<'_>> = members.iter().map(|one| started(one)).collect::<Result<_>>()?;
    let together = fit_jointly(&all, level, None)?;
    let mut baths = shared_baths(members, &together, sources, level)?;
    let without = |bath: &SharedBath| Some((bath.source, without(bath, baths.len(), &all, level).ok()??));
    let doubted = suspicious(baths.iter().filter_map(without).collect(), |(_, judged)| judged.p);
    for bath in &mut baths {
        bath.p = doubted.iter().find(|(source, _)| *source == bath.source).map(|(_, judged)| judged.p);
    }
    let is_wrong = matches!(doubted.as_slice(), [(_, one)] if one.is_slip);
    let wrong = baths.iter().filter(|bath| is_wrong && bath.p.is_some());
    let wrong = wrong.flat_map(|bath| bath.references.clone()).collect();
    Ok(Joined { curves: together.curves, baths, doubted, wrong })
}

/// Of baths with their p when they are left out: the worst, where it is beyond what chance gives, and those with it among
/// which the wrong one is with probability [`NAMED`], if one is: 1/p is nearly in proportion to the likelihood of the rest.
fn suspicious<T>(mut baths: Vec<T>, p: impl Fn(&T) -> f64) -> Vec<T> {
    baths.sort_by(|a, b| p(a).total_cmp(&p(b)));
    let (all, mut before) = (baths.iter().map(|bath| p(bath).recip()).sum::<f64>(), 0.0);
    let worst = baths.first().map_or(1.0, &p);
    baths.retain(|bath| {
        let is_in = worst < *DISAGREES_P && before < *NAMED;
        before += p(bath).recip() / all;
        is_in
    });
    baths
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

fn shared_baths(
    members: &[&PreparedSession],
    fit: &JointFit,
    sources: &Sources,
    level: f64,
) -> Result<Vec<SharedBath>> {
    let (df, mut baths) = (mean_df(fit), Vec::new());
    for SharedEffect { source, value, variance } in &fit.effects {
        let rows = members.iter().flat_map(|one| one.points.iter().zip(&one.baths).map(|row| (*one, row)));
        let own: Vec<_> = rows.filter(|(_, (point, _))| point.is_of(*source)).collect();
        let first = own.first().and_then(|(_, (point, bath))| Some((bath, point.errors.first()?)));
        let Some((bath, error)) = first else { continue };
        let stated_sd = error.effect / WATER_20C_KG_M3;
        let (off, se) = (value * stated_sd, variance.max(0.0).sqrt() * stated_sd);
        baths.push(SharedBath {
            source: *source,
            name: match sources.get(*source) {
                Some(ErrorSource::Bath(name, began)) => format!("{name}, {began}"),
                other => other.map(ToString::to_string).unwrap_or_default(),
            },
            stated_sg: bath.sg,
            stated_sd,
            probes: own.iter().map(|(one, _)| one.probe.clone()).collect(),
            references: own.iter().flat_map(|(_, (_, bath))| bath.references.clone()).collect(),
            error_sg: Estimate::student_t(off, se, df, level, "all probes in the bath together, t")?,
            p: None,
        });
    }
    Ok(baths)
}

/// What the others say of a bath that is left out.
struct Judged {
    off_sg: f64,
    p: f64,
    is_slip: bool,
}

impl Judged {
    /// Off by so much, with the standard error of that and its p, among so many baths.
    fn new(off_sg: f64, se_sg: f64, p: f64, baths: usize) -> Self {
        Self { off_sg, p: (p * baths as f64).min(1.0), is_slip: is_wrong(off_sg, se_sg) }
    }

    /// The suspect at that place among the baths of a probe.
    fn of(&self, bath: usize) -> Suspect {
        let Self { off_sg, p, is_slip } = *self;
        Suspect { bath, off_sg, p, is_slip }
    }
}

/// What the other baths of several probes say of one.
fn without(bath: &SharedBath, baths: usize, members: &[Member<'_>], level: f64) -> Result<Option<Judged>> {
    let without = fit_jointly(members, level, Some(bath.source))?;
    let Some(free) = without.effects.iter().find(|effect| effect.source == bath.source) else { return Ok(None) };
    // In units of the stated standard deviation: the others' judgement of the bath, and how sure it is.
    let (error, se) = (free.value * LOOSE, (1.0 + free.variance * LOOSE * LOOSE).sqrt());
    let p = 2.0 * quantile::student_t_upper_tail((error / se).abs(), mean_df(&without))?;
    Ok(Some(Judged::new(error * bath.stated_sd, se * bath.stated_sd, p, baths)))
}

/// The suspects of one probe by its own leave-one-out fits.
fn alone(one: &PreparedSession) -> Vec<Suspect> {
    let left_out = &one.choice.left_out;
    let suspect = |(bath, left): (usize, &Option<LeftOut>)| {
        let LeftOut { error_sg, studentised, p, .. } = left.as_ref()?;
        Some(Judged::new(-error_sg, error_sg / studentised, *p, left_out.len()).of(bath))
    };
    suspicious(left_out.iter().enumerate().filter_map(suspect).collect(), |suspect| suspect.p)
}

/// Rows of the bath that is wrong by the others of this probe.
fn wrong_alone(one: &PreparedSession) -> Vec<usize> {
    match one.suspects.as_slice() {
        [Suspect { bath, is_slip: true, .. }] => one.baths.get(*bath).map(|bath| bath.references.clone()),
        _ => None,
    }
    .unwrap_or_default()
}
