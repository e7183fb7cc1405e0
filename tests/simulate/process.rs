//! The process is plausible, and no curve that is fitted to it.

use std::sync::OnceLock;

use heelwort::simulate::{BatchEnd, SimulateSettings, Simulated};

fn season() -> &'static Simulated {
    static SEASON: OnceLock<Simulated> = OnceLock::new();
    SEASON.get_or_init(|| {
        SimulateSettings { seed: 77, batches: 48, reading_minutes: 60.0, tail_days: 30.0, ..Default::default() }
            .run()
            .unwrap()
    })
}

/// True SG of a batch over hours from pitching, warm, to a day after it came to rest.
fn warm_curve(simulated: &Simulated, index: usize) -> (Vec<f64>, Vec<f64>) {
    let batch = &simulated.season.batches[index];
    let truth = &simulated.truth.batches[index];
    let readings = &simulated.season.readings;
    let until = truth.finish_at.plus_hours(24.0).min(truth.cooled_at.unwrap_or(truth.finish_at));
    readings
        .of_probe_between(&batch.probes[0], batch.pitched_at, until)
        .filter_map(|row| Some((readings.at[row].hours_since(batch.pitched_at), simulated.truth.gravity.sg[row]?)))
        .unzip()
}

#[test]
fn batches_are_such_as_breweries_have() {
    let truth = &season().truth;
    for batch in &truth.batches {
        assert!((1.030..1.078).contains(&batch.original_sg), "{batch:?}");
        assert!((1.003..1.032).contains(&batch.terminal_sg), "{batch:?}");
        assert!((1.5..16.0).contains(&(batch.finish_h / 24.0)), "{batch:?}");
        assert!((4.0..48.0).contains(&batch.lag_h), "{batch:?}");
        assert!((0.50..0.92).contains(&batch.attenuation), "{batch:?}");
    }
    let good = truth.batches.iter().filter(|b| (1.005..1.020).contains(&b.terminal_sg)).count();
    assert!(good * 10 >= truth.batches.len() * 9, "{good}");
    let count = |end| truth.batches.iter().filter(|b| b.end == end).count();
    assert!(count(BatchEnd::Observed) > 30 && count(BatchEnd::Stuck) < 10 && count(BatchEnd::CutByEnd) == 0);
}

/// Root mean square distance of the nearest logistic curve. For a middle and a width the levels follow by least squares; these
/// two are searched on a grid that closes in.
fn logistic_misfit(hours: &[f64], sg: &[f64], mid_h: f64) -> f64 {
    let n = hours.len() as f64;
    let mean = |values: &[f64]| values.iter().sum::<f64>() / n;
    let rmse = |mid: f64, width: f64| {
        let shape: Vec<f64> = hours.iter().map(|t| 1.0 / (1.0 + ((t - mid) / width).exp())).collect();
        let (x, y) = (mean(&shape), mean(sg));
        let products =
            |a: &[f64], b: &[f64], (x, y): (f64, f64)| a.iter().zip(b).map(|(a, b)| (a - x) * (b - y)).sum::<f64>();
        let (xx, xy, yy) = (products(&shape, &shape, (x, x)), products(&shape, sg, (x, y)), products(sg, sg, (y, y)));
        ((yy - xy * xy / xx) / n).sqrt()
    };
    let (mut best, mut reach) = ((mid_h, 0.2 * mid_h, rmse(mid_h, 0.2 * mid_h)), (0.3 * mid_h, 0.15 * mid_h));
    for _ in 0..40 {
        let (mid, width, _) = best;
        for (i, j) in (-3..=3).flat_map(|i| (-3..=3).map(move |j| (f64::from(i) / 3.0, f64::from(j) / 3.0))) {
            let at = (mid + i * reach.0, (width + j * reach.1).max(0.1));
            let found = rmse(at.0, at.1);
            if found < best.2 {
                best = (at.0, at.1, found);
            }
        }
        reach = (0.7 * reach.0, 0.7 * reach.1);
    }
    best.2
}

#[test]
fn no_logistic_curve_follows_the_process() {
    let mut misfits = Vec::new();
    for index in 0..season().season.batches.len() {
        let truth = &season().truth.batches[index];
        if truth.end != BatchEnd::Observed {
            continue;
        }
        let (hours, sg) = warm_curve(season(), index);
        misfits.push(logistic_misfit(&hours, &sg, truth.mid_h));
    }
    misfits.sort_by(f64::total_cmp);
    let (smallest, middle) = (misfits[0], misfits[misfits.len() / 2]);
    assert!(smallest > 0.00015 && middle > 0.0005, "{smallest:.5} {middle:.5}");
    // Nor is it so unlike that a fit would be pointless.
    assert!(misfits[misfits.len() - 1] < 0.003);
}

#[test]
fn tilts_and_drifts_are_such_as_probes_have() {
    let truth = &season().truth;
    for probe in &truth.probes {
        // 21 to 29 and 58 to 70 degrees of the float, and a sensor zero of up to 1.5.
        assert!((19.4..30.6).contains(&probe.water_tilt_deg), "{probe:?}");
        assert!((56.4..71.6).contains(&probe.tilt_at_1100_deg), "{probe:?}");
        assert!(probe.drift_sg_per_30d.unwrap().abs() < 0.006, "{probe:?}");
        assert!((3500.0..6500.0).contains(&probe.k_kg_m3), "{probe:?}");
    }
    assert!(truth.shifts.iter().all(|shift| shift.shift_sg.abs() < 0.015));
    for pair in truth.curves.windows(2).filter(|p| p[0].probe == p[1].probe && p[0].calibration == p[1].calibration) {
        let per_0010 = (pair[1].tilt_deg - pair[0].tilt_deg) / (pair[1].sg - pair[0].sg) * 0.010;
        assert!((0.8..9.5).contains(&per_0010), "{pair:?}");
    }
}

#[test]
fn what_is_switched_off_is_off() {
    let still = SimulateSettings {
        batches: 6,
        reading_minutes: 120.0,
        drift_scale: 0.0,
        shift_scale: 0.0,
        noise_scale: 0.0,
        bubble_scale: 0.0,
        reference_scale: 0.0,
        defects: false,
        ..Default::default()
    }
    .run()
    .unwrap();
    assert!(still.truth.shifts.is_empty());
    assert!(still.truth.errors.iter().all(|e| e.error_sg.abs() < 1e-6 && e.since_last_sg.abs() < 1e-6));
    assert!(still.season.readings.flags.iter().all(|f| f.is_empty()));
    for reference in still.season.references.iter().filter(|r| r.bath.is_some()) {
        let curve: Vec<_> = still.truth.curves.iter().filter(|c| Some(&c.probe) == reference.probe.as_ref()).collect();
        let above = curve.iter().position(|c| c.sg > reference.sg).unwrap();
        let share = (reference.sg - curve[above - 1].sg) / (curve[above].sg - curve[above - 1].sg);
        let line = curve[above - 1].tilt_deg + share * (curve[above].tilt_deg - curve[above - 1].tilt_deg);
        // What is left: temperature of the bath, the water line's pull, the bend between grid points.
        if let Some(tilt) = reference.tilt_deg {
            assert!((tilt - line).abs() < 0.6, "{reference:?} {line}");
        }
    }
}
