//! Fermentations with known truth for the tests of kinetics, forecast and strains: none of them is a logistic curve.

use heelwort::Instant;
use heelwort::gravity::{GravitySeries, SeriesProbe, SeriesSample};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal, StudentT};

/// Step of the tabulated truth, hours.
const STEP_H: f64 = 0.1;

/// Standard normal number.
pub fn normal(rng: &mut ChaCha8Rng) -> f64 {
    Normal::new(0.0, 1.0).unwrap().sample(rng)
}

/// A generator for one repeat of a simulation.
pub fn generator(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

/// The true curve of one batch, tabulated.
#[derive(Debug, Clone)]
pub struct Truth {
    sg: Vec<f64>,
    pub original_sg: f64,
    pub terminal_sg: f64,
}

/// How the true curve comes about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Process {
    /// Growth after a lag, two sugars one after the other, settling: differential equations.
    Sugars,
    /// A Weibull law after a delay.
    Weibull,
    /// Two overlapping waves, the second small and late.
    TwoWaves,
}

pub const PROCESSES: [Process; 3] = [Process::Sugars, Process::Weibull, Process::TwoWaves];

impl Truth {
    /// A curve of this process: `pace` above 1 is faster, both gravities are met exactly.
    pub fn new(process: Process, original_sg: f64, terminal_sg: f64, pace: f64, rng: &mut ChaCha8Rng) -> Self {
        let n = 10_000;
        let mut left: Vec<f64> = match process {
            Process::Sugars => sugars(n, pace, rng),
            Process::Weibull => {
                let delay = (8.0 + 5.0 * rng.random::<f64>()) / pace;
                let scale = (40.0 + 10.0 * normal(rng)).max(20.0) / pace;
                let shape = 1.35 + 0.35 * rng.random::<f64>();
                let law = |t: f64| (-((t - delay).max(0.0) / scale).powf(shape)).exp();
                (0..n).map(|i| law(i as f64 * STEP_H)).collect()
            }
            Process::TwoWaves => {
                let second = 0.08 + 0.10 * rng.random::<f64>();
                let (m1, m2) = ((36.0 + 4.0 * normal(rng)) / pace, (70.0 + 6.0 * normal(rng)) / pace);
                let (s1, s2) = (11.0 / pace, 16.0 / pace);
                let wave = |t: f64, m: f64, s: f64| 0.5 * statrs::function::erf::erfc((t - m) / s / 2f64.sqrt());
                let law = |t: f64| (1.0 - second) * wave(t, m1, s1) + second * wave(t, m2, s2);
                (0..n).map(|i| law(i as f64 * STEP_H) / law(0.0)).collect()
            }
        };
        let (first, last) = (left[0], left[n - 1]);
        for value in &mut left {
            *value = (*value - last) / (first - last);
        }
        let sg = left.iter().map(|left| terminal_sg + (original_sg - terminal_sg) * left).collect();
        Self { sg, original_sg, terminal_sg }
    }

    pub fn sg(&self, hours: f64) -> f64 {
        let x = (hours / STEP_H).clamp(0.0, (self.sg.len() - 2) as f64);
        let i = x.floor() as usize;
        self.sg[i] + (x - i as f64) * (self.sg[i + 1] - self.sg[i])
    }

    /// Hours at which the share `progress` of the drop is done.
    pub fn time_of_progress_h(&self, progress: f64) -> f64 {
        let at = self.original_sg - progress * (self.original_sg - self.terminal_sg);
        self.sg.iter().position(|sg| *sg <= at).unwrap() as f64 * STEP_H
    }

    pub fn finish_h(&self, tolerance_sg: f64) -> f64 {
        self.sg.iter().rposition(|sg| *sg > self.terminal_sg + tolerance_sg).map_or(0.0, |i| (i + 1) as f64 * STEP_H)
    }

    /// Greatest rate of fall, SG per hour, and its hour.
    pub fn steepest(&self) -> (f64, f64) {
        let fall = |i: usize| (self.sg[i] - self.sg[i + 2]) / (2.0 * STEP_H);
        let i = (0..self.sg.len() - 2).max_by(|a, b| fall(*a).total_cmp(&fall(*b))).unwrap();
        (fall(i), (i + 1) as f64 * STEP_H)
    }

    pub fn lag_h(&self) -> f64 {
        let (fall, at) = self.steepest();
        (at - (self.original_sg - self.sg(at)) / fall).max(0.0)
    }
}

/// Share of sugar left: yeast wakes, grows and settles; the second sugar waits for the first.
fn sugars(n: usize, pace: f64, rng: &mut ChaCha8Rng) -> Vec<f64> {
    let share = 0.20 + 0.15 * rng.random::<f64>();
    let (mut one, mut two, mut yeast) = (share, 1.0 - share, 0.06 + 0.08 * rng.random::<f64>());
    let wake = (4.0 + 6.0 * rng.random::<f64>()) / pace;
    let (grow, take_one, take_two) = (0.11 * pace, 0.045 * pace, 0.036 * pace * (1.0 + 0.15 * normal(rng)).max(0.5));
    let settle = 0.02 * pace * (0.6 + 0.8 * rng.random::<f64>());
    let half = 0.05 + 0.10 * rng.random::<f64>();
    let mut left = Vec::with_capacity(n);
    for i in 0..n {
        left.push(one + two);
        let t = i as f64 * STEP_H;
        let awake = 1.0 - (-t / wake).exp();
        let v_one = awake * take_one * yeast * one / (0.04 + one);
        let v_two = awake * take_two * yeast * two / (half + two) * 0.06 / (0.06 + one);
        let sugar = one + two;
        yeast += STEP_H * yeast * (awake * grow * sugar * (1.0 - yeast).max(0.0) - settle * (1.0 - sugar));
        one -= STEP_H * v_one;
        two -= STEP_H * v_two;
    }
    left
}

/// How the logs of a batch come about.
#[derive(Debug, Clone)]
pub struct Log {
    pub every_h: f64,
    pub until_h: f64,
    pub white_sd: f64,
    pub ar_sd: f64,
    pub ar_hours: f64,
    pub offset_sd: f64,
    pub shared_sd: f64,
    pub original_sd: Option<f64>,
    pub final_sample_sd: Option<f64>,
    /// By how much gas delays what the probe shows, hours.
    pub delay_h: f64,
    /// Share of readings that foam or bubbles spoil, upwards.
    pub spoiled: f64,
}

impl Default for Log {
    fn default() -> Self {
        Self {
            every_h: 0.25,
            until_h: 240.0,
            white_sd: 4e-4,
            ar_sd: 3e-4,
            ar_hours: 4.0,
            offset_sd: 8e-4,
            shared_sd: 6e-4,
            original_sd: Some(6e-4),
            final_sample_sd: Some(1e-3),
            delay_h: 0.0,
            spoiled: 0.01,
        }
    }
}

impl Log {
    /// One probe's log of a batch, with its samples.
    pub fn series(&self, truth: &Truth, batch: &str, strain: &str, rng: &mut ChaCha8Rng) -> GravitySeries {
        let n = (self.until_h / self.every_h) as usize + 1;
        let (offset, z) = (self.offset_sd * normal(rng), normal(rng));
        let rho = (-self.every_h / self.ar_hours).exp();
        let mut ar = self.ar_sd * normal(rng);
        let heavy = StudentT::<f64>::new(3.0).unwrap();
        let mut series = GravitySeries {
            original_sg: self.original_sd.map(|sd| (truth.original_sg + sd * normal(rng), sd)),
            probes: vec![SeriesProbe { probe: "dunlin".into(), offset_sd: self.offset_sd }],
            rows: (0..n).collect(),
            own_sd: vec![self.white_sd; n],
            shared_sd: vec![self.shared_sd; n],
            temp_c: vec![19.0; n],
            probe: vec![0; n],
            ..GravitySeries::empty(batch, strain, Instant::parse("2031-01-01T00:00:00Z").unwrap())
        };
        for i in 0..n {
            let hours = i as f64 * self.every_h;
            ar = rho * ar + self.ar_sd * (1.0 - rho * rho).sqrt() * normal(rng);
            let mut sg =
                truth.sg(hours - self.delay_h) + offset + self.shared_sd * z + ar + self.white_sd * normal(rng);
            if rng.random::<f64>() < self.spoiled {
                sg += 0.004 * heavy.sample(rng).abs();
            }
            series.hours.push(hours);
            series.sg.push(sg);
        }
        if let Some(sd) = self.final_sample_sd {
            let hours = self.until_h - 1.0;
            let sg = truth.sg(hours) + sd * normal(rng);
            series.samples.push(SeriesSample { hours, sg, sd, known_hours: hours, instrument: Some("h1".into()) });
        }
        series
    }
}

/// One batch of a brewery: what happened and what was logged.
#[derive(Debug, Clone)]
pub struct Brewed {
    pub truth: Truth,
    pub series: GravitySeries,
}

impl Brewed {
    pub fn true_finish(&self) -> Instant {
        self.series.pitched_at.plus_hours(self.truth.finish_h(0.001))
    }
}

/// A third of a year in a brewery: strains with their own attenuation and pace, warm and cool cellars, batches one
/// after another, some cooled before they rest, one in twenty stuck, the last ones still running.
pub fn brewery(process: Option<Process>, batches: usize, strains: usize, seed: u64) -> Vec<Brewed> {
    let mut rng = generator(seed);
    let yeast: Vec<(f64, f64, f64, Process)> = (0..strains)
        .map(|_| {
            let kind = PROCESSES[(rng.random::<f64>() * 3.0) as usize % 3];
            let (attenuation, pace) = (0.77 + 0.045 * normal(&mut rng), 0.2 * normal(&mut rng));
            (attenuation, pace, 12.0 + 10.0 * rng.random::<f64>(), process.unwrap_or(kind))
        })
        .collect();
    let start = Instant::parse("2031-01-01T00:00:00Z").unwrap();
    let days = 120.0;
    (0..batches)
        .map(|i| {
            let s = i % strains;
            let (attenuation, ln_pace, temp_c, kind) = yeast[s];
            let original = 1.052 + 0.009 * normal(&mut rng);
            let stuck = rng.random::<f64>() < 0.05;
            let attenuation = attenuation + 0.015 * normal(&mut rng) - if stuck { 0.15 } else { 0.0 };
            let terminal = original - attenuation * (original - 1.0);
            let pace = (ln_pace + 0.15 * normal(&mut rng) + 0.08 * (temp_c - 18.0)).exp();
            let truth = Truth::new(kind, original, terminal, pace, &mut rng);
            let pitched_d = days * (i as f64 + rng.random::<f64>()) / batches as f64;
            let finish = truth.finish_h(0.001);
            let hold = if rng.random::<f64>() < 0.15 { -0.1 * finish } else { 30.0 + 90.0 * rng.random::<f64>() };
            let end = (finish + hold).max(20.0);
            let running = pitched_d * 24.0 + end > days * 24.0;
            let until_h = if running { (days - pitched_d) * 24.0 } else { end };
            let log = Log {
                until_h,
                final_sample_sd: (!running).then_some(1e-3),
                delay_h: 4.0 * rng.random::<f64>(),
                ..Log::default()
            };
            let mut series = log.series(&truth, &format!("B{i:02}"), &format!("yeast {s}"), &mut rng);
            series.pitched_at = start.plus_days(pitched_d);
            series.temp_c = vec![temp_c; series.hours.len()];
            series.ended_hours = (!running).then_some(until_h);
            if hold < 0.0 && !running {
                series.cooled_hours = Some(until_h);
            }
            Brewed { truth, series }
        })
        .collect()
}

/// The rows of the table of batches that go with series.
pub fn batches_of(brewed: &[Brewed]) -> Vec<heelwort::season::Batch> {
    brewed
        .iter()
        .map(|b| heelwort::season::Batch {
            probes: b.series.probes.iter().map(|p| p.probe.clone()).collect(),
            vessel: Some("V1".into()),
            original_sg: b.series.original_sg.map(|(sg, _)| sg),
            original_sg_sd: b.series.original_sg.map(|(_, sd)| sd),
            ended_at: b.series.ended_hours.map(|h| b.series.pitched_at.plus_hours(h)),
            ..crate::blank::batch(&b.series.batch, &b.series.strain, b.series.pitched_at)
        })
        .collect()
}
