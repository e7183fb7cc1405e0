//! Probes that share their baths: is the joint fit better than each alone, do its intervals hold, is a wrong bath found?
//!
//! Floats of known truth (the long and the short one of the hydrostatics note in turn); tilt SD 0.2 degrees.

use heelwort::Instant;
use heelwort::calibration::{Calibration, CalibrationSettings, Calibrations};
use heelwort::common::{CommonSettings, InstrumentErrors};
use heelwort::float::Hull;
use heelwort::liquid::WATER_20C_KG_M3;
use heelwort::season::{Reference, Season};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::floats::{Case, Float, hull, normal, season};

/// How the baths of a fleet are wrong.
#[derive(Debug, Clone, Copy)]
struct Wrong {
    /// SD of each bath by itself.
    own: f64,
    /// SD of the hydrometer that measured them; weighed without.
    hydrometer: Option<f64>,
    /// SD of the gain of all weighed baths.
    gain: f64,
    /// An error of the fourth bath on top.
    fourth: f64,
}

const SGS: [f64; 6] = [1.0, 1.016, 1.032, 1.048, 1.064, 1.080];

/// Probes in common baths, with the truth.
fn fleet(probes: usize, wrong: Wrong, seed: u64) -> (Season, Vec<Hull>) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (bias, gain) = (normal(&mut rng, wrong.hydrometer.unwrap_or(0.0)), normal(&mut rng, wrong.gain));
    let stated: Vec<f64> = SGS
        .iter()
        .enumerate()
        .map(|(i, &sg)| {
            let fourth = if i == 3 { wrong.fourth } else { 0.0 };
            if i == 0 { 1.0 } else { sg + normal(&mut rng, wrong.own) + bias + gain * (sg - 1.0) + fourth }
        })
        .collect();
    let (mut all, mut hulls) = (Season::default(), Vec::new());
    for number in 0..probes {
        let float = if number % 2 == 0 { Float::Long } else { Float::Short };
        let (hull, shape) = hull(float, &mut rng);
        let case =
            Case { float, baths: SGS.to_vec(), tilt_sd_deg: 0.2, bath_sd: 0.0, weighed: true, length_known: true };
        let mut one = season(&case, &hull, &shape, &mut rng);
        for (i, (reference, sg)) in one.references.iter_mut().zip(&stated).enumerate() {
            *reference = Reference {
                probe: Some(format!("p{number}")),
                at: reference.at.plus_hours(0.1 * number as f64),
                sg: *sg,
                sg_sd: Some(if i == 0 { 0.0001 } else { wrong.own }),
                bath: Some(format!("bath-{i}")),
                method: Some(
                    if i == 0 { "water" } else { wrong.hydrometer.map_or("weighed", |_| "hydrometer") }.into(),
                ),
                ..reference.clone()
            };
        }
        one.probes[0].probe = format!("p{number}");
        all.references.extend(one.references);
        all.probes.extend(one.probes);
        hulls.push(hull);
    }
    (all, hulls)
}

/// The same season with every probe in baths of its own name: nothing is shared.
fn apart(mut season: Season) -> Season {
    for reference in &mut season.references {
        reference.bath = Some(format!("{:?} of {:?}", reference.bath, reference.probe));
    }
    season
}

fn of(found: &Calibrations, probe: usize) -> &Calibration {
    found.first(&format!("p{probe}")).unwrap()
}

/// Mean squared error within the baths, and the share of gravities that the interval of the curve holds.
fn judged(found: &Calibrations, hulls: &[Hull]) -> (f64, f64) {
    let (mut squares, mut held, mut n) = (0.0, 0.0, 0.0);
    for (number, hull) in hulls.iter().enumerate() {
        for i in 0..=8 {
            let sg = 1.0 + 0.01 * f64::from(i);
            let at = of(found, number).sg_at(hull.tilt_deg(sg * WATER_20C_KG_M3).unwrap()).unwrap();
            squares += (at.value - sg).powi(2);
            held += f64::from(u8::from(at.lower <= sg && sg <= at.upper));
            n += 1.0;
        }
    }
    (squares / n, held / n)
}

#[derive(Debug, Default)]
struct Scores {
    together: f64,
    alone: f64,
    held: Vec<f64>,
}

fn many(probes: usize, wrong: Wrong, seeds: std::ops::Range<u64>, settings: &CalibrationSettings) -> Scores {
    let mut scores = Scores::default();
    let n = seeds.clone().count() as f64;
    for seed in seeds {
        let (season, hulls) = fleet(probes, wrong, seed);
        let together = settings.fit(&season).unwrap();
        assert_eq!(together.shared_baths.len(), SGS.len());
        let (squares, held) = judged(&together, &hulls);
        scores.together += squares / n;
        scores.held.push(held);
        scores.alone += judged(&settings.fit(&apart(season)).unwrap(), &hulls).0 / n;
    }
    scores
}

impl Scores {
    /// Coverage with its standard error, the fleet as the unit.
    fn coverage(&self) -> (f64, f64) {
        let n = self.held.len() as f64;
        let mean = self.held.iter().sum::<f64>() / n;
        let variance = self.held.iter().map(|h| (h - mean).powi(2)).sum::<f64>() / (n - 1.0);
        (mean, (variance / n).sqrt())
    }

    fn print(&self, what: &str) {
        let (coverage, se) = self.coverage();
        let (together, alone) = (self.together.sqrt(), self.alone.sqrt());
        println!("{what}: rmse together {together:.5}, alone {alone:.5}; coverage {coverage:.3} ({se:.3})");
    }
}

const INDEPENDENT: Wrong = Wrong { own: 0.001, hydrometer: None, gain: 0.0, fourth: 0.0 };

#[test]
fn probes_that_share_baths_help_each_other() {
    let settings = CalibrationSettings { weighed_gain: 0.0, ..CalibrationSettings::default() };
    let scores = many(6, INDEPENDENT, 0..12, &settings);
    scores.print("independent baths");
    assert!(scores.together < scores.alone);
}

#[test]
fn one_probe_alone_is_a_fleet_of_one() {
    let (season, _) = fleet(1, INDEPENDENT, 3);
    let found = CalibrationSettings::default().fit(&season).unwrap();
    let other = CalibrationSettings::default().fit(&apart(season)).unwrap();
    assert!(found.shared_baths.is_empty());
    assert_eq!(of(&found, 0).fitted.covariance, of(&other, 0).fitted.covariance);
}

#[test]
fn a_bath_in_doubt_is_named_and_the_curves_without_it_are_shown() {
    let (mut probes, mut named) = (0, 0);
    for seed in 11..17 {
        let (season, hulls) = fleet(5, Wrong { own: 0.0003, fourth: 0.002, ..INDEPENDENT }, seed);
        let found = CalibrationSettings::default().fit(&season).unwrap();
        for number in 0..hulls.len() {
            probes += 1;
            let calibration = of(&found, number);
            assert!(calibration.remarks.iter().all(|remark| !remark.contains("left out")), "{calibration}");
            let [suspect] = calibration.suspects.as_slice() else { continue };
            assert_eq!(calibration.baths[suspect.bath].bath.as_deref(), Some("bath-3"));
            named += 1;
        }
        let bath = found.shared_baths.iter().find(|bath| bath.name.starts_with("bath-3")).unwrap();
        assert!((bath.error_sg.value - 0.002).abs() < 0.0015, "{bath:?}");
    }
    assert!(2 * named > probes, "{named} of {probes}");
}

#[test]
fn a_wrong_bath_is_left_out_and_the_curves_are_as_good_as_without_it() {
    let (mut with, mut without) = (0.0, 0.0);
    for seed in 11..17 {
        let (season, hulls) = fleet(5, Wrong { own: 0.0005, fourth: 0.006, ..INDEPENDENT }, seed);
        let mut right = season.clone();
        right.references.retain(|reference| reference.bath.as_deref() != Some("bath-3"));
        let [found, right] = [season, right].map(|season| CalibrationSettings::default().fit(&season).unwrap());
        for calibration in &found.calibrations {
            assert!(calibration.baths.iter().all(|bath| bath.bath.as_deref() != Some("bath-3")), "{calibration}");
            assert!(calibration.remarks.iter().any(|remark| remark.contains("bath-3 does not fit")), "{calibration}");
        }
        with += judged(&found, &hulls).0;
        without += judged(&right, &hulls).0;
    }
    assert!((with / without - 1.0).abs() < 0.01, "{with} {without}");
}

/// The gravity that stands in the row of a probe and a bath.
fn row(season: &mut Season, probe: usize, bath: usize) -> &mut f64 {
    let (probe, bath) = (format!("p{probe}"), format!("bath-{bath}"));
    let mut rows = season.references.iter_mut();
    &mut rows.find(|r| r.probe.as_ref() == Some(&probe) && r.bath.as_ref() == Some(&bath)).unwrap().sg
}

#[test]
fn a_gravity_typed_wrong_for_one_probe_is_left_out_of_its_curve_alone() {
    // Three probes: most rows of the bath say what is right. One: there is no curve with it.
    for (probes, bath, typed) in [(3, 5, 1.008), (3, 2, 1.0225), (1, 5, 1.008)] {
        for seed in 21..25 {
            let (mut season, hulls) = fleet(probes, Wrong { own: 0.0005, ..INDEPENDENT }, seed);
            let right = std::mem::replace(row(&mut season, 0, bath), typed);
            let found = CalibrationSettings::default().fit(&season).unwrap();
            assert_eq!(found.calibrations.len(), probes, "{found}");
            for (number, calibration) in found.calibrations.iter().enumerate() {
                let out = usize::from(number == 0);
                assert_eq!((calibration.left_out.len(), calibration.baths.len()), (out, SGS.len() - out), "{found}");
                assert!(calibration.suspects.is_empty(), "{found}");
            }
            let slip = &of(&found, 0).left_out[0];
            assert_eq!((slip.sg, slip.bath.as_deref()), (typed, Some(format!("bath-{bath}").as_str())));
            assert!((-slip.residual_sg - (typed - right)).abs() < 0.006, "{slip:?}");
            assert!(judged(&found, &hulls).0.sqrt() < 0.003, "{found}");
        }
    }
}

#[test]
fn what_all_baths_share_is_not_averaged_out() {
    let settings = CalibrationSettings::default();
    let (season, _) = fleet(6, Wrong { own: 0.0005, hydrometer: Some(0.0007), ..INDEPENDENT }, 5);
    let found = settings.fit(&season).unwrap();
    let blind = CalibrationSettings {
        common: CommonSettings {
            instruments: InstrumentErrors { hydrometer_bias_sg: 0.0, ..Default::default() },
            ..Default::default()
        },
        ..settings
    }
    .fit(&season)
    .unwrap();
    for number in 0..6 {
        let se = |found: &Calibrations| of(found, number).sg_at(50.0).unwrap().se;
        assert!(se(&found) > 0.0006 && se(&found) > 1.3 * se(&blind), "{} {}", se(&found), se(&blind));
    }
    // The bias is a source that the six curves share.
    let shared = &of(&found, 0).fitted.shared;
    let names: Vec<String> = shared.iter().map(|error| found.source_name(error)).collect();
    assert!(names.iter().any(|name| name == "hydrometer"), "{names:?}");
}

#[test]
fn tap_water_is_water_with_a_doubt() {
    let (mut season, _) = fleet(1, INDEPENDENT, 8);
    let distilled = CalibrationSettings::default().fit(&season).unwrap();
    season.references[0].method = Some("tap_water".into());
    let tap = CalibrationSettings::default().fit(&season).unwrap();
    let sd = |found: &Calibrations| of(found, 0).baths[0].sg_sd;
    assert!((sd(&distilled) - 0.0001).abs() < 1e-12 && (sd(&tap) - 0.0004f64.hypot(0.0001)).abs() < 1e-12);
}

#[test]
fn baths_of_one_name_on_other_days_are_other_baths() {
    let (mut season, _) = fleet(2, INDEPENDENT, 9);
    for reference in season.references.iter_mut().filter(|r| r.probe.as_deref() == Some("p1")) {
        reference.at = Instant::parse("2031-06-01T10:00:00Z").unwrap();
    }
    let found = CalibrationSettings::default().fit(&season).unwrap();
    assert_eq!(found.calibrations.len(), 2);
    assert!(found.shared_baths.is_empty());
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn intervals_of_a_fleet_hold() {
    let settings = CalibrationSettings::default();
    let exact = CalibrationSettings { weighed_gain: 0.0, ..settings.clone() };
    let cases = [
        ("independent baths, SD 0.0005", Wrong { own: 0.0005, ..INDEPENDENT }, &exact),
        ("independent baths, SD 0.001", INDEPENDENT, &exact),
        ("a gain of 0.3 %", Wrong { own: 0.0005, gain: 0.003, ..INDEPENDENT }, &settings),
        ("a hydrometer of 0.0007", Wrong { own: 0.0005, hydrometer: Some(0.0007), ..INDEPENDENT }, &settings),
    ];
    for (what, wrong, settings) in cases {
        let scores = many(6, wrong, 1000..1120, settings);
        scores.print(what);
        let (coverage, se) = scores.coverage();
        assert!((coverage - 0.90).abs() < 0.03 + 2.5 * se, "{what}: {coverage}");
        assert!(scores.together <= scores.alone, "{what}: {scores:?}");
    }
}
