//! Curves on plain slices: published data against answers computed elsewhere, refusals, coverage.

use heelwort::kinetics::{IntervalMethod, SigmoidKind, SigmoidSettings, SigmoidTrait};
use rand_distr::{Distribution, StandardNormal};

use crate::fit::{digits, numbers, reference};
use crate::process::generator;

/// Data of one set of the reference, and its estimates with standard errors by name.
fn set(id: &str) -> (Vec<f64>, Vec<f64>, serde_json::Value) {
    let all = reference("single_curves.json");
    let set = all["sets"].as_array().unwrap().iter().find(|set| set["id"] == id).unwrap().clone();
    (numbers(&set["x"]), numbers(&set["y"]), set)
}

fn right(set: &serde_json::Value, what: &str, name: &str) -> f64 {
    let place = set["names"].as_array().unwrap().iter().position(|n| n == name).unwrap();
    set[what][place].as_f64().unwrap()
}

#[test]
fn three_and_four_parameters_are_the_textbook_logistics() {
    for (id, from, level) in [("DNase1_logis", Some(0.0), "Asym"), ("DNase1_fpl", None, "B")] {
        let (x, y, set) = set(id);
        let settings =
            SigmoidSettings { from, correlated: false, interval: IntervalMethod::Profile, ..Default::default() };
        let fit = settings.fit(&x, &y, None).unwrap();
        let (to, mid) = (fit.finding(SigmoidTrait::To), fit.finding(SigmoidTrait::Mid));
        for (finding, name) in [(to, level), (mid, "xmid")] {
            let estimate = finding.estimate().unwrap();
            assert!(digits(estimate.value, right(&set, "estimate", name)) > 6.0, "{id} {name}: {estimate}");
            assert!(digits(estimate.se, right(&set, "se", name)) > 5.0, "{id} {name}: {estimate}");
            let place = set["names"].as_array().unwrap().iter().position(|n| n == name).unwrap();
            let limits = numbers(&set["profile_90"][place]);
            assert!(digits(estimate.lower, limits[0]) > 4.0 && digits(estimate.upper, limits[1]) > 4.0, "{id} {name}");
        }
        // Steepest slope of a logistic: the change over four scales.
        let from = fit.finding(SigmoidTrait::From).value().unwrap();
        let rate = (to.value().unwrap() - from) / (4.0 * right(&set, "estimate", "scal"));
        assert!(digits(fit.finding(SigmoidTrait::Rate).value().unwrap(), rate) > 6.0);
        // AICc from the likelihood by its definition, with k + 1 parameters.
        let (n, k) = (x.len() as f64, set["names"].as_array().unwrap().len() as f64 + 1.0);
        let aicc = -2.0 * set["log_likelihood"].as_f64().unwrap() + 2.0 * k * n / (n - k - 1.0);
        assert!((fit.aicc - aicc).abs() < 1e-6, "{id}: {} {aicc}", fit.aicc);
        let at = numbers(&set["prediction"]["x"]);
        let (band, one) = (fit.band(&at, 0.95).unwrap(), fit.prediction(&at, 1.0, 0.95).unwrap());
        for (i, (band, one)) in band.iter().zip(&one).enumerate() {
            let all = |key: &str| numbers(&set["prediction"][key])[i];
            for (found, key) in [
                (band.value, "fit"),
                (band.se, "se_fit_delta"),
                (band.lower, "conf_lower"),
                (band.upper, "conf_upper"),
                (one.lower, "pred_lower"),
                (one.upper, "pred_upper"),
            ] {
                assert!((found - all(key)).abs() < 1e-5 * (1.0 + all(key).abs()), "{id} {key}: {found} {}", all(key));
            }
        }
    }
}

#[test]
fn the_gompertz_curve_is_the_textbook_one() {
    let (x, y, set) = set("DNase1_gompertz");
    let settings =
        SigmoidSettings { kind: SigmoidKind::Gompertz, from: Some(0.0), correlated: false, ..Default::default() };
    let fit = settings.fit(&x, &y, None).unwrap();
    let (asym, b2, b3) =
        (right(&set, "estimate", "Asym"), right(&set, "estimate", "b2"), right(&set, "estimate", "b3"));
    // A exp(-b2 b3^x) = A exp(-exp(ln b2 - k x)), k = -ln b3: rate A k / e, lag (ln b2 - 1) / k.
    let k = -b3.ln();
    let values = fit.fit.values();
    assert!(digits(values[1], asym) > 6.0, "{values:?}");
    assert!(digits(values[2], asym * k / std::f64::consts::E) > 6.0, "{values:?}");
    assert!(digits(values[3], (b2.ln() - 1.0) / k) > 6.0, "{values:?}");
    assert!(digits(fit.fit.sum_of_squares, set["residual_ss"].as_f64().unwrap()) > 8.0);
    // Half of the change is hardly in the data, so its end is asked for by name only where enough is.
    assert!(fit.progress < 0.6 && fit.finding(SigmoidTrait::To).why().unwrap().contains("of the change"), "{fit}");
}

#[test]
fn what_does_not_change_is_refused_with_a_reason() {
    let mut rng = generator(5);
    let mut noise = || -> f64 { StandardNormal.sample(&mut rng) };
    let x: Vec<f64> = (0..60).map(f64::from).collect();
    let flat: Vec<f64> = x.iter().map(|_| 30.0 + 0.3 * noise()).collect();
    for kind in SigmoidKind::ALL {
        let error = SigmoidSettings { kind, ..Default::default() }.fit(&x, &flat, None).unwrap_err();
        assert!(error.is_not_estimable(), "{error}");
        let error = SigmoidSettings { kind, ..Default::default() }.fit(&x, &vec![2.0; 60], None).unwrap_err();
        assert!(error.is_not_estimable(), "{error}");
        let error = SigmoidSettings { kind, ..Default::default() }.fit(&x[..4], &flat[..4], None).unwrap_err();
        assert!(error.to_string().contains("places"), "{error}");
    }
    let mut holed = flat.clone();
    holed[7] = f64::NAN;
    assert!(SigmoidSettings::default().fit(&x, &holed, None).unwrap_err().is_not_estimable());
    assert!(SigmoidSettings::default().fit(&x, &flat[..5], None).is_err());
    assert!(SigmoidSettings { level: 1.0, ..Default::default() }.fit(&x, &flat, None).is_err());
}

#[test]
fn both_ways_to_an_interval_agree_where_the_curve_is_nearly_straight_in_its_parameters() {
    let mut rng = generator(6);
    let mut noise = || -> f64 { StandardNormal.sample(&mut rng) };
    let x: Vec<f64> = (0..80).map(|i| 0.5 * f64::from(i)).collect();
    let y: Vec<f64> = x.iter().map(|t| 1.0 + 2.0 / (1.0 + (6.0 - 0.5 * t).exp()) + 0.01 * noise()).collect();
    let fits = [IntervalMethod::Delta, IntervalMethod::Profile].map(|interval| {
        SigmoidSettings { interval, correlated: false, ..Default::default() }.fit(&x, &y, None).unwrap()
    });
    for which in SigmoidTrait::ALL {
        let [delta, other] = [0, 1].map(|i| fits[i].finding(which).estimate().unwrap());
        let width = delta.upper - delta.lower;
        assert!((other.lower - delta.lower).abs() < 0.02 * width, "{which:?}: {delta} {other}");
        assert!((other.upper - delta.upper).abs() < 0.02 * width, "{which:?}: {delta} {other}");
        assert_ne!(other.method, delta.method);
    }
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn intervals_cover_with_correlated_errors() {
    let repeats = 1000;
    let mut covered = [0; 6];
    for repeat in 0..repeats {
        let mut rng = generator(900 + repeat);
        let mut noise = || -> f64 { StandardNormal.sample(&mut rng) };
        let x: Vec<f64> = (0..200).map(|i| 0.5 * f64::from(i)).collect();
        let truth = [1.0, 3.0, 0.1, 20.0];
        let mut state = noise();
        let y: Vec<f64> = x
            .iter()
            .map(|t| {
                state = 0.78 * state + (1.0_f64 - 0.78 * 0.78).sqrt() * noise();
                let share = (-(1.0 - std::f64::consts::E * 0.05 * (t - 20.0)).exp()).exp();
                1.0 + 2.0 * share + 0.03 * state + 0.02 * noise()
            })
            .collect();
        let settings = SigmoidSettings { kind: SigmoidKind::Gompertz, ..Default::default() };
        let fit = settings.fit(&x, &y, None).unwrap();
        let times = [0.5, 0.9].map(|share| SigmoidKind::Gompertz.x_of_share(&truth, share).0);
        let right = [truth[0], truth[1], truth[2], truth[3], times[0], times[1]];
        for ((count, which), right) in covered.iter_mut().zip(SigmoidTrait::ALL).zip(right) {
            let estimate = fit.finding(which).estimate().unwrap();
            *count += u32::from(estimate.lower <= right && right <= estimate.upper);
        }
    }
    for (count, which) in covered.iter().zip(SigmoidTrait::ALL) {
        let share = f64::from(*count) / repeats as f64;
        println!("{which:?}: 90 % intervals cover {share:.3}");
        assert!((0.86..=0.93).contains(&share), "{which:?}: {share}");
    }
}
