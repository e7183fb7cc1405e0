//! The search for a step against a published series and against simulation.

use heelwort::fit::Scale;
use heelwort::fit::changepoint::{Scan, ScanSettings};
use nalgebra::{Cholesky, DMatrix, DVector};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::{near, numbers, reference};

#[test]
fn the_flow_of_the_nile() {
    let right = reference("nile.json");
    let (years, flow) = (numbers(&right["year"]), numbers(&right["flow"]));
    let n = flow.len();
    let settings = ScanSettings { scale: Scale::Estimated, least_times: 1, ..ScanSettings::default() };
    let identity = DMatrix::identity(n, n);
    let ones = DMatrix::from_element(n, 1, 1.0);
    let scan = settings.scan(&years, &flow, &identity, &ones).unwrap();
    let best = scan.best_split().unwrap();
    assert_eq!((best.before, best.after), (right["last_year_first_segment"].as_f64().unwrap(), 1899.0));
    let at = |name: &str| right[name].as_f64().unwrap();
    near(scan.statistic, at("lr_statistic"), 1e-10);
    near(best.shift, at("mean_after") - at("mean_before"), 1e-10);
    near(-best.shift / best.se, at("t_two_sample"), 1e-10);
    for (split, sse) in scan.splits.iter().zip(numbers(&right["sse_by_k"])) {
        near(at("sse_total") * (-split.statistic / n as f64).exp(), sse, 1e-10);
    }
    assert!(scan.found && scan.p <= 1.0 / 5000.0 + 1e-12, "{scan}");
    assert!(scan.earliest >= 1894.0 && scan.latest <= 1903.0, "{scan}");
    // A step at the same date, known beforehand: the two-sample t interval, never wider than the searched one.
    let known = settings.step_at(&years, &flow, &identity, &ones, 1899.0).unwrap();
    near(known.se, at("pooled_sd") * (1.0_f64 / 28.0 + 1.0 / 72.0).sqrt(), 1e-10);
    assert!(known.lower >= scan.shift.lower - 1e-9 && known.upper <= scan.shift.upper + 1e-9);
}

/// A probe's checks: uneven, some at one time, with a random walk, an error per time and own errors. Times in days.
fn checks() -> (Vec<f64>, DMatrix<f64>, DMatrix<f64>) {
    let times: Vec<f64> =
        [0, 0, 5, 19, 33, 33, 40, 61, 62, 75, 90, 90, 90, 118, 124, 131, 150, 166, 171, 183, 197, 197]
            .map(f64::from)
            .to_vec();
    let n = times.len();
    let covariance = DMatrix::from_fn(n, n, |i, j| {
        let shared = if times[i] == times[j] { 0.3 } else { 0.0 };
        let own = if i == j { 0.5 } else { 0.0 };
        0.01 * times[i].min(times[j]) + shared + own
    });
    let columns = DMatrix::from_fn(n, 2, |i, j| if j == 0 { 1.0 } else { times[i] });
    (times, covariance, columns)
}

fn simulated(covariance: &DMatrix<f64>, mean: impl Fn(usize) -> f64, rng: &mut ChaCha8Rng) -> Vec<f64> {
    let n = covariance.nrows();
    let errors = DVector::from_fn(n, |_, _| StandardNormal.sample(rng));
    let errors = Cholesky::new(covariance.clone()).unwrap().l() * errors;
    (0..n).map(|i| mean(i) + errors[i]).collect()
}

fn many(scale: Scale, mean: impl Fn(f64) -> f64, series: usize) -> Vec<Scan> {
    let (times, covariance, columns) = checks();
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    (0..series)
        .map(|i| {
            let y = simulated(&covariance, |row| mean(times[row]), &mut rng);
            let settings = ScanSettings { scale, simulations: 499, seed: i as u64, ..ScanSettings::default() };
            settings.scan(&times, &y, &covariance, &columns).unwrap()
        })
        .collect()
}

#[test]
fn false_alarms_come_as_often_as_set() {
    for scale in [Scale::Known, Scale::Estimated] {
        let series = 600;
        let alarms = many(scale, |t| 1.0 - 0.02 * t, series).iter().filter(|s| s.found).count();
        let share = alarms as f64 / series as f64;
        println!("{scale:?}: {share:.4} false alarms");
        assert!((share - 0.05).abs() < 3.0 * (0.05_f64 * 0.95 / series as f64).sqrt(), "{scale:?}: {share}");
    }
}

#[test]
fn intervals_of_found_steps_cover() {
    for size in [2.5, 4.0, 6.0] {
        let scans = many(Scale::Known, |t| 1.0 - 0.02 * t + if t > 80.0 { size } else { 0.0 }, 400);
        let found: Vec<&Scan> = scans.iter().filter(|s| s.found).collect();
        let n = found.len() as f64;
        let covered = found.iter().filter(|s| s.shift.lower <= size && size <= s.shift.upper).count() as f64 / n;
        // The step is between the checks at 75 and 90 days.
        let dated = found.iter().filter(|s| s.earliest < 80.0 && 80.0 < s.latest).count() as f64 / n;
        println!("step {size}: power {:.3}, size covered {covered:.3}, time covered {dated:.3}", n / 400.0);
        if size >= 4.0 {
            assert!(covered > 0.84 && dated > 0.86, "step {size}: {covered} {dated}");
        }
    }
}

#[test]
fn what_cannot_be_searched_is_refused_in_words() {
    let settings = ScanSettings::default();
    let ones = DMatrix::from_element(3, 1, 1.0);
    let few = settings.scan(&[1.0, 1.0, 2.0], &[0.0, 1.0, 2.0], &DMatrix::identity(3, 3), &ones).unwrap_err();
    assert!(few.is_not_estimable() && few.to_string().contains("no split"), "{few}");
    let flat = settings.scan(&[1.0, 2.0, 3.0], &[0.0, 1.0, 2.0], &DMatrix::zeros(3, 3), &ones).unwrap_err();
    assert!(flat.to_string().contains("positive definite"), "{flat}");
    let shape = settings.scan(&[1.0, 2.0], &[0.0, 1.0, 2.0], &DMatrix::identity(3, 3), &ones);
    assert!(shape.is_err());
    assert!(ScanSettings { simulations: 5, ..settings }.check().is_err());
}
