//! Whole seasons with known truth, from a process that no fitted curve equals: how often do the intervals hold it?

use std::collections::BTreeMap;
use std::fmt;

use heelwort::drift::{Misfit, Shift, ShiftKind};
use heelwort::fit::Finding;
use heelwort::forecast::BacktestStatus;
use heelwort::kinetics::Trait;
use heelwort::season::Flags;
use heelwort::simulate::{BatchEnd, BatchTruth, SimulateSettings, Simulated, Trouble, TroubleTruth};
use heelwort::study::{SeasonStudy, Settings};

/// Half width of a 90 % normal interval in standard errors.
const Z90: f64 = 1.645;

/// What befalls a probe for hours.
const EPISODES: [Trouble; 4] = [Trouble::FoamLoad, Trouble::FoamCrust, Trouble::Leaning, Trouble::BubblePatch];

/// What is known to hold more often than it says, each at most 0.99: these traits, terminal gravities foretold before 0.85 of the
/// drop, finish times foretold at a quarter of it and at two fifths, and gravities of readings since shells are learned, are too wide.
const KNOWN_OFF: [&str; 12] = [
    "finish, h, at 0.25",
    "finish, h, at 0.40",
    "gravity of a reading",
    "kinetics abv_percent",
    "kinetics finish_h",
    "kinetics max_rate_sg_per_day",
    "kinetics mid_h",
    "kinetics terminal_sg",
    "terminal at 0.25",
    "terminal at 0.40",
    "terminal at 0.55",
    "terminal at 0.70",
];

/// What is known to be off on average by more than 0.15 of its standard error: fits cross nine tenths and begin to fall an hour or
/// two late, and stated errors of the greatest rate hide a twentieth of it; the first forecasts are early, terminal gravities foretold late
/// are a little low, and original gravities are 0.00015 low.
const KNOWN_BIASED: [&str; 8] = [
    "finish, h, at 0.25",
    "finish, h, at 0.40",
    "finish, h, at 0.55",
    "kinetics lag_h",
    "kinetics max_rate_sg_per_day",
    "kinetics original_sg",
    "kinetics t90_h",
    "terminal at 0.85",
];

/// How often intervals held the truth, and how large the errors were.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tally {
    pub n: usize,
    covered: usize,
    error: f64,
    pub error2: f64,
    width: f64,
    /// Intervals, how many held the truth, and the sum of the errors in standard errors, by season.
    seasons: BTreeMap<u64, (f64, f64, f64)>,
    /// Errors in standard errors, largest in size.
    worst_z: f64,
}

impl Tally {
    fn add(&mut self, season: u64, lower: f64, value: f64, upper: f64, truth: f64) {
        let held = (lower..=upper).contains(&truth);
        self.n += 1;
        self.covered += usize::from(held);
        let z = (value - truth) / ((upper - lower) / (2.0 * Z90)).max(1e-12);
        let (n, covered, zs) = self.seasons.entry(season).or_default();
        *n += 1.0;
        *covered += f64::from(u8::from(held));
        *zs += z;
        self.worst_z = self.worst_z.max(z.abs());
        self.error += value - truth;
        self.error2 += (value - truth).powi(2);
        self.width += upper - lower;
    }

    pub fn coverage(&self) -> f64 {
        self.covered as f64 / self.n as f64
    }

    /// Monte Carlo standard error of the coverage. The intervals of a season share probes and beers, so that seasons, not
    /// intervals, are independent: the error of a ratio over seasons, and never less than that of independent intervals.
    fn coverage_se(&self) -> f64 {
        let p = self.coverage();
        self.by_season(|(of, held, _)| held - p * of).max((0.9 * 0.1 / self.n as f64).sqrt())
    }

    /// Mean error in standard errors, and its Monte Carlo standard error, likewise.
    fn mean_z(&self) -> (f64, f64) {
        let n = self.n as f64;
        let mean = self.seasons.values().map(|season| season.2).sum::<f64>() / n;
        (mean, self.by_season(|(of, _, z)| z - mean * of).max(n.sqrt().recip()))
    }

    fn by_season(&self, off: impl Fn((f64, f64, f64)) -> f64) -> f64 {
        let seasons = self.seasons.len() as f64;
        let squares: f64 = self.seasons.values().map(|season| off(*season).powi(2)).sum();
        (squares * seasons / (seasons - 1.0).max(1.0)).sqrt() / self.n as f64
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let n = self.n as f64;
        write!(
            f,
            "n {:6}  coverage {:.3} +- {:.3}  mean z {:+.2} +- {:.2}  bias {:+.5}  rmse {:.5}  mean width {:.5}",
            self.n,
            self.coverage(),
            self.coverage_se(),
            self.mean_z().0,
            self.mean_z().1,
            self.error / n,
            (self.error2 / n).sqrt(),
            self.width / n
        )
    }
}

/// Tallies by name, and the season that is being counted.
#[derive(Debug, Default)]
pub(crate) struct Tallies(pub BTreeMap<String, Tally>, pub u64);

impl Tallies {
    fn add(&mut self, name: impl Into<String>, lower: f64, value: f64, upper: f64, truth: f64) {
        self.0.entry(name.into()).or_default().add(self.1, lower, value, upper, truth);
    }

    fn finding(&mut self, name: impl Into<String>, finding: &Finding, truth: f64) {
        if let Some(e) = finding.estimate() {
            self.add(name, e.lower, e.value, e.upper, truth);
        }
    }

    pub fn gravity(&mut self, study: &SeasonStudy, made: &Simulated) {
        let Some(gravity) = study.gravity.done() else { return };
        for (row, truth) in made.truth.gravity.sg.iter().enumerate().step_by(37) {
            let (Some(truth), Some(read)) = (truth, gravity.corrected[row]) else { continue };
            let (sg, se) = (read.sg, read.se);
            let wrong = Flags::TILT_RANGE.with(Flags::TEMP_RANGE).with(Flags::FROZEN).with(Flags::CALIBRATION_STALE);
            if !gravity.flags[row].intersects(wrong) {
                self.add("gravity of a reading", sg - Z90 * se, sg, sg + Z90 * se, *truth);
                if let Some(raw) = gravity.uncorrected[row].map(|read| read.sg) {
                    self.add("without correction for drift: gravity", raw - Z90 * se, raw, raw + Z90 * se, *truth);
                }
            }
        }
    }

    pub fn kinetics(&mut self, study: &SeasonStudy, truth: &BatchTruth) {
        let Some(fit) = study.kinetics.done().and_then(|k| k.get(&truth.batch)) else { return };
        for (which, truth) in [
            (Trait::OriginalSg, truth.original_sg),
            (Trait::TerminalSg, truth.terminal_sg),
            (Trait::LagH, truth.lag_h),
            (Trait::MidH, truth.mid_h),
            (Trait::T90H, truth.t90_h),
            (Trait::FinishH, truth.finish_h),
            (Trait::MaxRateSgPerDay, truth.max_rate_sg_per_day),
            (Trait::Attenuation, truth.attenuation),
            (Trait::AbvPercent, truth.abv_percent),
        ] {
            self.finding(format!("kinetics {which}"), fit.finding(which), truth);
        }
    }

    fn backtest(&mut self, study: &SeasonStudy, made: &Simulated) {
        let Some(backtest) = study.backtest.done() else { return };
        for row in &backtest.rows {
            let Some(truth) = made.truth.batches.iter().find(|b| b.batch == row.forecast.batch) else { continue };
            let stage =
                format!("{:.2}{}", row.stage, if row.status == BacktestStatus::Observed { "" } else { " other" });
            if let Some(q) = &row.forecast.finish {
                let hours = |at: heelwort::Instant| at.hours_since(truth.finish_at);
                self.add(format!("finish, h, at {stage}"), hours(q.p05), hours(q.p50), hours(q.p95), 0.0);
            }
            if let Some(q) = &row.forecast.terminal_sg {
                self.add(format!("terminal at {stage}"), q.p05, q.p50, q.p95, truth.terminal_sg);
            }
        }
    }

    fn drift(&mut self, study: &SeasonStudy, made: &Simulated) {
        let Some(drift) = study.drift.done() else { return };
        for probe in &drift.probes {
            let truth = made.truth.probes.iter().find(|t| t.probe == probe.probe);
            if let Some(truth) = truth.and_then(|t| t.drift_sg_per_30d) {
                self.finding("drift, SG per 30 d", &probe.drift_sg_per_30d, truth);
            }
        }
        if let Some(mean) = drift.fleet.iter().find(|t| t.term == "mean_drift_sg_per_30d") {
            let all: Vec<f64> = made.truth.probes.iter().filter_map(|p| p.drift_sg_per_30d).collect();
            let truth = all.iter().sum::<f64>() / all.len() as f64;
            self.finding("fleet's drift against the mean of these probes", &mean.finding, truth);
        }
    }
}

/// Whether the probe really changed in that time.
pub(crate) fn is_true_shift(shift: &Shift, made: &Simulated) -> bool {
    made.truth.shifts.iter().any(|truth| {
        let is_its = truth.probe == shift.probe || shift.or_probes.contains(&truth.probe);
        is_its && shift.earliest <= truth.at && truth.at <= shift.latest && truth.shift_sg.abs() > 0.0005
    })
}

/// Whether something was really wrong there.
pub(crate) fn is_wrong_entry(misfit: &Misfit, made: &Simulated) -> bool {
    made.truth.troubles.iter().any(|truth| {
        let batch = truth.batch.is_none() || truth.batch == misfit.batch;
        batch && (misfit.at.days_since(truth.from).abs() < 2.2 || truth.trouble == Trouble::SwappedProbes)
    })
}

fn studied(seeds: std::ops::Range<u64>, settings: &SimulateSettings) -> Tallies {
    let mut tallies = Tallies::default();
    for seed in seeds {
        tallies.1 = seed;
        let made = SimulateSettings { seed, ..settings.clone() }.run().unwrap();
        let study = Settings::default().study(&made.season).unwrap();
        tallies.gravity(&study, &made);
        for truth in &made.truth.batches {
            tallies.kinetics(&study, truth);
        }
        tallies.backtest(&study, &made);
        tallies.drift(&study, &made);
    }
    for (name, tally) in &tallies.0 {
        println!("{name:48} {tally}");
    }
    tallies
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn intervals_hold_the_truth_over_many_seasons() {
    let tallies = studied(5000..5010, &SimulateSettings::default());
    let mut off = Vec::new();
    for (name, tally) in &tallies.0 {
        // Forecasts of batches that stuck or were cut short are no forecasts of what came: they are printed to be looked at.
        let promised =
            ["finish, h, at", "terminal at", "drift", "gravity", "kinetics"].iter().any(|what| name.starts_with(what));
        if promised && tally.n >= 60 && !name.contains("other") {
            assert!((0.80..=0.99).contains(&tally.coverage()), "{name}: {tally}");
            let allowed = (2.5 * tally.coverage_se()).max(0.02);
            let ((z, z_se), is_biased) = (tally.mean_z(), KNOWN_BIASED.iter().any(|known| name.starts_with(known)));
            assert!(z.abs() < 0.8, "{name}: {tally}");
            if (tally.coverage() - 0.90).abs() > allowed || (z.abs() > (2.5 * z_se).max(0.15) && !is_biased) {
                off.push(format!("{name}: {tally}"));
            }
        }
    }
    let short: Vec<&String> = off.iter().filter(|line| !KNOWN_OFF.iter().any(|name| line.starts_with(name))).collect();
    assert!(short.is_empty(), "beyond 0.90 +- max(0.02, 2.5 Monte Carlo SE): {short:#?}");
}

/// Seasons in which everything goes wrong that the simulator can make go wrong.
#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn troubles_wreck_no_season() {
    let (mut tallies, mut found, mut real) = (Tallies::default(), 0, 0);
    let (mut held, mut held_flagged, mut free, mut free_flagged, mut named, mut named_right) = (0, 0, 0, 0, 0, 0);
    for seed in 5100..5106 {
        tallies.1 = seed;
        let settings = SimulateSettings { seed, troubles: Trouble::ALL.to_vec(), ..SimulateSettings::default() };
        let made = settings.run().unwrap();
        let study = Settings::default().study(&made.season).unwrap();
        tallies.gravity(&study, &made);
        for truth in made.truth.batches.iter().filter(|truth| truth.end != BatchEnd::CutByEnd) {
            tallies.kinetics(&study, truth);
        }
        tallies.backtest(&study, &made);
        let (drift, gravity) = (study.drift().unwrap(), study.gravity.done().unwrap());
        for shift in drift.shifts.iter().filter(|shift| shift.kind == ShiftKind::Found) {
            found += 1;
            real += usize::from(is_true_shift(shift, &made));
        }
        let episodes: Vec<&TroubleTruth> =
            made.truth.troubles.iter().filter(|t| EPISODES.contains(&t.trouble)).collect();
        for (row, flags) in gravity.flags.iter().enumerate() {
            let Some(reading) = made.season.readings.get(row).filter(|reading| reading.batch.is_some()) else {
                continue;
            };
            let at = |t: &&&TroubleTruth| {
                t.probe.as_deref() == Some(reading.probe) && t.from <= reading.at && reading.at < t.to
            };
            let (is_held, is_flagged) = (episodes.iter().any(|t| at(&t)), flags.intersects(Flags::DISTURBED));
            held += usize::from(is_held);
            held_flagged += usize::from(is_held && is_flagged);
            free += usize::from(!is_held);
            free_flagged += usize::from(!is_held && is_flagged);
        }
        for misfit in &drift.misfits {
            named += 1;
            named_right += usize::from(is_wrong_entry(misfit, &made));
        }
    }
    for (name, tally) in &tallies.0 {
        println!("{name:48} {tally} worst z {:.1}", tally.worst_z);
    }
    println!(
        "shifts {real} of {found}; held {held_flagged} of {held}; free {free_flagged} of {free}; named {named_right} of {named}"
    );
    let of = |name: &str| &tallies.0[name];
    let (gravity, terminal) = (of("gravity of a reading"), of("kinetics terminal_sg"));
    assert!((0.84..=0.96).contains(&gravity.coverage()) && gravity.mean_z().0.abs() < 0.5, "{gravity}");
    let rmse = |tally: &Tally| (tally.error2 / tally.n as f64).sqrt();
    assert!((0.0008..=0.0018).contains(&rmse(gravity)), "{gravity}");
    assert!((0.84..=0.97).contains(&terminal.coverage()) && terminal.mean_z().0.abs() < 0.3, "{terminal}");
    assert!((0.0004..=0.0016).contains(&rmse(terminal)), "{terminal}");
    // The search may raise a false alarm on one probe in twenty.
    let (false_share, probes) = ((found - real) as f64 / 60.0, 60.0);
    assert!(false_share <= 0.05 + 2.5 * (0.05f64 * 0.95 / probes).sqrt(), "{real} of {found} shifts are true");
    assert!(
        5 * held_flagged >= 3 * held && 100 * free_flagged <= free,
        "{held_flagged} of {held}, {free_flagged} of {free}"
    );
    assert!(5 * named_right >= 4 * named && named >= 30, "{named_right} of {named}");
    let all: Vec<&Tally> = tallies
        .0
        .iter()
        .filter(|(name, _)| name.starts_with("finish, h, at") && !name.contains("other"))
        .map(|t| t.1)
        .collect();
    let (n, covered) = all.iter().fold((0, 0), |sum, tally| (sum.0 + tally.n, sum.1 + tally.covered));
    let share = covered as f64 / n as f64;
    assert!((0.82..=0.97).contains(&share), "{share} of {n} forecasts");
}

#[test]
fn a_small_season_is_studied_the_whole_way() {
    let settings = SimulateSettings { batches: 8, probes: 3, reading_minutes: 30.0, ..SimulateSettings::default() };
    let tallies = studied(5..6, &settings);
    let terminal = &tallies.0["kinetics terminal_sg"];
    assert!(terminal.n >= 3 && terminal.error2 / (terminal.n as f64) < 0.004 * 0.004, "{terminal}");
    assert!(tallies.0.contains_key("drift, SG per 30 d"));
}
