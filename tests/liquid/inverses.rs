use crate::liquid::{BeerDensity, beer_density_kg_m3, plato_from_sg, sg_from_plato, sucrose_bath_density_kg_m3};
use proptest::prelude::*;

proptest! {
    #[test]
    fn extract_and_sg_undo_each_other(sg in 0.95..1.20f64) {
        prop_assert!((sg_from_plato(plato_from_sg(sg).unwrap()).unwrap() - sg).abs() < 1e-13);
    }

    #[test]
    fn the_density_of_beer_rises_with_sg(sg in 0.95..1.20f64, og in 1.0..1.20f64, t in -3.0..40.0f64) {
        let density = beer_density_kg_m3(sg, og, t).unwrap();
        let denser = beer_density_kg_m3((sg + 1e-4).min(1.2), og, t).unwrap();
        prop_assert!(sg + 1e-4 > 1.2 || denser > density, "density rises with SG");
    }

    #[test]
    fn the_table_is_the_formula(sg in 0.95..1.20f64, og in 1.0..1.20f64, t in -3.0..40.0f64) {
        let table = BeerDensity::new(og).unwrap();
        let exact = beer_density_kg_m3(sg, og, t).unwrap();
        let (back, slope) = table.sg_and_slope(exact, t).unwrap();
        prop_assert!((back - sg).abs() < 1e-9, "{} SG off", back - sg);
        let step = 1e-3;
        if sg < 1.19 && sg > 0.96 && (sg - og).abs() > 1e-4 {
            let by = (table.sg(exact + step, t).unwrap() - table.sg(exact - step, t).unwrap()) / (2.0 * step);
            prop_assert!((slope / by - 1.0).abs() < 1e-6, "{slope} {by}");
        }
    }

    #[test]
    fn nothing_panics_and_no_silent_nan(a in any::<f64>(), b in any::<f64>(), c in any::<f64>()) {
        for result in [
            beer_density_kg_m3(a, b, c), sucrose_bath_density_kg_m3(a, b), plato_from_sg(a), sg_from_plato(a),
            BeerDensity::new(1.05).unwrap().sg(a, b),
        ] {
            prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
    }
}

#[test]
fn the_unfermented_table_is_the_bath() {
    let table = BeerDensity::unfermented().unwrap();
    for sg in [0.95, 1.0, 1.05, 1.2] {
        for t in [-3.0, 4.0, 20.0, 40.0] {
            let exact = sucrose_bath_density_kg_m3(sg, t).unwrap();
            assert!((table.sg(exact, t).unwrap() - sg).abs() < 1e-9, "{sg} {t}");
        }
    }
}

#[test]
fn the_table_refuses_what_no_beer_has() {
    let table = BeerDensity::new(1.05).unwrap();
    for (density, t) in [
        (900.0, 20.0),
        (948.0, 20.0),
        (1250.0, 20.0),
        (-1.0, 20.0),
        (1000.0, -3.1),
        (1000.0, 41.0),
        (f64::NAN, 20.0),
        (1e300, 20.0),
    ] {
        assert!(table.sg(density, t).is_err(), "{density} {t}");
    }
    assert!(BeerDensity::new(0.99).is_err() && BeerDensity::new(f64::NAN).is_err());
}
