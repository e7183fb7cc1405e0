//! Are the curves right, and do their 90 % intervals hold? Floats of known truth, the probe as the unit.
//!
//! The truth is a general hull; baths 1.000 to 1.080 in even steps unless said, tilt SD 0.3 degrees, bath SD 0.0005,
//! balance 0.1 g, calliper 0.1 mm.

use heelwort::calibration::{Calibration, CalibrationSettings, FittedCalibration};
use heelwort::float::Hull;
use heelwort::liquid::WATER_20C_KG_M3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::floats::{Case, Float, hull, season};

/// Inside the baths, and beyond them.
#[derive(Debug, Default, Clone, Copy)]
struct Part {
    squares: f64,
    covered: f64,
    covered_squares: f64,
}

/// One curve over many probes.
#[derive(Debug, Default, Clone)]
struct Score {
    probes: f64,
    parts: [Part; 2],
}

impl Score {
    fn rmse(&self, part: usize) -> f64 {
        (self.parts[part].squares / self.probes).sqrt()
    }

    fn coverage(&self, part: usize) -> f64 {
        self.parts[part].covered / self.probes
    }

    /// Monte Carlo standard error of the coverage, from probe to probe.
    fn coverage_se(&self, part: usize) -> f64 {
        let mean = self.coverage(part);
        ((self.parts[part].covered_squares / self.probes - mean * mean) / self.probes).max(0.0).sqrt()
    }

    fn add(&mut self, calibration: &Calibration, curve: &FittedCalibration, hull: &Hull, case: &Case) {
        self.probes += 1.0;
        for (part, targets) in self.parts.iter_mut().zip(targets(case)) {
            let (n, mut covered) = (targets.len() as f64, 0.0);
            for sg in targets {
                let tilt = hull.tilt_deg(sg * WATER_20C_KG_M3).unwrap();
                // A curve without a value there is as wrong as 0.02.
                let found = calibration.sg_on(curve, tilt).ok();
                part.squares += found.as_ref().map_or(0.02, |e| e.value - sg).powi(2) / n;
                covered += found.map_or(0.0, |e| f64::from(u8::from(e.lower <= sg && sg <= e.upper))) / n;
            }
            part.covered += covered;
            part.covered_squares += covered * covered;
        }
    }
}

/// Gravities from the lightest to the heaviest bath, and beyond to 1.100 or 0.024 above.
fn targets(case: &Case) -> [Vec<f64>; 2] {
    let low = case.baths.iter().copied().fold(f64::INFINITY, f64::min);
    let high = case.baths.iter().copied().fold(0.0, f64::max);
    let all = |from: f64, to: f64| (0..=8).map(|i| from + (to - from) * f64::from(i) / 8.0).collect::<Vec<f64>>();
    let outside = if high < 1.095 { all(high + 0.004, (high + 0.024).min(1.100)) } else { Vec::new() };
    [all(low, high), outside]
}

/// The selected curve, and each candidate where it is allowed, by name.
fn run(case: &Case, probes: u64, seed: u64) -> Vec<(String, Score, u32)> {
    let mut rows: Vec<(String, Score, u32)> = vec![("selected".into(), Score::default(), 0)];
    for i in 0..probes {
        let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1_000_003).wrapping_add(i));
        let (hull, shape) = hull(case.float, &mut rng);
        let season = season(case, &hull, &shape, &mut rng);
        // The baths of this study have independent errors only.
        let settings = CalibrationSettings { weighed_gain: 0.0, ..CalibrationSettings::default() };
        let found = settings.fit(&season).unwrap();
        assert_eq!(found.calibrations.len(), 1, "{found}");
        let calibration = &found.calibrations[0];
        rows[0].1.add(calibration, &calibration.fitted, &hull, case);
        for candidate in &calibration.candidates {
            let name = candidate.kind.to_string();
            let place = rows.iter().position(|row| row.0 == name).unwrap_or_else(|| {
                rows.push((name, Score::default(), 0));
                rows.len() - 1
            });
            rows[place].2 += u32::from(candidate.chosen);
            if let Some(fitted) = candidate.fitted.as_ref().filter(|_| candidate.refused.is_none()) {
                rows[place].1.add(calibration, fitted, &hull, case);
            }
        }
    }
    rows
}

fn print(case: &Case, rows: &[(String, Score, u32)]) {
    let (low, high) = (case.baths[0], case.baths[case.baths.len() - 1]);
    println!(
        "{:?} float, {} baths {low:.3} to {high:.3}, weighed: {}, length known: {}",
        case.float,
        case.baths.len(),
        case.weighed,
        case.length_known
    );
    println!("  curve              probes chosen  rmse in  rmse out  cover in     cover out");
    for (name, s, chosen) in rows.iter().filter(|row| row.1.probes > 0.0) {
        println!(
            "  {name:18} {:6} {chosen:6}  {:.5}  {:.5}   {:.3}({:.3})  {:.3}({:.3})",
            s.probes,
            s.rmse(0),
            s.rmse(1),
            s.coverage(0),
            s.coverage_se(0),
            s.coverage(1),
            s.coverage_se(1)
        );
    }
}

fn baths(high: f64, n: u32) -> Vec<f64> {
    (0..n).map(|i| 1.0 + (high - 1.0) * f64::from(i) / f64::from(n - 1)).collect()
}

fn case(float: Float, baths: Vec<f64>, weighed: bool, length_known: bool) -> Case {
    Case { float, baths, tilt_sd_deg: 0.3, bath_sd: 0.0005, weighed, length_known }
}

#[test]
fn a_weighed_and_measured_float_is_right_within_and_beyond_its_baths() {
    for float in [Float::Long, Float::Short] {
        let case = case(float, baths(1.080, 6), true, true);
        let rows = run(&case, 60, 1);
        print(&case, &rows);
        let selected = &rows[0].1;
        // 60 probes: the RMSE is known to 1 part in 10, the coverage to some 0.02.
        assert!(selected.rmse(0) < 0.0007 * 1.1 && selected.rmse(1) < 0.0011 * 1.1);
        assert!((selected.coverage(0) - 0.90).abs() < 0.03 + 2.5 * selected.coverage_se(0));
        assert!((selected.coverage(1) - 0.90).abs() < 0.05 + 2.5 * selected.coverage_se(1));
    }
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn coverage_and_error_of_every_curve() {
    for float in [Float::Long, Float::Short] {
        for (weighed, length_known) in [(true, true), (true, false), (false, false)] {
            for baths in [baths(1.080, 6), baths(1.060, 5), baths(1.100, 8), baths(1.060, 4)] {
                let main = baths.len() == 6;
                let case = case(float, baths, weighed, length_known);
                let rows = run(&case, if main { 400 } else { 150 }, 2);
                print(&case, &rows);
                let selected = &rows[0].1;
                let best = |part: usize| {
                    let all = rows.iter().skip(1).filter(|row| row.1.probes > 0.9 * selected.probes);
                    all.map(|row| row.1.rmse(part)).fold(f64::INFINITY, f64::min)
                };
                assert!(selected.rmse(0) <= 1.15 * best(0), "{case:?}");
                if main && length_known {
                    assert!(selected.rmse(0) <= 0.0007 && selected.rmse(1) <= 0.0011, "{case:?}");
                }
                if main {
                    assert!((selected.coverage(0) - 0.90).abs() < 0.03 + 2.0 * selected.coverage_se(0), "{case:?}");
                    assert!((selected.coverage(1) - 0.90).abs() < 0.05 + 2.0 * selected.coverage_se(1), "{case:?}");
                }
            }
        }
    }
}
