//! What to do next, and why.

use std::collections::BTreeMap;

use crate::calibration::{BathPlan, BathPoint, gravities};
use crate::drift::{Drift, Misfit, MisfitKind, ProbeDrift, Recalibrate};
use crate::kinetics::{BatchFit, PointSource};
use crate::season::{Flags, LeftOpen, Reference, ReferenceUse};
use crate::study::SeasonStudy;

use super::super::reader::Reader;
use super::super::running::running;
use super::super::trust::{Trust, off, provisional};
use super::super::words::{count, list, percent, some};
use super::Answer;

/// Chance of being stuck from which a batch is worth a look.
const MAYBE_STUCK: f64 = 0.2;
/// Chance of being at rest from which samples tell more than waiting.
const MAYBE_READY: f64 = 0.5;
/// A calibration due within this time is announced, days.
const SOON_D: f64 = 14.0;
/// Entries that do not fit are named one by one up to this number.
const MOST_MISFITS: usize = 6;
/// Batches without an end are named one by one up to this number.
const MOST_OPEN: usize = 3;
/// Batches that are named in a sentence.
const MOST_NAMES: usize = 20;
/// Probes to calibrate are named one by one up to this number.
const MOST_PROBES: usize = 10;

pub(super) fn answer(study: &SeasonStudy, reader: &Reader) -> Answer {
    let mut answer = Answer::new("What to do?");
    batches(&mut answer, study, reader);
    open_ends(&mut answer, study, reader);
    misdated(&mut answer, study, reader);
    let said = baths(&mut answer, study, reader);
    if let Some(found) = study.drift.done() {
        let is_said = |of: &Misfit, bath: &BathPoint| bath.bath == of.bath && bath.at.days_since(of.at).abs() < 1.0;
        let is_new = |of: &&Misfit| of.kind != MisfitKind::Bath || !said.iter().any(|bath| is_said(of, bath));
        misfits(&mut answer, found.misfits.iter().filter(is_new).collect(), reader);
        probes(&mut answer, study, found, reader);
    }
    if let Some(found) = study.kinetics.done() {
        found.batches.iter().for_each(|fit| samples(&mut answer, fit, reader));
    }
    for build in study.builds.done().into_iter().flat_map(|found| &found.builds).filter(|build| build.contradicted) {
        answer.say(format!(
            "Weigh and measure {} again: no float of {:.1} g and its size can rest as it did in its baths.",
            build.probe, build.total_mass_g
        ));
    }
    if let Some(calibrations) = study.calibrations.done() {
        let mut with: Vec<&str> = calibrations.calibrations.iter().map(|c| c.probe.as_str()).collect();
        with.dedup();
        answer.sentences.extend(with.iter().filter_map(|probe| one_more_bath(study, probe, reader)));
        let mut without: Vec<&str> = calibrations.without.iter().map(|none| none.probe.as_str()).collect();
        without.retain(|probe| !with.contains(probe));
        without.dedup();
        if !without.is_empty() {
            answer.say(format!("Calibrate {}: no curve, so no gravity.", list(&without)));
        }
    }
    if answer.sentences.is_empty() {
        answer.say("Nothing that the data show.");
    }
    answer
}

/// What a provisional curve lacks: one bath while its calibration still takes baths, else a new calibration.
fn one_more_bath(study: &SeasonStudy, probe: &str, reader: &Reader) -> Option<String> {
    let (curve, next) = provisional(study, probe)?;
    let until = curve.calibrated_at.plus_hours(study.calibrations.done()?.settings.session_gap_h);
    let what = match study.latest.is_some_and(|now| now < until) {
        true => format!("Mix one more bath for {probe} before {}, near", reader.hour(until)),
        false => format!("Calibrate {probe} in water and three baths, one of them near"),
    };
    let known = curve.tilt_deg_at_20c(next.sg).and_then(|tilt_deg| curve.sg_at(tilt_deg).ok());
    let known = known.map_or_else(String::new, |e| format!(" There it tells {}.", reader.gravity(&e)));
    Some(format!(
        "{what} {} ({:.0} g of sugar and {:.0} g of water for a litre). Its curve is provisional, as {} baths do not check its form.{known}",
        reader.plain(next.sg),
        next.sucrose_g_per_l,
        next.water_g_per_l,
        curve.baths.len()
    ))
}

/// Baths that do not fit the others of a calibration, each once for all of its probes; gives them back.
fn baths<'a>(answer: &mut Answer, study: &'a SeasonStudy, reader: &Reader) -> Vec<&'a BathPoint> {
    let mut all: BTreeMap<_, Vec<(&str, &BathPoint, f64)>> = BTreeMap::new();
    for c in study.calibrations.done().iter().flat_map(|found| &found.calibrations) {
        let slips = c.suspects.iter().filter(|of| of.is_slip);
        let slips = slips.filter_map(|of| Some((c.baths.get(of.bath)?, of.off_sg, "It, or another of them, is wrong")));
        let out = c.left_out.iter().filter(|bath| bath.residual_sg.is_finite());
        let out = out.map(|bath| (bath, -bath.residual_sg, "It is left out"));
        for (bath, off, fate) in out.chain(slips) {
            let what = format!("bath {} of {}", bath.name(), reader.day(bath.at));
            all.entry((what, reader.plain(bath.sg), fate)).or_default().push((&c.probe, bath, off));
        }
    }
    for ((what, _, fate), of) in &all {
        let Some((_, bath, off)) = of.first() else { continue };
        let probes = list(&of.iter().map(|(probe, ..)| *probe).collect::<Vec<&str>>());
        let same = |r: &&Reference| r.bath.is_some() && r.bath == bath.bath && r.at.days_since(bath.at).abs() < 1.0;
        let other = study.season.references.iter().filter(same).find(|r| (r.sg - bath.sg).abs() > 0.0);
        let other = other.map(|r| format!(", and for other probes it is {}", reader.plain(r.sg))).unwrap_or_default();
        let say = format!("what the other baths of {probes} say{other}. {fate}");
        answer.say(look_up(what, (bath.sg, *off), &say, reader));
    }
    all.into_values().flatten().map(|(_, bath, _)| bath).collect()
}

/// An entry that is off by so much beside what others `say`.
fn look_up(what: &str, (sg, off_sg): (f64, f64), say: &str, reader: &Reader) -> String {
    let way = if off_sg > 0.0 { "above" } else { "below" };
    format!("Look up the {what}: {} is {} {way} {say}.", reader.plain(sg), reader.size(off_sg))
}

/// Entries that the rest of the season contradicts, the surest first.
fn misfits(answer: &mut Answer, mut found: Vec<&Misfit>, reader: &Reader) {
    found.sort_by(|a, b| (b.off_sg / b.se).abs().total_cmp(&(a.off_sg / a.se).abs()));
    for misfit in found.iter().take(MOST_MISFITS) {
        let (on, probes) = (reader.day(misfit.at), list(&misfit.probes));
        let batch = misfit.batch.as_deref().unwrap_or_default();
        let what = match misfit.kind {
            MisfitKind::Sample => format!("sample of {on} in {batch}"),
            MisfitKind::Bath => format!("bath {} of {on}", misfit.bath.as_deref().unwrap_or("without a name")),
            MisfitKind::Original => format!("original gravity of {batch}"),
            MisfitKind::Readings => {
                let (off, way) = (reader.size(misfit.off_sg), if misfit.off_sg > 0.0 { "lower" } else { "higher" });
                answer.say(format!(
                    "Look whether {probes} was in {batch}: the samples of {batch} lie {off} {way} on average."
                ));
                continue;
            }
        };
        let and_all = if misfit.kind == MisfitKind::Bath { "" } else { " and all else" };
        let say = format!("what {probes}{and_all} say. It is left out");
        answer.say(look_up(&what, (misfit.stated_sg, misfit.off_sg), &say, reader));
    }
    match found.len().saturating_sub(MOST_MISFITS) {
        0 => {}
        1 => answer.say("One further entry does not fit: tables/misfits.csv names it."),
        more => answer.say(format!("{more} further entries do not fit: tables/misfits.csv names them.")),
    }
}

/// Batches of which nobody has written down the end.
fn open_ends(answer: &mut Answer, study: &SeasonStudy, reader: &Reader) {
    let open = study.season.left_open();
    if open.len() > MOST_OPEN {
        let names: Vec<&str> = open.iter().map(|left| left.batch.as_str()).collect();
        answer.say(format!(
            "When did {} end? Nothing has come from them for a week, or their probes are in other batches. Write each end down as \
             `ended_at`.",
            some(&names, MOST_NAMES)
        ));
        return;
    }
    for LeftOpen { batch, last_at, moved } in &open {
        let why = match moved {
            Some(moved) => {
                format!("Its probe {} has been in {} since {}", moved.probe, moved.batch, reader.day(moved.at))
            }
            None => format!("Nothing has come from it since {}", reader.day(*last_at)),
        };
        answer.say(format!("When did {batch} end? {why}. Write the end down as `ended_at`."));
    }
}

/// Samples dated after the end of their batch, or long after all else of the season.
fn misdated(answer: &mut Answer, study: &SeasonStudy, reader: &Reader) {
    let mut of_batch: BTreeMap<&str, Vec<&Reference>> = BTreeMap::new();
    for sample in &study.season.references {
        let is_late = sample.flags.intersects(Flags::OUTSIDE_BATCH) && sample.use_as != Some(ReferenceUse::Ignore);
        if let Some(batch) = sample.batch.as_deref().filter(|_| is_late) {
            of_batch.entry(batch).or_default().push(sample);
        }
    }
    for (batch, samples) in of_batch {
        let ended_at = study.season.batch(batch).and_then(|batch| batch.ended_at);
        let late = match (ended_at, study.latest) {
            (Some(ended_at), _) => format!("{batch} had ended on {}", reader.moment(ended_at)),
            (None, Some(latest)) => format!("the other data end on {}", reader.moment(latest)),
            (None, None) => continue,
        };
        answer.say(match samples.as_slice() {
            [sample] => format!(
                "Look up the date of the sample of {} in {batch} ({}): {late}. It is left out.",
                reader.moment(sample.at),
                reader.plain(sample.sg)
            ),
            [first, ..] => format!(
                "Look up when {batch} ended and when {} were drawn, the first of them on {}: {late}. They are left out.",
                count(samples.len(), "sample", "samples"),
                reader.moment(first.at)
            ),
            [] => continue,
        });
    }
}

/// Samples that the curve of their batch was fitted without.
fn samples(answer: &mut Answer, fit: &BatchFit, reader: &Reader) {
    for (point, off_sg) in fit.points.iter().zip(&fit.residuals_sg) {
        if point.weight < 1.0 && matches!(point.source, PointSource::Sample(_)) {
            let what = match point.hours > 0.0 {
                true => format!("sample of {} in {}", reader.day(fit.instant(point.hours)), fit.batch),
                false => format!("original gravity of {}", fit.batch),
            };
            let say = "the curve through all else of the batch. It is left out";
            answer.say(look_up(&what, (point.sg, *off_sg), say, reader));
        }
    }
}

fn batches(answer: &mut Answer, study: &SeasonStudy, reader: &Reader) {
    for one in running(study) {
        let batch = &one.forecast.batch;
        let mut why = Vec::new();
        let stuck = one.forecast.p_stuck.filter(|p| *p >= MAYBE_STUCK);
        let ready = one.forecast.p_ready.filter(|p| *p >= MAYBE_READY);
        let early = one.forecast.early_attenuation;
        match (stuck, ready) {
            (Some(p), _) => why.push(format!("it may be stuck (chance {})", percent(p))),
            (None, Some(p)) if early.is_none() => why.push(format!("it may be at rest (chance {})", percent(p))),
            (None, _) => {}
        }
        why.extend(early.map(|share| {
            format!(
                "it seems to be at rest at {} apparent attenuation, unusually early for beer (65 to 85 % is usual) whatever its yeast \
                 did before",
                percent(share)
            )
        }));
        if let Some(found) = study.drift.done() {
            let probes = study.season.batches.iter().filter(|of| of.batch == *batch).flat_map(|of| &of.probes);
            let reads =
                |probe: &ProbeDrift| Some(format!("its probe {} reads {}", probe.probe, off(found, probe, reader)?));
            why.extend(probes.filter_map(|probe| reads(found.of_probe(probe)?)));
        }
        if why.is_empty() {
            continue;
        }
        let what = match (stuck, ready) {
            _ if early.is_some() => {
                format!("Warm {batch}, rouse its yeast, and measure the limit of its wort with a forced ferment")
            }
            (Some(_), _) => format!("Warm {batch} a little and take a degassed sample"),
            (None, Some(_)) => format!("Take degassed samples of {batch} on three days, warm"),
            (None, None) => format!("Take a degassed sample of {batch}"),
        };
        answer.say(format!("{what}: {}.", list(&why)));
    }
}

fn probes(answer: &mut Answer, study: &SeasonStudy, found: &Drift, reader: &Reader) {
    let size = |probe: &ProbeDrift| probe.offset_sg.value().map_or(0.0, f64::abs);
    // What a provisional curve needs is said apart.
    let all = Trust::all(study, found, reader);
    let mut due: Vec<_> = all.iter().filter(|(_, trust)| matches!(trust, Trust::No | Trust::CheckIt)).collect();
    due.sort_by(|(a, _), (b, _)| size(b).total_cmp(&size(a)));
    let any_off = due.iter().any(|(_, trust)| *trust == Trust::No);
    for (probe, _) in due.iter().take(MOST_PROBES) {
        let name = &probe.probe;
        answer.say(match off(found, probe, reader) {
            Some(off) => format!("Calibrate {name}: it reads {off}."),
            None => format!("Check {name} in water after its batch: its error is no longer known well enough."),
        });
    }
    if let Some(more) = due.get(MOST_PROBES..).filter(|more| !more.is_empty()) {
        let names: Vec<&str> = more.iter().map(|(probe, _)| probe.probe.as_str()).collect();
        answer.say(format!("Also due, by smaller errors: {}. Their dates stand with the probes.", list(&names)));
    }
    let soon = |(probe, trust): &(&ProbeDrift, Trust)| match (&probe.recalibrate, study.latest) {
        (Recalibrate::By(at), Some(now)) if *trust == Trust::Yes && at.days_since(now) <= SOON_D => {
            Some(format!("{} (its error is known until {})", probe.probe, reader.day(*at)))
        }
        _ => None,
    };
    let soon: Vec<String> = all.iter().filter_map(soon).collect();
    if !soon.is_empty() {
        let (soon, limit) = (list(&soon), reader.scales.limit(found.limit_sg));
        answer.say(format!("Check in water after the next batch: {soon}. Calibrate what is off by more than {limit}."));
    }
    if let Some(taken) = study.bath_plan.done().filter(|_| any_off).and_then(BathPlan::recommended) {
        answer.say(format!(
            "To calibrate, mix these baths: SG {}. The grams for each stand with the probes, under \"The next baths\".",
            gravities(taken)
        ));
    }
}
