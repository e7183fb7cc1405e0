//! Are the curves right, and do their 90 % intervals hold? Floats of known truth, the probe as the unit.

use heelwort::calibration::{Calibration, CalibrationSettings, CurveKind};
use heelwort::liquid::WATER_20C_KG_M3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::floats::{Case, Float, hull, season};

/// Sums over probes.
#[derive(Debug, Default, Clone)]
struct Score {
    probes: u32,
    squares: [f64; 2],
    covered: [f64; 2],
    width: [f64; 2],
    widest_low: [f64; 2],
}

impl Score {
    fn rmse(&self, part: usize) -> f64 {
        (self.squares[part] / f64::from(self.probes)).sqrt()
    }

    fn coverage(&self, part: usize) -> f64 {
        self.covered[part] / f64::from(self.probes)
    }
}

/// Gravities inside the baths and beyond them.
fn targets(case: &Case) -> [Vec<f64>; 2] {
    let low = case.baths.iter().copied().fold(f64::INFINITY, f64::min);
    let high = case.baths.iter().copied().fold(0.0, f64::max);
    let all = |from: f64, to: f64| (0..=8).map(|i| from + (to - from) * f64::from(i) / 8.0).collect::<Vec<f64>>();
    let outside = if high < 1.095 { all(high + 0.004, (high + 0.024).min(1.100)) } else { Vec::new() };
    [all(low, high), outside]
}

fn add(
    score: &mut Score,
    calibration: &Calibration,
    curve: &heelwort::calibration::FittedCurve,
    hull: &heelwort::float::Hull,
    case: &Case,
) {
    score.probes += 1;
    for (part, targets) in targets(case).iter().enumerate() {
        let n = targets.len() as f64;
        for sg in targets {
            let tilt = hull.tilt_deg(sg * WATER_20C_KG_M3).unwrap();
            match calibration.sg_on(curve, tilt) {
                Ok(found) => {
                    score.squares[part] += (found.value - sg).powi(2) / n;
                    score.covered[part] += f64::from(u8::from(found.lower <= *sg && *sg <= found.upper)) / n;
                    score.width[part] += (found.upper - found.lower) / n;
                }
                Err(_) => {
                    score.squares[part] += 0.02f64.powi(2) / n;
                    score.widest_low[part] += 1.0 / n;
                }
            }
        }
    }
}

fn run(case: &Case, probes: u64, seed: u64) -> Vec<(String, Score, u32)> {
    let kinds = [
        CurveKind::WallSided,
        CurveKind::WallSidedFree,
        CurveKind::Polynomial(1),
        CurveKind::Polynomial(2),
        CurveKind::Polynomial(3),
    ];
    let mut scores = vec![Score::default(); kinds.len() + 1];
    let mut chosen = vec![0u32; kinds.len() + 1];
    for i in 0..probes {
        let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1_000_003).wrapping_add(i));
        let (hull, shape) = hull(case.float, &mut rng);
        let season = season(case, &hull, &shape, &mut rng);
        let found = CalibrationSettings::default().fit(&season).unwrap();
        let Some(calibration) = found.calibrations.first() else {
            println!("{:?}", found.without);
            continue;
        };
        add(&mut scores[0], calibration, &calibration.fitted, &hull, case);
        for (k, kind) in kinds.iter().enumerate() {
            let candidate = calibration.candidates.iter().find(|c| c.kind == *kind).unwrap();
            chosen[k + 1] += u32::from(candidate.chosen);
            if let Some(fitted) = candidate.fitted.as_ref().filter(|_| candidate.refused.is_none()) {
                add(&mut scores[k + 1], calibration, fitted, &hull, case);
            }
        }
    }
    let names = std::iter::once("selected".to_owned()).chain(kinds.iter().map(ToString::to_string));
    names.zip(scores).zip(chosen).map(|((n, s), c)| (n, s, c)).collect()
}

fn print(case: &Case, rows: &[(String, Score, u32)]) {
    println!("{:?} baths {:?} weighed {} length {}", case.float, case.baths, case.weighed, case.length_known);
    for (name, s, chosen) in rows {
        println!(
            "  {name:18} probes {:4} chosen {chosen:4} rmse {:.5} / {:.5} coverage {:.3} / {:.3} width {:.5} / {:.5} none {:.3}",
            s.probes,
            s.rmse(0),
            s.rmse(1),
            s.coverage(0),
            s.coverage(1),
            s.width[0] / f64::from(s.probes),
            s.width[1] / f64::from(s.probes),
            s.widest_low[1] / f64::from(s.probes)
        );
    }
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn explore() {
    let spaced = |from: f64, to: f64, n: u32| {
        (0..n).map(|i| from + (to - from) * f64::from(i) / f64::from(n - 1)).collect::<Vec<f64>>()
    };
    for float in [Float::Long, Float::Short] {
        for weighed in [true, false] {
            for baths in [spaced(1.0, 1.08, 6), spaced(1.0, 1.06, 5), spaced(1.0, 1.1, 8), spaced(1.0, 1.06, 4)] {
                let case = Case { float, baths, tilt_sd_deg: 0.3, bath_sd: 0.0005, weighed, length_known: true };
                let rows = run(&case, 200, 1);
                print(&case, &rows);
            }
        }
    }
}
