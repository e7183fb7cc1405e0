use crate::liquid::{
    hydrometer_sg, hydrometer_sg_in_beer, plato_from_sg, refractometer_sg, sg_from_plato, sucrose_bath_density_kg_m3,
    water_density_kg_m3,
};

/// What the table between density and SG states.
const TABLE: f64 = 1e-9;

#[test]
fn at_its_own_temperature_a_20_c_hydrometer_is_right() {
    for raw in [0.99, 1.0, 1.012, 1.05, 1.11] {
        assert!((hydrometer_sg(raw, 20.0, 20.0).unwrap() - raw).abs() < TABLE);
        assert!((hydrometer_sg_in_beer(raw, 1.12, 20.0, 20.0).unwrap() - raw).abs() < TABLE);
    }
}

#[test]
fn in_water_of_any_heat_the_corrected_reading_is_one() {
    // What an ideal hydrometer of this scale shows in water: its mass over its volume at that heat.
    for scale in [15.0, 15.56, 20.0] {
        for t in [4.0, 10.0, 25.0, 38.0] {
            let water = |t| water_density_kg_m3(t).unwrap();
            let shown = water(t) / water(scale) * (1.0 + 25e-6 * (t - scale));
            let sg = hydrometer_sg(shown, t, scale).unwrap();
            assert!((sg - 1.0).abs() < TABLE, "{scale} {t}: {sg}");
        }
    }
}

#[test]
fn a_warm_sample_reads_low_by_the_usual_amount() {
    // Handbook rule of thumb for worts near 12 °P (from memory): 0.0010 to 0.0014 from 20 to 25 C, 0.0023 to 0.0030 to 30 C.
    let added = |t| hydrometer_sg(1.048, t, 20.0).unwrap() - 1.048;
    assert!((0.0010..0.0014).contains(&added(25.0)), "{}", added(25.0));
    assert!((0.0023..0.0030).contains(&added(30.0)), "{}", added(30.0));
    assert!((-0.0022..-0.0014).contains(&added(10.0)), "{}", added(10.0));
}

#[test]
fn a_15_c_scale_and_a_20_c_scale_agree_on_one_wort() {
    let sg = sg_from_plato(12.0).unwrap();
    let density = |t| sucrose_bath_density_kg_m3(sg, t).unwrap();
    let shown = density(15.0) / water_density_kg_m3(15.0).unwrap();
    assert!((hydrometer_sg(shown, 15.0, 15.0).unwrap() - sg).abs() < TABLE);
    assert!((1e-5..3e-4).contains(&(shown - sg)), "15/15 differs a little from 20/20: {shown} {sg}");
}

#[test]
fn a_refractometer_starts_at_the_wort_and_ends_where_alcohol_explains_the_rest() {
    let og = sg_from_plato(12.0).unwrap();
    assert!((refractometer_sg(12.0 * 1.02, og).unwrap() - og).abs() < 1e-9);
    // A 12 °P wort that ends at about 2.5 °P apparent (SG 1.010) shows about half its Brix.
    let sg = refractometer_sg(6.1, og).unwrap();
    assert!((1.006..1.014).contains(&sg), "{sg} {}", plato_from_sg(sg).unwrap());
    let mut last = 0.0;
    for step in 0..40 {
        let sg = refractometer_sg(3.2 + 0.25 * f64::from(step), og).unwrap();
        assert!(sg > last, "SG rises with the reading");
        last = sg;
    }
    for raw in [-1.0, 1.0, 45.0, f64::NAN] {
        assert!(refractometer_sg(raw, og).is_err(), "{raw}");
    }
}
