//! Control charts against worked examples and published run lengths.

use heelwort::fit::control::{ChartSettings, Side};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::{numbers, reference};

#[test]
fn the_worked_example_of_weighted_means() {
    let right = &reference("control_charts.json")["ewma"];
    let at = |name: &str| right[name].as_f64().unwrap();
    let errors: Vec<f64> = numbers(&right["x"]).iter().map(|x| (x - at("target")) / at("sigma")).collect();
    let days: Vec<f64> = (0..errors.len()).map(|i| 3.0 * i as f64).collect();
    let settings = ChartSettings { ewma_weight: at("lambda"), ewma_limit: at("L"), ..ChartSettings::default() };
    let chart = settings.ewma(&days, &errors).unwrap();
    for ((m, l), (mean, limit)) in chart
        .statistic
        .iter()
        .zip(&chart.limit)
        .zip(numbers(&right["ewma"]).iter().zip(numbers(&right["limits_exact_by_t"])))
    {
        assert!((at("target") + at("sigma") * m - mean).abs() < 1e-9);
        // The example gives the limits' half-widths in the data's unit.
        assert!((at("sigma") * l - limit).abs() < 1e-9, "{} {limit}", at("sigma") * l);
    }
    assert_eq!(chart.first_signal(), None);
}

#[test]
fn the_worked_example_of_sums() {
    let right = &reference("control_charts.json")["cusum"];
    let at = |name: &str| right[name].as_f64().unwrap();
    let errors: Vec<f64> = numbers(&right["x"]).iter().map(|x| x - at("target")).collect();
    let days: Vec<f64> = (0..errors.len()).map(|i| i as f64).collect();
    let settings = ChartSettings { cusum_allowance: at("k"), cusum_limit: at("h"), ..ChartSettings::default() };
    let chart = settings.cusum(&days, &errors).unwrap();
    for (found, name) in [(&chart.up, "upper"), (&chart.down, "lower")] {
        for (a, b) in found.iter().zip(numbers(&right[name])) {
            assert!((a - b).abs() < 1e-9, "{name}: {a} {b}");
        }
    }
    let signal = chart.first_signal().unwrap();
    assert_eq!((signal.side, signal.at + 1), (Side::Up, right["first_upper_alarm"].as_u64().unwrap() as usize));
    assert_eq!(signal.began, 12);
}

/// Mean and standard error of the number of errors until `signals` says so, from 2,000 simulated series.
fn run_length(shift: f64, seed: u64, signals: impl Fn(&[f64]) -> Option<usize>) -> (f64, f64) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let lengths: Vec<f64> = (0..2000)
        .map(|_| {
            let mut errors: Vec<f64> = Vec::new();
            loop {
                let more = (errors.len() + 50).min(1000);
                errors.extend((0..more).map(|_| {
                    let z: f64 = StandardNormal.sample(&mut rng);
                    shift + z
                }));
                if let Some(at) = signals(&errors) {
                    return (at + 1) as f64;
                }
            }
        })
        .collect();
    let n = lengths.len() as f64;
    let mean = lengths.iter().sum::<f64>() / n;
    let variance = lengths.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (mean, (variance / n).sqrt())
}

fn days(n: usize) -> Vec<f64> {
    (0..n).map(|i| i as f64).collect()
}

#[test]
fn sums_run_as_long_as_published() {
    let all = reference("control_charts.json");
    let right = &all["cusum_run_lengths"];
    let shifts = numbers(&right["shift"]);
    for (name, head_start) in [("two_sided", 0.0), ("two_sided_head_start_half_printed", 0.5)] {
        let settings = ChartSettings { cusum_limit: 4.0, cusum_head_start: head_start, ..ChartSettings::default() };
        for (i, wanted) in numbers(&right[name]).into_iter().enumerate().filter(|(i, _)| [0, 2, 4, 6, 10].contains(i)) {
            let signals = |z: &[f64]| settings.cusum(&days(z.len()), z).unwrap().first_signal().map(|s| s.at);
            let (mean, se) = run_length(shifts[i], 100 + i as u64, signals);
            // The head-started values are printed to three digits.
            let allowed = 3.5 * se + 0.005 * wanted;
            assert!((mean - wanted).abs() < allowed, "{name}, shift {}: {mean} +- {se}, wanted {wanted}", shifts[i]);
        }
    }
}

#[test]
fn weighted_means_run_as_long_as_published() {
    for right in reference("control_charts.json")["ewma_run_lengths"].as_array().unwrap() {
        let at = |name: &str| right[name].as_f64().unwrap();
        if at("L") != 2.7 {
            continue;
        }
        let settings = ChartSettings { ewma_weight: at("lambda"), ewma_limit: at("L"), ..ChartSettings::default() };
        // The published chart has its last limit from the start.
        let steady = at("L") * (at("lambda") / (2.0 - at("lambda"))).sqrt();
        let signals =
            |z: &[f64]| settings.ewma(&days(z.len()), z).unwrap().statistic.iter().position(|m| m.abs() > steady);
        let (mean, se) = run_length(at("shift"), 200, signals);
        let wanted = at("arl_two_sided_steady_limits");
        assert!((mean - wanted).abs() < 3.5 * se, "{right}: {mean} +- {se}");
    }
}

#[test]
fn limits_hold_for_uneven_spacing() {
    // Each point of an uneven chart is outside with the probability of its limit, whatever came before.
    let times = [0.0, 0.0, 1.0, 1.5, 9.0, 40.0, 40.0, 40.2, 44.0, 80.0];
    let settings = ChartSettings { ewma_limit: 1.644_853_627, ..ChartSettings::default() };
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let mut outside = [0_u32; 10];
    for _ in 0..20_000 {
        let errors: Vec<f64> = times.iter().map(|_| StandardNormal.sample(&mut rng)).collect();
        for i in settings.ewma(&times, &errors).unwrap().signals {
            outside[i] += 1;
        }
    }
    for (i, count) in outside.iter().enumerate() {
        let share = f64::from(*count) / 20_000.0;
        assert!((share - 0.1).abs() < 4.0 * (0.09_f64 / 20_000.0).sqrt(), "point {i}: {share}");
    }
}

#[test]
fn false_alarms_of_a_whole_series_are_counted() {
    let times: Vec<f64> = (0..30).map(|i| 7.0 * f64::from(i)).collect();
    let (by_mean, by_sum) = ChartSettings::default().false_alarms(&times, 4000, 3).unwrap();
    println!("false alarms in 30 weekly errors: weighted means {by_mean:.3}, sums {by_sum:.3}");
    // One in about 370 errors: 1 - exp(-30 / 370) = 0.08, less for a start at zero.
    assert!((0.02..0.11).contains(&by_mean) && (0.02..0.11).contains(&by_sum));
}

#[test]
fn bad_series_are_refused_in_words() {
    let settings = ChartSettings::default();
    assert!(settings.ewma(&[0.0], &[1.0, 2.0]).is_err());
    let backwards = settings.cusum(&[1.0, 0.0], &[1.0, 2.0]).unwrap_err();
    assert!(backwards.to_string().contains("backwards"), "{backwards}");
    let missing = settings.ewma(&[0.0, 1.0], &[0.0, f64::NAN]).unwrap_err();
    assert!(missing.is_not_estimable() && missing.to_string().contains("row 1"), "{missing}");
    let wrong = ChartSettings { ewma_weight: 0.0, ..settings }.ewma(&[0.0], &[0.0]).unwrap_err();
    assert!(wrong.to_string().contains("ewma_weight"), "{wrong}");
}
