//! Sessions: baths of one probe that belong together, and whether they define a curve.

use super::*;

fn bath(hours: f64, sg: f64, use_as: Option<ReferenceUse>) -> Immersion {
    Immersion {
        reference: 0,
        at: Instant::from_micros(0).plus_hours(hours),
        bath: None,
        water: (sg - 1.0).abs() < 1e-9,
        sg,
        sg_sd: 0.0005,
        temp_c: 20.0,
        tilt_deg: 25.0 + 500.0 * (sg - 1.0),
        tilt_sd_deg: 0.2,
        use_as,
    }
}

/// How many baths define a curve, or why none do.
fn role(baths: &[Immersion]) -> Result<usize, String> {
    match (BathSession { probe: "knot".into(), immersions: baths.to_vec(), provisional: false }).role() {
        Role::Defines(used) => Ok(used.len()),
        Role::Check(why) => Err(why),
    }
}

#[test]
fn water_and_three_others_define_and_less_is_a_check() {
    let all = [1.0, 1.02, 1.04, 1.06].map(|sg| bath(0.0, sg, None));
    assert_eq!(role(&all), Ok(4));
    assert_eq!(role(&all[..3]), Err("water and 2 other gravities; a calibration needs water and 3".into()));
    assert!(role(&all[1..]).is_err());
}

#[test]
fn one_gravity_four_times_is_one_gravity() {
    let mut baths: Vec<Immersion> = (0..4).map(|i| bath(0.0, 1.04 + 0.0001 * f64::from(i), None)).collect();
    baths.push(bath(0.0, 1.0, None));
    assert!(role(&baths).is_err());
}

#[test]
fn use_overrides_both_ways() {
    let forced = [bath(0.0, 1.02, Some(ReferenceUse::Calibrate)), bath(1.0, 1.05, None)];
    assert_eq!(role(&forced), Ok(2));
    assert!(role(&[1.0, 1.02, 1.04, 1.06].map(|sg| bath(0.0, sg, Some(ReferenceUse::Check)))).is_err());
}

#[test]
fn baths_without_a_name_are_replicates_by_gravity() {
    let baths = [bath(0.0, 1.0, None), bath(1.0, 1.02, None), bath(2.0, 1.0, None)];
    let [a, b, c] = &baths;
    assert_eq!(replicates(&[a, b, c]), vec![vec![a, c], vec![b]]);
}
