//! The ODE solver against a published kinetic model of beer fermentation and against laws.

use heelwort::fit::ode::OdeSettings;
use proptest::prelude::*;

/// The yeast, sugar and ethanol balances of de Andres-Toro et al., Math. Comput. Simul. 48 (1998) 65: active, lag and
/// settled yeast, sugar, ethanol in g/L; hours; temperature in kelvin.
fn de_andres_toro(kelvin: f64, sugar_at_start: f64) -> impl Fn(f64, &[f64; 5], &mut [f64; 5]) {
    let rate = move |a: f64, b: f64| (a + b / kelvin).exp();
    let (growth, uptake) = (rate(108.31, -31_934.09), rate(-41.92, 11_654.64));
    let (wake, death) = (rate(30.72, -9_501.54), rate(130.16, -38_313.0));
    let (settle, ethanol) = (rate(33.82, -10_033.28), rate(3.27, -1_267.24));
    let affinity = rate(-119.63, 34_203.95);
    let half = 0.5 * sugar_at_start;
    move |_, &[active, lag, settled, sugar, alcohol], out| {
        out[0] = growth * sugar / (half + alcohol) * active - death * active + wake * lag;
        out[1] = -wake * lag;
        out[2] = -settle * half / (half + alcohol) * settled + death * active;
        out[3] = -uptake * sugar / (affinity + sugar) * active;
        out[4] = (1.0 - alcohol / half) * ethanol * sugar / (affinity + sugar) * active;
    }
}

#[test]
fn the_published_fermentation_model() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/statistics/ode_benchmark.csv");
    let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).unwrap();
    let rows: Vec<Vec<f64>> =
        rows.records().map(|row| row.unwrap().iter().map(|cell| cell.parse().unwrap()).collect()).collect();
    let mut compared = 0;
    for celsius in 8..=15 {
        let celsius = f64::from(celsius);
        let wanted: Vec<&Vec<f64>> = rows.iter().filter(|row| row[0] == celsius).collect();
        let times: Vec<f64> = wanted.iter().map(|row| row[1]).collect();
        let settings = OdeSettings { relative: 1e-10, absolute: 1e-12, ..Default::default() };
        let model = de_andres_toro(celsius + 273.15, 130.0);
        let found = settings.solve(model, 0.0, &[0.0, 2.0, 2.0, 130.0, 0.0], &times).unwrap();
        for (state, row) in found.iter().zip(&wanted) {
            for (found, wanted) in state.iter().zip(&row[2..]) {
                // The file gives eight decimals.
                let allowed = (1e-6 * wanted.abs()).max(2e-8);
                assert!((found - wanted).abs() <= allowed, "{celsius} C, {} h: {found}, wanted {wanted}", row[1]);
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 5 * rows.len());
}

#[test]
fn what_cannot_be_integrated_is_said() {
    let settings = OdeSettings::default();
    let blows_up = settings.solve(|_, y, out| out[0] = y[0] * y[0], 0.0, &[1.0], &[2.0]).unwrap_err().to_string();
    assert!(blows_up.starts_with("an ODE failed") && blows_up.contains("at t = 1"), "{blows_up}");
    let few = OdeSettings { max_steps: 5, ..settings };
    let few = few.solve(|_, y, out| out[0] = -y[0], 0.0, &[1.0], &[100.0]).unwrap_err().to_string();
    assert!(few.contains("5 steps reached only"), "{few}");
    let falling = settings.solve(|_, _, out| out[0] = 1.0, 0.0, &[0.0], &[2.0, 1.0]).unwrap_err().to_string();
    assert!(falling.contains("times of an ODE rise"), "{falling}");
    let nan = settings.solve(|_, _, out| out[0] = f64::NAN, 0.0, &[0.0], &[1.0]).unwrap_err().to_string();
    assert!(nan.contains("shrank to nothing at t = 0"), "{nan}");
    assert!(OdeSettings { relative: 0.0, ..settings }.solve(|_, _, _| (), 0.0, &[1.0], &[1.0]).is_err());
}

#[test]
fn times_at_the_start_and_twice_the_same_are_answered() {
    let found = OdeSettings::default().solve(|_, _, out| out[0] = 1.0, 0.0, &[5.0], &[0.0, 0.0, 1.0, 1.0]).unwrap();
    assert_eq!(found.len(), 4);
    assert_eq!((found[0][0], found[1][0]), (5.0, 5.0));
    assert!((found[2][0] - 6.0).abs() < 1e-12 && found[3] == found[2]);
    let none = OdeSettings::default().solve(|_, _, out| out[0] = 1.0, 0.0, &[5.0], &[]).unwrap();
    assert!(none.is_empty());
}

#[test]
fn the_error_falls_with_the_tolerance() {
    let end = |relative: f64| {
        let settings = OdeSettings { relative, absolute: relative, ..Default::default() };
        let swing = |_: f64, y: &[f64; 2], out: &mut [f64; 2]| (out[0], out[1]) = (y[1], -y[0]);
        let found = settings.solve(swing, 0.0, &[0.0, 1.0], &[3.0, 20.0]).unwrap();
        ((found[0][0] - 3.0_f64.sin()).abs(), (found[1][0] - 20.0_f64.sin()).abs())
    };
    let mut last = f64::INFINITY;
    for relative in [1e-4, 1e-6, 1e-8, 1e-10] {
        // A time inside a step (by the continuous extension) and the end.
        let (inside, at_end) = end(relative);
        assert!(inside < 300.0 * relative && at_end < 300.0 * relative, "{relative:e}: {inside:e} {at_end:e}");
        assert!(at_end < last);
        last = at_end;
    }
}

#[test]
fn the_last_step_ends_at_the_end_whatever_rounding_does() {
    let last = 0.028_317_915_725_211_227;
    let logistic = |_: f64, y: &[f64; 1], out: &mut [f64; 1]| out[0] = 0.05 * y[0] * (1.0 - y[0]);
    let settings = OdeSettings { relative: 1e-10, absolute: 1e-12, ..Default::default() };
    let found = settings.solve(logistic, 0.0, &[0.01], &[last]).unwrap();
    assert!((found[0][0] - 1.0 / (1.0 + 99.0 * (-0.05 * last).exp())).abs() < 1e-12);
}

proptest! {
    #[test]
    fn asking_for_more_times_changes_no_answer(
        times in prop::collection::vec(0.0..30.0_f64, 1..20),
        rate in 0.05..2.0_f64,
    ) {
        let mut times = times;
        times.sort_by(f64::total_cmp);
        let last = *times.last().unwrap();
        let logistic = |_: f64, y: &[f64; 1], out: &mut [f64; 1]| out[0] = rate * y[0] * (1.0 - y[0]);
        let settings = OdeSettings { relative: 1e-10, absolute: 1e-12, ..Default::default() };
        let many = settings.solve(logistic, 0.0, &[0.01], &times).unwrap();
        let one = settings.solve(logistic, 0.0, &[0.01], &[last]).unwrap();
        prop_assert_eq!(many.last(), one.last());
        for (time, state) in times.iter().zip(&many) {
            let exact = 1.0 / (1.0 + 99.0 * (-rate * time).exp());
            prop_assert!((state[0] - exact).abs() < 1e-8, "{} {} {}", time, state[0], exact);
        }
    }
}
