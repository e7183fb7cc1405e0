//! Whole seasons with known truth, from a process that no fitted curve equals: how often do the intervals hold it?

use std::collections::BTreeMap;
use std::fmt;

use heelwort::fit::Finding;
use heelwort::forecast::BacktestStatus;
use heelwort::kinetics::Trait;
use heelwort::season::Flags;
use heelwort::simulate::{BatchTruth, SimulateSettings, Simulated};
use heelwort::study::{SeasonStudy, Settings};

/// Half width of a 90 % normal interval in standard errors.
const Z90: f64 = 1.645;

/// What is known to hold more or less often than it says, each within 0.80 to 0.99: forecasts at 0.85 of the drop are too
/// narrow, these traits and terminal gravities foretold before that are too wide.
const KNOWN_OFF: [&str; 10] = [
    "finish, h, at 0.85",
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

/// How often intervals held the truth, and how large the errors were.
#[derive(Debug, Clone, Default)]
struct Tally {
    n: usize,
    covered: usize,
    error: f64,
    error2: f64,
    width: f64,
    /// Intervals and how many held the truth, by season.
    seasons: BTreeMap<u64, (f64, f64)>,
}

impl Tally {
    fn add(&mut self, season: u64, lower: f64, value: f64, upper: f64, truth: f64) {
        let held = (lower..=upper).contains(&truth);
        self.n += 1;
        self.covered += usize::from(held);
        let (n, covered) = self.seasons.entry(season).or_default();
        *n += 1.0;
        *covered += f64::from(u8::from(held));
        self.error += value - truth;
        self.error2 += (value - truth).powi(2);
        self.width += upper - lower;
    }

    fn coverage(&self) -> f64 {
        self.covered as f64 / self.n as f64
    }

    /// Monte Carlo standard error of the coverage. The intervals of a season share probes and beers, so that seasons, not
    /// intervals, are independent: the error of a ratio over seasons, and never less than that of independent intervals.
    fn coverage_se(&self) -> f64 {
        let (n, p, seasons) = (self.n as f64, self.coverage(), self.seasons.len() as f64);
        let squares: f64 = self.seasons.values().map(|(of, held)| (held - p * of).powi(2)).sum();
        let by_season = (squares * seasons / (seasons - 1.0).max(1.0)).sqrt() / n;
        by_season.max((0.9 * 0.1 / n).sqrt())
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let n = self.n as f64;
        write!(
            f,
            "n {:6}  coverage {:.3} +- {:.3}  bias {:+.5}  rmse {:.5}  mean width {:.5}",
            self.n,
            self.coverage(),
            self.coverage_se(),
            self.error / n,
            (self.error2 / n).sqrt(),
            self.width / n
        )
    }
}

/// Tallies by name, and the season that is being counted.
#[derive(Debug, Default)]
struct Tallies(BTreeMap<String, Tally>, u64);

impl Tallies {
    fn add(&mut self, name: impl Into<String>, lower: f64, value: f64, upper: f64, truth: f64) {
        self.0.entry(name.into()).or_default().add(self.1, lower, value, upper, truth);
    }

    fn finding(&mut self, name: impl Into<String>, finding: &Finding, truth: f64) {
        if let Some(e) = finding.estimate() {
            self.add(name, e.lower, e.value, e.upper, truth);
        }
    }

    fn gravity(&mut self, study: &SeasonStudy, made: &Simulated) {
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

    fn kinetics(&mut self, study: &SeasonStudy, truth: &BatchTruth) {
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
            if (tally.coverage() - 0.90).abs() > allowed {
                off.push(format!("{name}: {tally}"));
            }
        }
    }
    let short: Vec<&String> = off.iter().filter(|line| !KNOWN_OFF.iter().any(|name| line.starts_with(name))).collect();
    assert!(short.is_empty(), "beyond 0.90 +- max(0.02, 2.5 Monte Carlo SE): {short:#?}");
}

#[test]
fn a_small_season_is_studied_the_whole_way() {
    let settings = SimulateSettings { batches: 8, probes: 3, reading_minutes: 30.0, ..SimulateSettings::default() };
    let tallies = studied(5..6, &settings);
    let terminal = &tallies.0["kinetics terminal_sg"];
    assert!(terminal.n >= 3 && terminal.error2 / (terminal.n as f64) < 0.004 * 0.004, "{terminal}");
    assert!(tallies.0.contains_key("drift, SG per 30 d"));
}
