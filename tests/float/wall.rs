use crate::float::WallSided;
use proptest::prelude::*;

use super::density;

proptest! {
    #[test]
    fn a_rest_is_balanced_and_density_rises_with_tilt(
        k in 2000.0..12000.0f64, h in 0.1..5.0f64, eps in 0.005..0.5f64, kappa in 0.15..0.25f64, tilt in 0.1..89.0f64,
    ) {
        let float = WallSided { k_kg_m3: k, h, eps, kappa };
        let Ok(found) = density(&float, tilt) else {
            // It has turned over, and does so all the more beyond.
            prop_assert!(density(&float, 0.5 * (tilt + 90.0)).is_err());
            return Ok(());
        };
        prop_assert!(density(&float, 0.9 * tilt).unwrap() < found, "density rises with tilt");
        prop_assert!(float.gradient(tilt).unwrap().by_tilt_deg > 0.0);
        // The balance itself, as written, not as solved.
        let (u, t) = (k / found, tilt.to_radians().tan());
        prop_assert!((t * (u / 2.0 - h + (kappa + t * t / 8.0) / u) / eps - 1.0).abs() < 1e-8);
    }

    #[test]
    fn nothing_panics_and_no_silent_nan(
        k in any::<f64>(), h in any::<f64>(), eps in any::<f64>(), kappa in any::<f64>(), x in any::<f64>(),
    ) {
        let good = WallSided { k_kg_m3: 5458.0, h: 2.609, eps: 0.0797, kappa: 2.0 / 9.0 };
        for float in [WallSided { k_kg_m3: k, h, eps, kappa }, WallSided { h, ..good }, WallSided { eps, ..good }, good] {
            for result in [
                density(&float, x), density(&float, 30.0),
                WallSided::line_point(x, 1000.0, k, kappa).map(|(_, y)| y),
            ] {
                prop_assert!(result.is_err() || result.as_ref().is_ok_and(|v| v.is_finite()), "{float:?} {x} {result:?}");
            }
        }
    }
}
