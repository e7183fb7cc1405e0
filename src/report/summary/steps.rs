//! What to do next, and why.

use std::collections::BTreeMap;

use crate::calibration::{BathPlan, BathPoint, gravities};
use crate::drift::{Drift, InstrumentBias, Misfit, MisfitKind, ProbeDrift, Recalibrate};
use crate::fit::Estimate;
use crate::kinetics::{BatchFit, PointSource};
use crate::season::{Flags, LeftOpen, Reference, ReferenceUse, RowAccount, each_once};
use crate::study::SeasonStudy;

use super::super::reader::Reader;
use super::super::running::running;
use super::super::trust::{Trust, off, provisional};
use super::super::words::{capital, list, minute, percent};
use super::step::{Step, Todo, todo};

/// Chance of being at rest from which samples tell more than waiting.
const MAYBE_READY: f64 = 0.5;
/// An instrument with a larger bias is to be checked, SG.
const BIASED_SG: f64 = 0.0015;
/// A calibration due within this time is announced, days.
const SOON_D: f64 = 14.0;
/// Beer below this is cold, °C: in it an even gravity tells nothing.
const COLD_C: f64 = 10.0;
/// A plan that goes cold is told of where the chance of a rest before that is less.
const SURE: f64 = 0.95;
/// What to do, the most urgent first.
pub(super) fn steps(study: &SeasonStudy, reader: &Reader) -> Vec<Step> {
    let mut all = batches(study, reader);
    all.extend(open_ends(study, reader));
    all.extend(rejected(&study.season.account));
    entries(&mut all, study, reader);
    if let Some(found) = study.drift.done() {
        all.extend(instruments(found, reader));
        probes(&mut all, study, found, reader);
    }
    for build in study.builds.done().into_iter().flat_map(|found| &found.builds).filter(|build| build.contradicted) {
        let why = format!("no float of {:.1} g and its size can rest as it did in its baths", build.total_mass_g);
        all.push(todo("Weigh and measure # again", &build.probe, why));
    }
    if let Some(found) = study.calibrations.done() {
        let mut with: Vec<&str> = found.calibrations.iter().map(|c| c.probe.as_str()).collect();
        with.dedup();
        all.extend(with.iter().filter_map(|probe| one_more_bath(study, probe, reader)));
        let without = each_once(found.without.iter().map(|none| none.probe.as_str()));
        let without = without.into_iter().filter(|probe| !with.contains(probe));
        all.extend(without.map(|probe| {
            let why = found.without.iter().find(|none| none.probe == *probe).map_or("no bath", |none| &none.why);
            todo("Calibrate # before its next batch", probe, format!("no curve, so no gravity ({why})"))
        }));
    } else if let Some(why) = study.calibrations.why().filter(|_| !study.season.probes.is_empty()) {
        let how = "Name the probe as in probes.csv, and take water and three other baths within three days.";
        all.push(todo(
            "Mend the calibration first, as without a curve there is no gravity",
            "",
            format!("{}. {how}", capital(why)),
        ));
    }
    each_once(all.iter().map(|(line, ..)| line)).into_iter().map(|line| Step::of(line, &all)).collect()
}

/// What a provisional curve lacks: one bath while its calibration still takes baths, else a new calibration.
fn one_more_bath(study: &SeasonStudy, probe: &str, reader: &Reader) -> Option<Todo> {
    let (curve, next) = provisional(study, probe)?;
    let until = curve.calibrated_at.plus_hours(study.calibrations.done()?.settings.session_gap_h);
    let what = match study.latest.is_some_and(|now| now < until) {
        true => format!("Mix one more bath for # before {}, near", reader.hour(until)),
        false => "Calibrate # in water and three baths, one of them near".to_owned(),
    };
    let known = curve.tilt_deg_at_20c(next.sg).and_then(|tilt_deg| curve.sg_at(tilt_deg).ok());
    let known = known.map_or_else(String::new, |e| format!(": in such a bath it would tell {}", reader.gravity(&e)));
    let why = format!(
        "for a litre take {:.0} g of sugar and {:.0} g of water. {} baths cannot check the form of a curve, so this one is provisional{known}",
        next.sucrose_g_per_l,
        next.water_g_per_l,
        curve.baths.len()
    );
    Some(todo(&format!("{what} {}", reader.plain(next.sg)), probe, why))
}

/// The line of entries that do not fit.
const LOOK_UP: &str = "Look up the #";

/// Entries that the rest of the season contradicts, all in one step.
fn entries(all: &mut Vec<Todo>, study: &SeasonStudy, reader: &Reader) {
    let (wrong, said) = baths(study, reader);
    all.extend(wrong);
    if let Some(found) = study.drift.done() {
        let is_said = |of: &Misfit, bath: &BathPoint| bath.bath == of.bath && bath.at.days_since(of.at).abs() < 1.0;
        let is_new = |of: &&Misfit| of.kind != MisfitKind::Bath || !said.iter().any(|bath| is_said(of, bath));
        misfits(all, found.misfits.iter().filter(is_new).collect(), reader);
    }
    for fit in study.kinetics.done().into_iter().flat_map(|found| &found.batches) {
        let found = samples(fit, reader);
        // Probes and curve may say it of the same one.
        let is_new = |(line, name, _): &Todo| !all.iter().any(|(of, said, _)| of == line && said == name);
        let new: Vec<Todo> = found.into_iter().filter(is_new).collect();
        all.extend(new);
    }
    misdated(all, study, reader);
    if all.iter().any(|(line, ..)| line == LOOK_UP) {
        all.push(todo(LOOK_UP, "", "What does not fit is left out or counts less. Mend each slip in its file."));
    }
}

/// Baths that do not fit the others of a calibration, each once for all of its probes; with the baths themselves.
fn baths<'a>(study: &'a SeasonStudy, reader: &Reader) -> (Vec<Todo>, Vec<&'a BathPoint>) {
    let mut all: BTreeMap<_, Vec<(&str, &BathPoint, f64)>> = BTreeMap::new();
    for c in study.calibrations.done().iter().flat_map(|found| &found.calibrations) {
        let slips = c.suspects.iter().filter(|of| of.is_slip);
        let slips =
            slips.filter_map(|of| Some((c.baths.get(of.bath)?, of.off_sg, ". It, or another of them, is wrong")));
        let out = c.left_out.iter().filter(|bath| bath.residual_sg.is_finite());
        let out = out.map(|bath| (bath, -bath.residual_sg, ""));
        for (bath, off, doubt) in out.chain(slips) {
            let what = format!("bath {} of {}", bath.name(), reader.day(bath.at));
            all.entry((what, reader.plain(bath.sg), doubt)).or_default().push((&c.probe, bath, off));
        }
    }
    let wrong = all.iter().filter_map(|((what, _, doubt), of)| {
        let (_, bath, off) = of.first()?;
        let probes = list(&of.iter().map(|(probe, ..)| *probe).collect::<Vec<&str>>());
        let same = |r: &&Reference| r.bath.is_some() && r.bath == bath.bath && r.at.days_since(bath.at).abs() < 1.0;
        let other = study.season.references.iter().filter(same).find(|r| (r.sg - bath.sg).abs() > 0.0);
        let other = other.map(|r| format!("; for other probes it is {}", reader.plain(r.sg))).unwrap_or_default();
        let say = format!("the other baths of {probes} say{other}");
        Some(todo(LOOK_UP, what, off_by((bath.sg, *off), &say, reader) + doubt))
    });
    (wrong.collect(), all.values().flatten().map(|(_, bath, _)| *bath).collect())
}

/// How far a gravity is off beside what others say.
fn off_by((sg, off_sg): (f64, f64), others_say: &str, reader: &Reader) -> String {
    let way = if off_sg > 0.0 { "above" } else { "below" };
    format!("{} is {} {way} what {others_say}", reader.plain(sg), reader.size(off_sg))
}

/// Entries that other probes and samples contradict, the surest first.
fn misfits(all: &mut Vec<Todo>, mut found: Vec<&Misfit>, reader: &Reader) {
    found.sort_by(|a, b| (b.off_sg / b.se).abs().total_cmp(&(a.off_sg / a.se).abs()));
    for misfit in found {
        let (on, probes) = (reader.day(misfit.at), list(&misfit.probes));
        let batch = misfit.batch.as_deref().unwrap_or_default();
        let what = match misfit.kind {
            MisfitKind::Sample => format!("sample of {on} in {batch}"),
            MisfitKind::Bath => format!("bath {} of {on}", misfit.bath.as_deref().unwrap_or("without a name")),
            MisfitKind::Original => format!("original gravity of {batch}"),
            MisfitKind::Readings => {
                let (off, way) = (reader.size(misfit.off_sg), if misfit.off_sg > 0.0 { "lower" } else { "higher" });
                let why = format!("the samples of {batch} lie {off} {way} on average");
                all.push(todo("Look whether #", format!("{probes} was in {batch}"), why));
                continue;
            }
        };
        let and_all = if misfit.kind == MisfitKind::Bath { "" } else { " and all else" };
        let say = format!("{probes}{and_all} say");
        all.push(todo(LOOK_UP, what, off_by((misfit.stated_sg, misfit.off_sg), &say, reader)));
    }
}

/// Batches of which nobody has written down the end.
fn open_ends(study: &SeasonStudy, reader: &Reader) -> Vec<Todo> {
    let why = |LeftOpen { batch, last_at, moved }: &LeftOpen| {
        let why = match moved {
            Some(to) => format!("its probe {} has been in {} since {}", to.probe, to.batch, reader.day(to.at)),
            None => format!("nothing has come from it since {}", reader.day(*last_at)),
        };
        todo("Write down when # ended, as `ended_at`", batch, why)
    };
    study.season.left_open().iter().map(why).collect()
}

/// Rows that could not be used, of the tables that hands write.
fn rejected(account: &RowAccount) -> Vec<Todo> {
    let is_log = |file: &str| account.files.iter().any(|of| of.file == file && of.table == "readings");
    let of_hands = account.rejected.iter().filter(|row| !is_log(&row.file));
    of_hands.map(|row| todo("Mend #", format!("line {} of {}", row.line, row.file), row.reason.to_string())).collect()
}

/// Samples dated after the end of their batch, samples and baths long after all else of the season.
fn misdated(all: &mut Vec<Todo>, study: &SeasonStudy, reader: &Reader) {
    let mut of_batch: BTreeMap<&str, Vec<&Reference>> = BTreeMap::new();
    let is_late =
        |of: &&Reference| of.flags.intersects(Flags::OUTSIDE_BATCH) && of.use_as != Some(ReferenceUse::Ignore);
    for late in study.season.references.iter().filter(is_late) {
        match (late.batch.as_deref(), &late.probe, study.latest) {
            (Some(batch), ..) => of_batch.entry(batch).or_default().push(late),
            (None, Some(probe), Some(latest)) => all.push(todo(
                LOOK_UP,
                format!("date of the bath of {} for {probe}", minute(late.at, &reader.scales.zone)),
                format!("the other data end on {}", minute(latest, &reader.scales.zone)),
            )),
            _ => {}
        }
    }
    for (batch, samples) in of_batch {
        let Some(first) = samples.first() else { continue };
        let of = study.season.batch(batch);
        let early = of.map(|of| of.pitched_at).filter(|pitched_at| first.at < *pitched_at);
        let late = match (early, of.and_then(|of| of.ended_at), study.latest) {
            (Some(pitched_at), ..) => format!("{batch} was pitched on {}", minute(pitched_at, &reader.scales.zone)),
            (_, Some(ended_at), _) => format!("{batch} had ended on {}", minute(ended_at, &reader.scales.zone)),
            (.., Some(latest)) => format!("the other data end on {}", minute(latest, &reader.scales.zone)),
            _ => continue,
        };
        let at = minute(first.at, &reader.scales.zone);
        all.push(match samples.len() {
            1 => todo(
                LOOK_UP,
                format!("date of the sample of {at} in {batch}"),
                format!("{} stands there, but {late}", reader.plain(first.sg)),
            ),
            n => todo(
                LOOK_UP,
                format!("{} of {batch} and the dates of {n} samples", if early.is_some() { "pitching" } else { "end" }),
                format!("the first is dated {at}, but {late}"),
            ),
        });
    }
}

/// Samples that the curve of their batch was fitted without.
fn samples(fit: &BatchFit, reader: &Reader) -> Vec<Todo> {
    let points = fit.points.iter().zip(&fit.residuals_sg);
    let left_out = points.filter(|(point, _)| point.weight < 1.0 && matches!(point.source, PointSource::Sample(_)));
    let wrong = left_out.map(|(point, off_sg)| {
        let what = match point.hours > 0.0 {
            true => format!("sample of {} in {}", reader.day(fit.instant(point.hours)), fit.batch),
            false => format!("original gravity of {}", fit.batch),
        };
        todo(LOOK_UP, what, off_by((point.sg, *off_sg), "the curve through all else of the batch says", reader))
    });
    wrong.collect()
}

/// Samples to draw and batches to warm.
fn batches(study: &SeasonStudy, reader: &Reader) -> Vec<Todo> {
    let mut all = Vec::new();
    for one in running(study) {
        let batch = &one.forecast.batch;
        let (stuck, early) = (one.maybe_stuck(), one.early());
        let ready = one.forecast.p_ready.filter(|p| *p >= MAYBE_READY);
        let mut why = Vec::new();
        match (stuck, ready) {
            (Some(p), _) => why.push(format!("it may be stuck (chance {})", percent(p))),
            (None, Some(p)) if !early => why.push(format!("it may be at rest (chance {})", percent(p))),
            (None, _) => {}
        }
        let little = "so little attenuation is unusual for beer (65 to 85 % is usual), whatever its yeast did before";
        why.extend(early.then(|| little.to_owned()));
        if let Some(found) = study.drift.done() {
            let probes = study.season.batches.iter().filter(|of| of.batch == *batch).flat_map(|of| &of.probes);
            let reads = |probe: &ProbeDrift| {
                Some(format!("its probe {} now reads {}", probe.probe, off(found, probe, reader)?))
            };
            why.extend(probes.filter_map(|probe| reads(found.of_probe(probe)?)));
        }
        let cooled = one.cooled_early() && ready.is_none();
        why.extend(cooled.then(|| "it was cooled before it came to rest".to_owned()));
        let is_cold = one.temp_c.is_some_and(|temp_c| temp_c < COLD_C);
        let cold = "cold beer shows an even gravity, at rest or not; a sample drawn cold is warmed and degassed before it is read";
        why.extend((is_cold && ready.is_some()).then(|| cold.to_owned()));
        let outlooks = study.forecasts.done().into_iter().flat_map(|found| &found.outlooks);
        let plan = outlooks.filter(|of| of.batch == *batch).find_map(|of| of.cold_at.zip(of.p_rest_before_cold));
        let plan = plan.filter(|(_, p)| *p < SURE && !is_cold && !one.at_rest());
        why.extend(plan.map(|(at, p)| {
            format!(
                "its plan goes cold on {}, and the chance that it is at rest before is {}",
                reader.day(at),
                percent(p)
            )
        }));
        let is_sampled = study.season.references.iter().any(|of| of.batch.as_ref() == Some(batch));
        let is_checked = study.drift.done().is_some_and(|found| {
            let mut probes = study.season.batch(batch).into_iter().flat_map(|of| &of.probes);
            probes.any(|probe| found.of_probe(probe).is_some_and(|probe| probe.n > 0))
        });
        why.extend(
            (!is_sampled && !is_checked).then(|| "no sample has told yet whether its probe reads true".to_owned()),
        );
        let (line, urgency) = match (stuck, ready) {
            _ if why.is_empty() => continue,
            _ if early => ("Warm #, rouse the yeast and measure the limit by a forced ferment", 0),
            (None, _) if cooled => ("Warm # again, until it has come to rest", 1),
            (Some(_), _) => ("Warm # a little and take a degassed sample", 1),
            (None, Some(_)) if is_cold => ("Warm # and take degassed samples on three days", 2),
            (None, Some(_)) => ("Take degassed samples of # on three days, warm", 2),
            (None, None) if plan.is_some() => ("Sample # before its plan cools it", 2),
            (None, None) => ("Take a degassed sample of #", 3),
        };
        all.push((urgency, todo(line, batch, why.join("; "))));
    }
    all.sort_by_key(|(urgency, _)| *urgency);
    all.into_iter().map(|(_, todo)| todo).collect()
}

/// Instruments whose bias matters.
fn instruments(found: &Drift, reader: &Reader) -> Vec<Todo> {
    let known = found.instruments.iter().filter_map(|of| Some((of, of.bias_sg.estimate()?)));
    let biased = known.filter(|(_, e)| e.value.abs() > BIASED_SG.max(2.0 * e.se));
    let step = |(of, e): (&InstrumentBias, &Estimate)| {
        let way = if e.value > 0.0 { "high" } else { "low" };
        let why = format!("it reads {} too {way} beside the probes and their baths", reader.size(e.value));
        todo("Check # in water and in a bath of known gravity", &of.instrument, why)
    };
    biased.map(step).collect()
}

/// Probes to calibrate and to check.
fn probes(all: &mut Vec<Todo>, study: &SeasonStudy, found: &Drift, reader: &Reader) {
    let (calibrate, check, later) =
        ("Calibrate #", "Check # in water after the batch", "Check # in water after the next batch");
    let idle = "Check # in water now";
    let busy: Vec<&String> = running(study)
        .iter()
        .filter_map(|one| study.season.batch(&one.forecast.batch))
        .flat_map(|batch| &batch.probes)
        .collect();
    let size = |probe: &ProbeDrift| probe.offset_sg.value().map_or(0.0, f64::abs);
    let mut probes = Trust::all(study, found, reader);
    probes.sort_by(|(a, _), (b, _)| size(b).total_cmp(&size(a)));
    let limit = format!("Calibrate a probe that reads off there by more than {}.", reader.scales.limit(found.limit_sg));
    let baths = study.bath_plan.done().and_then(BathPlan::recommended).map(gravities);
    let baths = baths.map(|sg| {
        format!("Mix these baths, each afresh: SG {sg}. The grams stand with the probes, under \"The next baths\".")
    });
    // What a provisional curve needs is said apart.
    for (line, wanted, after) in [
        (calibrate, Trust::No, baths),
        (check, Trust::CheckIt, Some(limit.clone())),
        (idle, Trust::CheckIt, Some(limit.clone())),
        (later, Trust::Yes, Some(limit)),
    ] {
        let why = |probe: &ProbeDrift| match (wanted, &probe.recalibrate, study.latest) {
            (Trust::No, ..) => Some(format!("it reads {}", off(found, probe, reader)?)),
            (Trust::CheckIt, ..) => Some("the error is no longer known well enough".to_owned()),
            (_, Recalibrate::By(at), Some(now)) if at.days_since(now) <= SOON_D => {
                Some(format!("the error is known well enough until {}", reader.day(*at)))
            }
            _ => None,
        };
        let fits = |probe: &String| line == calibrate || line == later || (line == check) == busy.contains(&probe);
        let of = probes.iter().filter(|(probe, trust)| *trust == wanted && fits(&probe.probe));
        let before = all.len();
        all.extend(of.filter_map(|(probe, _)| Some(todo(line, &probe.probe, why(probe)?))));
        all.extend(after.filter(|_| all.len() > before).map(|after| todo(line, "", after)));
    }
}
