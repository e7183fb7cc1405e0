use crate::float::{End, Hull, Piece, Profile, Shape};
use proptest::prelude::*;

/// A probe as it is built: a rounded nose, a slight taper, a shoulder, a neck with a rounded top.
fn necked(radius: f64, taper: f64, body: f64, neck: f64) -> Profile {
    let upper = radius * (1.0 - taper);
    Profile::new([
        Piece::Nose { radius_m: radius, length_m: 0.8 * radius },
        Piece::Cylinder { radius_m: radius, length_m: 0.4 * body },
        Piece::Cone { bottom_radius_m: radius, top_radius_m: upper, length_m: 0.6 * body },
        Piece::Cone { bottom_radius_m: upper, top_radius_m: 0.7 * upper, length_m: 0.3 * radius },
        Piece::Cylinder { radius_m: 0.7 * upper, length_m: neck },
        Piece::Cap { radius_m: 0.7 * upper, length_m: 0.2 * radius },
    ])
    .unwrap()
}

/// A probe that rests at the given tilts in water and at SG 1.100, with a meniscus or without.
fn probe(radius: f64, taper: f64, neck: f64, fill: f64, water_deg: f64, strong_deg: f64) -> Option<Hull> {
    let profile = necked(radius, taper, 0.09, neck);
    let mass = fill * 998.2 * profile.volume_m3();
    Hull::through(profile, mass, [(water_deg, 998.2), (strong_deg, 1098.0)]).ok()
}

/// A case that no float answers to; too many of them fail the test.
fn reject() -> Result<(), TestCaseError> {
    Err(TestCaseError::reject("no such float"))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn tilt_and_density_undo_each_other_and_density_rises(
        radius in 0.015..0.022f64, taper in 0.0..0.05f64, neck in 0.01..0.03f64, fill in 0.75..0.88f64,
        water in 20.0..30.0f64, strong in 55.0..70.0f64, meniscus in 0.0..0.0008f64,
    ) {
        let Some(hull) = probe(radius, taper, neck, fill, water, strong) else { return reject() };
        let hull = Hull { meniscus_kg: meniscus, ..hull };
        let mut before = 0.0;
        for step in 0..=13 {
            let density = 990.0 + 8.0 * f64::from(step);
            let Ok(tilt) = hull.tilt_deg(density) else { continue };
            prop_assert!(tilt > before, "tilt rises with density: {before} {tilt}");
            before = tilt;
            let back = hull.gradient(tilt).unwrap();
            prop_assert!((back.density_kg_m3 - density).abs() < 1e-7, "{tilt} in {density}: {}", back.density_kg_m3);
            let by = |plus: Hull, minus: Hull, step: f64| {
                (plus.density_kg_m3(tilt).unwrap() - minus.density_kg_m3(tilt).unwrap()) / (2.0 * step)
            };
            let h = 1e-8;
            let across = |x: f64| Hull { cg_offset_m: hull.cg_offset_m + x, ..hull.clone() };
            let up = |x: f64| Hull { cg_height_m: hull.cg_height_m + x, ..hull.clone() };
            let heavier = |x: f64| Hull { mass_kg: hull.mass_kg + x, ..hull.clone() };
            let tilted = (hull.density_kg_m3(tilt + 1e-4).unwrap() - hull.density_kg_m3(tilt - 1e-4).unwrap()) / 2e-4;
            for (name, got, wanted) in [
                ("offset", back.by_cg_offset_m, by(across(h), across(-h), h)),
                ("height", back.by_cg_height_m, by(up(h), up(-h), h)),
                ("mass", back.by_mass_kg, by(heavier(h), heavier(-h), h)),
                ("tilt", back.by_tilt_deg, tilted),
            ] {
                prop_assert!((got / wanted - 1.0).abs() < 1e-3, "{name} at {tilt}: {got} {wanted}");
            }
        }
        prop_assert!(before > 0.0, "it rests somewhere");
    }

    #[test]
    fn rests_lie_on_a_straight_line(
        radius in 0.015..0.022f64, taper in 0.0..0.05f64, fill in 0.75..0.88f64, tilt in 15.0..70.0f64,
    ) {
        let Some(hull) = probe(radius, taper, 0.02, fill, 25.0, 65.0) else { return reject() };
        let Ok(density) = hull.density_kg_m3(tilt) else { return reject() };
        let (t, y) = Hull::line_point(&hull.profile, hull.mass_kg, tilt, density).unwrap();
        prop_assert!((y - hull.cg_offset_m - hull.cg_height_m * t).abs() < 1e-12);
    }

    #[test]
    fn nothing_panics_and_no_silent_nan(
        m in any::<f64>(), e in any::<f64>(), z in any::<f64>(), s in any::<f64>(), tilt in any::<f64>(), rho in any::<f64>(),
    ) {
        let profile = necked(0.018, 0.02, 0.09, 0.02);
        for hull in [
            Hull { profile: profile.clone(), mass_kg: m, cg_offset_m: e, cg_height_m: z, meniscus_kg: s },
            Hull::new(profile.clone(), 0.1, 0.0015, z),
            Hull::new(profile.clone(), 0.1, e, 0.05),
            Hull::new(profile, 0.1, 0.0015, 0.05),
        ] {
            for result in [hull.density_kg_m3(tilt), hull.tilt_deg(rho), hull.density_kg_m3(40.0), hull.tilt_deg(1040.0)] {
                prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
            }
        }
    }
}

#[test]
fn what_is_under_water_is_what_a_count_of_points_says() {
    // A dome on top, under water at the two steeper tilts; counted on a grid, apart from any slice formula.
    let shape = Shape::new(0.018, 0.13, End::Hemisphere, End::SemiEllipsoid { height_m: 0.012 }).unwrap();
    let hull = Hull::new(shape.profile(), 0.108, 0.0016, 0.052);
    for tilt in [30.0, 55.0, 65.0] {
        let rest = hull.rest(tilt).unwrap();
        let t = f64::to_radians(tilt).tan();
        let (n, cell) = (120, 0.036 / 120.0);
        let (slices, height) = (400, 0.13 / 400.0);
        let (mut count, mut sum_x, mut sum_z) = (0.0, 0.0, 0.0);
        for k in 0..slices {
            let z = (f64::from(k) + 0.5) * height;
            let radius = hull.profile.radius_m(z);
            for (i, j) in (0..n).flat_map(|i| (0..n).map(move |j| (i, j))) {
                let (x, y) = ((f64::from(i) + 0.5) * cell - 0.018, (f64::from(j) + 0.5) * cell - 0.018);
                if x * x + y * y <= radius * radius && z <= rest.waterline_m + x * t {
                    count += 1.0;
                    sum_x += x;
                    sum_z += z;
                }
            }
        }
        let volume = count * cell * cell * height;
        assert!((volume / rest.volume_m3 - 1.0).abs() < 1e-3, "{tilt}: {volume} {}", rest.volume_m3);
        assert!((sum_x / count - rest.buoyancy_offset_m).abs() < 5e-6, "{tilt}: {} {rest:?}", sum_x / count);
        assert!((sum_z / count - rest.buoyancy_height_m).abs() < 5e-5, "{tilt}: {} {rest:?}", sum_z / count);
        let mass = rest.density_kg_m3 * rest.volume_m3;
        assert!((mass - 0.108).abs() < 1e-12, "Archimedes");
        let upright = (rest.buoyancy_offset_m - 0.0016) + t * (rest.buoyancy_height_m - 0.052);
        assert!(upright.abs() < 1e-12, "one vertical");
    }
}

#[test]
fn volumes_are_those_of_the_handbook() {
    use std::f64::consts::PI;
    let (r, l) = (0.018f64, 0.1f64);
    let ball =
        Profile::new([Piece::Nose { radius_m: r, length_m: r }, Piece::Cap { radius_m: r, length_m: r }]).unwrap();
    assert!((ball.volume_m3() / (4.0 / 3.0 * PI * r.powi(3)) - 1.0).abs() < 1e-12);
    let cone = Profile::new([Piece::Cone { bottom_radius_m: r, top_radius_m: 0.0, length_m: l }]).unwrap();
    assert!((cone.volume_m3() / (PI * r * r * l / 3.0) - 1.0).abs() < 1e-12);
    let shape = Shape::new(r, l, End::Flat, End::SemiEllipsoid { height_m: 0.01 }).unwrap();
    assert!((shape.profile().volume_m3() / (PI * r * r * (0.09 + 0.02 / 3.0)) - 1.0).abs() < 1e-12);
}

#[test]
fn what_cannot_be_is_refused_in_words() {
    assert!(Profile::new([]).is_err());
    assert!(Profile::new([Piece::Cylinder { radius_m: f64::NAN, length_m: 0.1 }]).is_err());
    assert!(Profile::new([Piece::Cylinder { radius_m: 0.01, length_m: 0.0 }]).is_err());
    let profile = necked(0.018, 0.0, 0.09, 0.02);
    let hull = Hull::new(profile.clone(), 0.100, 0.0015, 0.05);
    assert!(hull.tilt_deg(700.0).unwrap_err().to_string().contains("density"), "it sinks");
    assert!(hull.density_kg_m3(0.5).unwrap_err().to_string().contains("under water"));
    let top_heavy = Hull::new(profile.clone(), 0.100, 0.0015, 0.09);
    assert!(top_heavy.density_kg_m3(25.0).is_err());
    assert!(Hull::through(profile.clone(), 0.1, [(25.0, 998.0), (25.0, 998.0)]).is_err(), "one rest is not two");
    assert!(Hull::through(profile, 0.1, [(65.0, 998.0), (25.0, 1098.0)]).is_err(), "tilts that fall as SG rises");
}
