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
use super::super::words::{capital, count, list, percent, some};

/// Chance of being at rest from which samples tell more than waiting.
const MAYBE_READY: f64 = 0.5;
/// A calibration due within this time is announced, days.
const SOON_D: f64 = 14.0;
/// Batches and probes that are named in a sentence.
const MOST_NAMES: usize = 8;
/// Reasons that the terminal shows of one step.
const MOST_REASONS: usize = 12;

/// What is said of a bath that stays in its calibration.
const DOUBT: &str = " It, or another of them, is wrong.";

/// Something to do: one line, and why.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::report) struct Step {
    /// What to do, in a line without a full stop.
    pub(in crate::report) what: String,
    /// Why and how, in sentences.
    pub(in crate::report) why: Vec<String>,
}

impl Step {
    fn new(what: impl Into<String>, why: impl Into<String>) -> Self {
        Self { what: what.into(), why: vec![why.into()] }
    }

    /// The same thing for several batches or probes in one step, with the reason of each.
    fn for_all(of: &[(String, String)], what: impl Fn(&str) -> String) -> Option<Self> {
        let names: Vec<&str> = of.iter().map(|(name, _)| name.as_str()).collect();
        let (_, first) = of.first()?;
        let each = |(name, why): &(String, String)| match why.strip_prefix("it ") {
            Some(does) => format!("{name} {does}."),
            None => format!("{name}: {why}."),
        };
        let why = match of.iter().all(|(_, why)| why == first) {
            true => vec![format!("{}.", capital(first))],
            false => of.iter().map(each).collect(),
        };
        Some(Self { what: what(&some(&names, MOST_NAMES)), why })
    }

    /// The step on a terminal.
    pub(super) fn text(&self) -> String {
        let shown = self.why.get(..MOST_REASONS).unwrap_or(&self.why).join(" ");
        let more = match self.why.len().saturating_sub(MOST_REASONS) {
            0 => String::new(),
            more => format!(" The page has {more} more."),
        };
        format!("{}. {shown}{more}", self.what).trim_end().to_owned()
    }
}

/// What to do, the most urgent first.
pub(super) fn steps(study: &SeasonStudy, reader: &Reader) -> Vec<Step> {
    let mut steps = batches(study, reader);
    steps.extend(open_ends(study, reader));
    entries(&mut steps, study, reader);
    if let Some(found) = study.drift.done() {
        probes(&mut steps, study, found, reader);
    }
    for build in study.builds.done().into_iter().flat_map(|found| &found.builds).filter(|build| build.contradicted) {
        steps.push(Step::new(
            format!("Weigh and measure {} again", build.probe),
            format!("No float of {:.1} g and its size can rest as it did in its baths.", build.total_mass_g),
        ));
    }
    if let Some(calibrations) = study.calibrations.done() {
        let mut with: Vec<&str> = calibrations.calibrations.iter().map(|c| c.probe.as_str()).collect();
        with.dedup();
        steps.extend(with.iter().filter_map(|probe| one_more_bath(study, probe, reader)));
        let mut without: Vec<&str> = calibrations.without.iter().map(|none| none.probe.as_str()).collect();
        without.retain(|probe| !with.contains(probe));
        without.dedup();
        if !without.is_empty() {
            steps.push(Step::new(format!("Calibrate {}", some(&without, MOST_NAMES)), "No curve, so no gravity."));
        }
    }
    steps
}

/// What a provisional curve lacks: one bath while its calibration still takes baths, else a new calibration.
fn one_more_bath(study: &SeasonStudy, probe: &str, reader: &Reader) -> Option<Step> {
    let (curve, next) = provisional(study, probe)?;
    let until = curve.calibrated_at.plus_hours(study.calibrations.done()?.settings.session_gap_h);
    let what = match study.latest.is_some_and(|now| now < until) {
        true => format!("Mix one more bath for {probe} before {}, near", reader.hour(until)),
        false => format!("Calibrate {probe} in water and three baths, one of them near"),
    };
    let known = curve.tilt_deg_at_20c(next.sg).and_then(|tilt_deg| curve.sg_at(tilt_deg).ok());
    let known = known.map_or_else(String::new, |e| format!(" There it tells {}.", reader.gravity(&e)));
    let why = format!(
        "For a litre take {:.0} g of sugar and {:.0} g of water. Its curve is provisional: {} baths do not check its form.{known}",
        next.sucrose_g_per_l,
        next.water_g_per_l,
        curve.baths.len()
    );
    Some(Step::new(format!("{what} {}", reader.plain(next.sg)), why))
}

/// Entries that the rest of the season contradicts, all in one step.
fn entries(steps: &mut Vec<Step>, study: &SeasonStudy, reader: &Reader) {
    let (mut all, said) = baths(study, reader);
    if let Some(found) = study.drift.done() {
        let is_said = |of: &Misfit, bath: &BathPoint| bath.bath == of.bath && bath.at.days_since(of.at).abs() < 1.0;
        let is_new = |of: &&Misfit| of.kind != MisfitKind::Bath || !said.iter().any(|bath| is_said(of, bath));
        misfits(steps, &mut all, found.misfits.iter().filter(is_new).collect(), reader);
    }
    for fit in study.kinetics.done().into_iter().flat_map(|found| &found.batches) {
        all.extend(samples(fit, reader));
    }
    misdated(&mut all, study, reader);
    let fate = |all: &[Wrong], fate: &str| match all.iter().any(|(_, why)| why.ends_with(DOUBT)) {
        true if all.len() == 1 => String::new(),
        true => "The rest is left out.".to_owned(),
        false => fate.to_owned(),
    };
    match all.as_slice() {
        [] => {}
        [(what, why)] => steps
            .push(Step { what: format!("Look up the {what}"), why: vec![capital(why), fate(&all, "It is left out.")] }),
        _ => {
            let mut why: Vec<String> = all.iter().map(|(what, why)| format!("{}: {why}", capital(what))).collect();
            why.push(fate(&all, "They are left out.") + " Mend each slip in its file.");
            steps.push(Step { what: format!("Look up {} that do not fit", count(all.len(), "entry", "entries")), why });
        }
    }
}

/// An entry, and what is wrong with it.
type Wrong = (String, String);

/// Baths that do not fit the others of a calibration, each once for all of its probes; with the baths themselves.
fn baths<'a>(study: &'a SeasonStudy, reader: &Reader) -> (Vec<Wrong>, Vec<&'a BathPoint>) {
    let mut all: BTreeMap<_, Vec<(&str, &BathPoint, f64)>> = BTreeMap::new();
    for c in study.calibrations.done().iter().flat_map(|found| &found.calibrations) {
        let slips = c.suspects.iter().filter(|of| of.is_slip);
        let slips = slips.filter_map(|of| Some((c.baths.get(of.bath)?, of.off_sg, DOUBT)));
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
        Some((
            what.clone(),
            off_by((bath.sg, *off), &format!("the other baths of {probes} say{other}"), reader) + doubt,
        ))
    });
    (wrong.collect(), all.values().flatten().map(|(_, bath, _)| *bath).collect())
}

/// How far a gravity is off beside what others say.
fn off_by((sg, off_sg): (f64, f64), others_say: &str, reader: &Reader) -> String {
    let way = if off_sg > 0.0 { "above" } else { "below" };
    format!("{} is {} {way} what {others_say}.", reader.plain(sg), reader.size(off_sg))
}

/// Entries that other probes and samples contradict, the surest first.
fn misfits(steps: &mut Vec<Step>, all: &mut Vec<Wrong>, mut found: Vec<&Misfit>, reader: &Reader) {
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
                let why = format!("The samples of {batch} lie {off} {way} on average.");
                steps.push(Step::new(format!("Look whether {probes} was in {batch}"), why));
                continue;
            }
        };
        let and_all = if misfit.kind == MisfitKind::Bath { "" } else { " and all else" };
        all.push((what, off_by((misfit.stated_sg, misfit.off_sg), &format!("{probes}{and_all} say"), reader)));
    }
}

/// Batches of which nobody has written down the end.
fn open_ends(study: &SeasonStudy, reader: &Reader) -> Option<Step> {
    let why = |LeftOpen { batch, last_at, moved }: &LeftOpen| {
        let why = match moved {
            Some(moved) => {
                format!("its probe {} has been in {} since {}", moved.probe, moved.batch, reader.day(moved.at))
            }
            None => format!("nothing has come from it since {}", reader.day(*last_at)),
        };
        (batch.clone(), why)
    };
    let open: Vec<Wrong> = study.season.left_open().iter().map(why).collect();
    Step::for_all(&open, |names| format!("Write down when {names} ended, as `ended_at`"))
}

/// Samples dated after the end of their batch, or long after all else of the season.
fn misdated(all: &mut Vec<Wrong>, study: &SeasonStudy, reader: &Reader) {
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
        all.push(match samples.as_slice() {
            [sample] => (
                format!("date of the sample of {} in {batch}", reader.moment(sample.at)),
                format!("{} stands there, but {late}.", reader.plain(sample.sg)),
            ),
            [first, ..] => (
                format!("end of {batch} and the dates of {}", count(samples.len(), "sample", "samples")),
                format!("the first is dated {}, but {late}.", reader.moment(first.at)),
            ),
            [] => continue,
        });
    }
}

/// Samples that the curve of their batch was fitted without.
fn samples(fit: &BatchFit, reader: &Reader) -> Vec<Wrong> {
    let points = fit.points.iter().zip(&fit.residuals_sg);
    let left_out = points.filter(|(point, _)| point.weight < 1.0 && matches!(point.source, PointSource::Sample(_)));
    let wrong = left_out.map(|(point, off_sg)| {
        let what = match point.hours > 0.0 {
            true => format!("sample of {} in {}", reader.day(fit.instant(point.hours)), fit.batch),
            false => format!("original gravity of {}", fit.batch),
        };
        (what, off_by((point.sg, *off_sg), "the curve through all else of the batch says", reader))
    });
    wrong.collect()
}

/// Samples to draw and batches to warm.
fn batches(study: &SeasonStudy, reader: &Reader) -> Vec<Step> {
    let [mut rouse, mut warm, mut three, mut one_sample] = [const { Vec::new() }; 4];
    for one in running(study) {
        let batch = &one.forecast.batch;
        let (stuck, early) = (one.maybe_stuck(), one.forecast.early_attenuation.is_some());
        let ready = one.forecast.p_ready.filter(|p| *p >= MAYBE_READY);
        let mut why = Vec::new();
        match (stuck, ready) {
            (Some(p), _) => why.push(format!("it may be stuck (chance {})", percent(p))),
            (None, Some(p)) if !early => why.push(format!("it may be at rest (chance {})", percent(p))),
            (None, _) => {}
        }
        if early {
            why.push(
                "so little attenuation is unusual for beer (65 to 85 % is usual), whatever its yeast did before"
                    .to_owned(),
            );
        }
        if let Some(found) = study.drift.done() {
            let probes = study.season.batches.iter().filter(|of| of.batch == *batch).flat_map(|of| &of.probes);
            let reads =
                |probe: &ProbeDrift| Some(format!("its probe {} reads {}", probe.probe, off(found, probe, reader)?));
            why.extend(probes.filter_map(|probe| reads(found.of_probe(probe)?)));
        }
        let step = match (stuck, ready) {
            _ if why.is_empty() => continue,
            _ if early => &mut rouse,
            (Some(_), _) => &mut warm,
            (None, Some(_)) => &mut three,
            (None, None) => &mut one_sample,
        };
        step.push((batch.clone(), why.join("; ")));
    }
    let made = [
        Step::for_all(&rouse, |names| {
            format!("Warm {names}, rouse the yeast and measure the limit by a forced ferment")
        }),
        Step::for_all(&warm, |names| format!("Warm {names} a little and take a degassed sample")),
        Step::for_all(&three, |names| format!("Take degassed samples of {names} on three days, warm")),
        Step::for_all(&one_sample, |names| format!("Take a degassed sample of {names}")),
    ];
    made.into_iter().flatten().collect()
}

/// Probes to calibrate and to check.
fn probes(steps: &mut Vec<Step>, study: &SeasonStudy, found: &Drift, reader: &Reader) {
    let size = |probe: &ProbeDrift| probe.offset_sg.value().map_or(0.0, f64::abs);
    // What a provisional curve needs is said apart.
    let mut all = Trust::all(study, found, reader);
    all.sort_by(|(a, _), (b, _)| size(b).total_cmp(&size(a)));
    let of = |wanted, why: &dyn Fn(&ProbeDrift) -> Option<String>| -> Vec<(String, String)> {
        let of = all.iter().filter(|(_, trust)| *trust == wanted);
        of.filter_map(|(probe, _)| Some((probe.probe.clone(), why(probe)?))).collect()
    };
    let is_off = of(Trust::No, &|probe| Some(format!("it reads {}", off(found, probe, reader)?)));
    steps.extend(Step::for_all(&is_off, |names| format!("Calibrate {names}")).map(|mut step| {
        step.why.extend(study.bath_plan.done().and_then(BathPlan::recommended).map(|taken| {
            format!(
                "Mix these baths: SG {}. The grams for each stand with the probes, under \"The next baths\".",
                gravities(taken)
            )
        }));
        step
    }));
    let unknown = of(Trust::CheckIt, &|_| Some("the error is no longer known well enough".to_owned()));
    let soon = of(Trust::Yes, &|probe| match (&probe.recalibrate, study.latest) {
        (Recalibrate::By(at), Some(now)) if at.days_since(now) <= SOON_D => {
            Some(format!("the error is known well enough until {}", reader.day(*at)))
        }
        _ => None,
    });
    let check = [
        Step::for_all(&unknown, |names| format!("Check {names} in water after the batch")),
        Step::for_all(&soon, |names| format!("Check {names} in water after the next batch")),
    ];
    for mut step in check.into_iter().flatten() {
        step.why.push(format!("Calibrate what is off by more than {}.", reader.scales.limit(found.limit_sg)));
        steps.push(step);
    }
}
