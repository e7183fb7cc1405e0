use heelwort::float::WallSided;
use proptest::prelude::*;

proptest! {
    #[test]
    fn tilt_and_density_undo_each_other_over_the_whole_range(
        k in 2000.0..12000.0f64, h in 0.1..5.0f64, eps in 0.005..0.5f64, kappa in 0.15..0.25f64, part in 0.001..0.999f64,
    ) {
        let float = WallSided { k_kg_m3: k, h, eps, kappa };
        let highest = float.highest_tilt_deg().unwrap();
        let tilt = part * highest;
        let density = float.density_kg_m3(tilt).unwrap();
        let back = float.tilt_deg(density).unwrap();
        prop_assert!((back - tilt).abs() < 1e-9, "{tilt} of {highest}: {back}");
        let higher = 0.5 * (tilt + highest);
        prop_assert!(float.density_kg_m3(higher).unwrap() > density, "density rises with tilt");
        prop_assert!(float.gradient(tilt).unwrap().by_tilt_deg > 0.0);
        prop_assert!(float.density_kg_m3(highest + 0.1).is_err());
        // The balance itself, as written, not as solved.
        let (u, t) = (k / density, tilt.to_radians().tan());
        prop_assert!((t * (u / 2.0 - h + (kappa + t * t / 8.0) / u) / eps - 1.0).abs() < 1e-8);
    }

    #[test]
    fn nothing_panics_and_no_silent_nan(
        k in any::<f64>(), h in any::<f64>(), eps in any::<f64>(), kappa in any::<f64>(), x in any::<f64>(),
    ) {
        let good = WallSided { k_kg_m3: 5458.0, h: 2.609, eps: 0.0797, kappa: 2.0 / 9.0 };
        for float in [WallSided { k_kg_m3: k, h, eps, kappa }, WallSided { h, ..good }, WallSided { eps, ..good }, good] {
            for result in [
                float.density_kg_m3(x), float.tilt_deg(x), float.density_kg_m3(30.0), float.tilt_deg(1030.0),
                float.highest_tilt_deg(), float.gradient(30.0).map(|g| g.density_kg_m3),
                WallSided::line_point(x, 1000.0, k, kappa).map(|(_, y)| y),
            ] {
                prop_assert!(result.is_err() || result.as_ref().is_ok_and(|v| v.is_finite()), "{float:?} {x} {result:?}");
            }
        }
    }
}
