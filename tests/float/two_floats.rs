use crate::float::{End, Hull, Shape, WallSided};

use super::density;
use crate::liquid::published_values::{number, table};

const WATER: f64 = 998.2;

/// Shape, mass, offset and height of the centre of gravity of float A or B.
fn float(name: &str) -> (Shape, f64, f64, f64) {
    let (length, mass, e, z) =
        if name == "A" { (0.140, 0.100, 0.00144, 0.05295) } else { (0.130, 0.110, 0.00196, 0.05667) };
    (Shape::new(0.018, length, End::Hemisphere, End::Flat).unwrap(), mass, e, z)
}

/// The hull that rests at 25 degrees in water and 65 degrees at SG 1.100: the centre of gravity to all its digits.
fn hull(name: &str) -> Hull {
    let (shape, mass, ..) = float(name);
    Hull::through(shape.profile(), mass, [(25.0, WATER), (65.0, 1.1 * WATER)]).unwrap()
}

/// The closed form of a float with a hemisphere for a bottom.
fn wall_sided(shape: &Shape, mass: f64, e: f64, z: f64) -> WallSided {
    let r = shape.radius_m();
    let k_kg_m3 = mass / (std::f64::consts::PI * r.powi(3));
    WallSided { k_kg_m3, h: (z - r / 3.0) / r, eps: e / r, kappa: End::Hemisphere.kappa(r) }
}

/// Whether the water plane lies between the hemisphere and the flat top.
fn wall_alone_is_cut(shape: &Shape, hull: &Hull, tilt_deg: f64) -> bool {
    let (r, reach) = (shape.radius_m(), shape.radius_m() * tilt_deg.to_radians().tan());
    hull.rest(tilt_deg).is_ok_and(|at| at.waterline_m - reach >= r && at.waterline_m + reach <= shape.length_m())
}

#[test]
fn the_centre_of_gravity_of_two_target_tilts_is_that_of_the_table() {
    for name in ["A", "B"] {
        let (shape, mass, e, z) = float(name);
        let hull = hull(name);
        assert!((hull.cg_offset_m - e).abs() < 5e-6 && (hull.cg_height_m - z).abs() < 5e-6, "{name}: {hull:?}");
        let wall = wall_sided(&shape, mass, hull.cg_offset_m, hull.cg_height_m);
        let (k, h, eps) = if name == "A" { (5458.0, 2.609, 0.0797) } else { (6004.0, 2.815, 0.1089) };
        assert!(
            (wall.k_kg_m3 - k).abs() < 0.5 && (wall.h - h).abs() < 5e-4 && (wall.eps - eps).abs() < 5e-4,
            "{wall:?}"
        );
    }
}

#[test]
fn tilts_are_those_of_the_table() {
    for row in table("two_floats") {
        let name = row["float"].as_str();
        let (hull, sg) = (hull(name), number(&row, "sg").unwrap());
        let tilt = hull.tilt_deg(sg * WATER).unwrap();
        let wanted = number(&row, "tilt_deg").unwrap();
        assert!((tilt - wanted).abs() <= 0.051, "{name} at {sg}: {tilt}, wanted {wanted}");
        let per_0010 = 0.010 * WATER / hull.gradient(tilt).unwrap().by_tilt_deg;
        let wanted = number(&row, "deg_per_0010").unwrap();
        assert!((per_0010 - wanted).abs() <= 0.06, "{name} at {sg}: {per_0010}, wanted {wanted}");
        if let Some(wanted) = number(&row, "wall_sided_error_sg") {
            let (shape, mass, ..) = float(name);
            let wall = wall_sided(&shape, mass, hull.cg_offset_m, hull.cg_height_m);
            let error = density(&wall, tilt).unwrap() / WATER - sg;
            assert!((error - wanted).abs() <= 6e-5, "{name} at {sg}: {error}, wanted {wanted}");
        }
    }
}

#[test]
fn changes_of_a_float_shift_its_reading_as_the_table_says() {
    for row in table("float_shifts") {
        let name = row["float"].as_str();
        let old = hull(name);
        let add = |grams: f64, x: f64, z: f64| {
            let (m, dm) = (old.mass_kg, grams * 1e-3);
            let mean = |at: f64, new: f64| (m * at + dm * new) / (m + dm);
            Hull {
                mass_kg: m + dm,
                cg_offset_m: mean(old.cg_offset_m, x),
                cg_height_m: mean(old.cg_height_m, z),
                ..old.clone()
            }
        };
        let (new, zero) = match row["change"].as_str() {
            "mass_1g_at_cg" => (add(1.0, old.cg_offset_m, old.cg_height_m), 0.0),
            "mass_1g_at_nose" => (add(1.0, 0.0, 0.005), 0.0),
            "mass_1g_at_cell" => (add(1.0, 0.002, 0.045), 0.0),
            "mass_1g_foam_ring" => (add(1.0, 0.0, 0.110), 0.0),
            "cg_up_0.1mm" => (Hull { cg_height_m: old.cg_height_m + 1e-4, ..old.clone() }, 0.0),
            "cg_across_0.1mm" => (Hull { cg_offset_m: old.cg_offset_m + 1e-4, ..old.clone() }, 0.0),
            "sensor_zero_1deg" => (old.clone(), 1.0),
            other => panic!("{other}"),
        };
        for (sg, column) in [(1.010, "error_at_1010_sg"), (1.050, "error_at_1050_sg")] {
            let shown = old.density_kg_m3(new.tilt_deg(sg * WATER).unwrap() + zero).unwrap() / WATER - sg;
            let wanted = number(&row, column).unwrap();
            assert!((shown - wanted).abs() <= 1.01e-4, "{row:?} at {sg}: {shown}");
        }
    }
}

#[test]
fn where_only_the_wall_is_cut_both_forms_are_one() {
    for name in ["A", "B"] {
        let (shape, mass, ..) = float(name);
        let hull = hull(name);
        let wall = wall_sided(&shape, mass, hull.cg_offset_m, hull.cg_height_m);
        let mut compared = 0;
        for tilt in 5..85 {
            let tilt = f64::from(tilt);
            let Ok(found) = density(&wall, tilt) else { continue };
            if wall_alone_is_cut(&shape, &hull, tilt) {
                compared += 1;
                let (w, h) = (wall.gradient(tilt).unwrap(), hull.gradient(tilt).unwrap());
                let r = shape.radius_m();
                assert!((h.density_kg_m3 / found - 1.0).abs() < 1e-11, "{name} {tilt}: {} {found}", h.density_kg_m3);
                assert!((h.by_tilt_deg / w.by_tilt_deg - 1.0).abs() < 1e-8, "{name} {tilt}: {h:?} {w:?}");
                assert!((h.by_cg_offset_m * r / w.by_eps - 1.0).abs() < 1e-8, "{name} {tilt}");
                assert!((h.by_cg_height_m * r / w.by_h - 1.0).abs() < 1e-8, "{name} {tilt}");
                assert!((h.by_mass_kg * mass / found - 1.0).abs() < 1e-8, "{name} {tilt}");
            }
        }
        assert!(compared >= if name == "A" { 50 } else { 25 }, "{name}: {compared} tilts");
    }
}

#[test]
fn a_good_probe_rests_at_25_degrees_in_water() {
    // Common practice of the trade, no source: 25 degrees, 5 either way.
    for name in ["A", "B"] {
        let (shape, mass, e, z) = float(name);
        let tilt = Hull::new(shape.profile(), mass, e, z).tilt_deg(WATER).unwrap();
        assert!((20.0..=30.0).contains(&tilt), "{name}: {tilt}");
    }
}

#[test]
fn a_wrong_bottom_constant_biases_sg_as_the_note_says() {
    // With hull and centre of gravity known, 1/4 in place of 2/9 for a hemisphere: +0.0016 to +0.0027.
    for name in ["A", "B"] {
        let (shape, mass, e, z) = float(name);
        let right = wall_sided(&shape, mass, e, z);
        let wrong = WallSided { kappa: 0.25, ..right };
        for tilt in [27.0, 45.0] {
            let bias = (density(&wrong, tilt).unwrap() - density(&right, tilt).unwrap()) / WATER;
            assert!((0.0015..0.0028).contains(&bias), "{name} {tilt}: {bias}");
        }
    }
}
