//! Foam on probes: what hydrostatics say of it, and what a season may learn of it.

use heelwort::float::{End, Hull, Shape};
use heelwort::gravity::{GravitySeries, SeriesSample};
use heelwort::kinetics::KineticsSettings;

use crate::process::{Log, Process, Truth, generator, normal};

const WATER: f64 = 998.2;
const RADIUS_M: f64 = 0.018;

/// A long float and a short one that rest at 25 degrees in water and at 65 degrees at SG 1.100.
fn floats() -> [Hull; 2] {
    [(0.140, 0.100), (0.130, 0.110)].map(|(length, mass)| {
        let shape = Shape::new(RADIUS_M, length, End::Hemisphere, End::Flat).unwrap();
        Hull::through(shape.profile(), mass, [(25.0, WATER), (65.0, 1.1 * WATER)]).unwrap()
    })
}

/// What foam makes a float misread, SG: so many grams, so high above where the water plane cuts the axis, and `off` of the
/// radius towards the low side.
fn misread(clean: &Hull, grams: f64, above_m: f64, off: f64, sg: f64) -> f64 {
    let rest = clean.rest(clean.tilt_deg(sg * WATER).unwrap()).unwrap();
    let (m, dm) = (clean.mass_kg, grams * 1e-3);
    let mean = |old: f64, new: f64| (m * old + dm * new) / (m + dm);
    let foamy = Hull {
        mass_kg: m + dm,
        cg_offset_m: mean(clean.cg_offset_m, off * RADIUS_M),
        cg_height_m: mean(clean.cg_height_m, rest.waterline_m + above_m),
        ..clean.clone()
    };
    clean.density_kg_m3(foamy.tilt_deg(sg * WATER).unwrap()).unwrap() / WATER - sg
}

/// Nothing of the prior is fitted: how much foam there is, is assumed, and the rest is balance of forces.
#[test]
fn the_prior_of_foam_is_what_hydrostatics_make_of_some_tenths_of_a_gram() {
    let settings = KineticsSettings::default();
    let (mean, sd) = (settings.foam_sg, settings.foam_sd_sg);
    for float in floats() {
        for sg in [1.010, 1.020, 1.030, 1.040, 1.050] {
            let (low, high) = (misread(&float, 0.3, 0.005, 0.0, sg), misread(&float, 0.3, 0.010, 0.0, sg));
            assert!(2e-4 < low && low < mean && mean < high && high < 7.5e-4, "{sg}: a ring reads {low} to {high}");
            let one_side = [1.0, -1.0].map(|off| misread(&float, 0.1, 0.010, off, sg));
            assert!((4.5e-4..9.5e-4).contains(&one_side[0]), "{sg}: {one_side:?}");
            assert!((-5.5e-4..-0.5e-4).contains(&one_side[1]), "{sg}: {one_side:?}");
            // Twice as much, a quarter of the radius towards either side.
            let [down, up] = [0.25, -0.25].map(|off| misread(&float, 0.6, 0.010, off, sg));
            assert!(down < mean + 2.0 * sd && up > mean - 2.0 * sd, "{sg}: {down} {up}");
        }
    }
}

/// A season of one strain whose beers come to rest with a sharper bend than is expected of curves, by probes without foam.
fn sharp_season() -> Vec<GravitySeries> {
    let batch = |i: u64| {
        let mut rng = generator(7300 + i);
        let original = 1.052 + 0.006 * normal(&mut rng);
        let terminal = 1.0 + 0.23 * (original - 1.0);
        let smooth = Truth::new(Process::Weibull, original, terminal, 1.0, &mut rng);
        let (lag, length) = (12.0 + 2.0 * normal(&mut rng), 75.0 + 6.0 * normal(&mut rng));
        let sharp = |hours: f64| {
            let done = ((hours - lag) / length).clamp(0.0, 1.0);
            terminal + (original - terminal) * (1.0 - done * done).powi(2)
        };
        let log = Log { until_h: 192.0, ..Log::default() };
        let mut series = log.series(&smooth, &format!("B{i:02}"), "samphire", &mut rng);
        for (sg, hours) in series.sg.iter_mut().zip(&series.hours) {
            *sg += sharp(*hours) - smooth.sg(*hours);
        }
        series.samples.iter_mut().for_each(|sample| sample.sg += sharp(sample.hours) - smooth.sg(sample.hours));
        for hours in [40.0, 60.0, 80.0] {
            let (sg, instrument) = (sharp(hours) + 1e-3 * normal(&mut rng), Some("h1".into()));
            series.samples.push(SeriesSample { hours, sg, sd: 1e-3, known_hours: hours, instrument });
        }
        series.samples.sort_by(|a, b| a.hours.total_cmp(&b.hours));
        series
    };
    (0..24).map(batch).collect()
}

#[test]
fn a_bend_that_all_batches_share_does_not_pass_for_foam() {
    let settings = KineticsSettings::default();
    let all = settings.fit_all(&sharp_season()).unwrap().batches;
    let found: Vec<_> = all.iter().map(|fit| fit.foam_sg.estimate().unwrap()).collect();
    let mean = |of: &dyn Fn(&heelwort::fit::Estimate) -> f64| found.iter().map(|e| of(e)).sum::<f64>() / 24.0;
    let (value, se) = (mean(&|e| e.value), mean(&|e| e.se));
    // There is no foam: what all batches have in common stays below what each may be wrong by.
    assert!(value.abs() < 0.75 * se, "{value} {se}");
    let held = found.iter().filter(|e| e.lower <= 0.0 && 0.0 <= e.upper).count();
    // Of 24 at 90 %, 17 or fewer happen once in a hundred times.
    assert!(held > 17, "{held} of 24, {value} {se}");
}
