//! The wall-sided float: the water plane cuts only the cylinder.

use super::*;

const FLOAT: WallSided = WallSided { k_kg_m3: 5458.0, h: 2.609, eps: 0.0797, kappa: 2.0 / 9.0 };

fn density(float: &WallSided, tilt_deg: f64) -> Result<f64> {
    float.gradient(tilt_deg).map(|at| at.density_kg_m3)
}

#[test]
fn the_gradient_is_that_of_finite_differences() {
    for tilt in [10.0, 25.0, 50.0, 70.0] {
        let g = FLOAT.gradient(tilt).unwrap();
        let by = |step: f64, plus: WallSided, minus: WallSided| {
            (density(&plus, tilt).unwrap() - density(&minus, tilt).unwrap()) / (2.0 * step)
        };
        let moved = |k, h, eps| WallSided { k_kg_m3: FLOAT.k_kg_m3 + k, h: FLOAT.h + h, eps: FLOAT.eps + eps, ..FLOAT };
        let s = 1e-6;
        let tilted = (density(&FLOAT, tilt + s).unwrap() - density(&FLOAT, tilt - s).unwrap()) / (2.0 * s);
        for (name, got, wanted) in [
            ("k", g.by_k, by(1e-3, moved(1e-3, 0.0, 0.0), moved(-1e-3, 0.0, 0.0))),
            ("h", g.by_h, by(s, moved(0.0, s, 0.0), moved(0.0, -s, 0.0))),
            ("eps", g.by_eps, by(s, moved(0.0, 0.0, s), moved(0.0, 0.0, -s))),
            ("tilt", g.by_tilt_deg, tilted),
        ] {
            assert!((got / wanted - 1.0).abs() < 1e-6, "{name} at {tilt}: {got} {wanted}");
        }
    }
}

#[test]
fn what_cannot_rest_is_refused() {
    for tilt in [-5.0, 0.0, 90.0, f64::NAN] {
        assert!(matches!(density(&FLOAT, tilt), Err(Error::Domain { .. })), "{tilt}");
    }
    assert!(density(&FLOAT, 89.9).unwrap_err().to_string().contains("turns over"));
    for wrong in [
        WallSided { eps: 0.0, ..FLOAT },
        WallSided { k_kg_m3: f64::NAN, ..FLOAT },
        WallSided { h: f64::INFINITY, ..FLOAT },
        WallSided { kappa: -1.0, ..FLOAT },
    ] {
        assert!(matches!(density(&wrong, 25.0), Err(Error::Setting { .. })));
    }
}

#[test]
fn the_line_through_two_rests_gives_the_centre_of_gravity() {
    let at = |tilt| WallSided::line_point(tilt, density(&FLOAT, tilt).unwrap(), FLOAT.k_kg_m3, FLOAT.kappa).unwrap();
    let ((t1, y1), (t2, y2)) = (at(25.0), at(65.0));
    let h = (y2 - y1) / (t2 - t1);
    assert!((h - FLOAT.h).abs() < 1e-12 && (y1 - h * t1 - FLOAT.eps).abs() < 1e-12);
}
