//! The outside of a simulated probe, and where it cuts the surface.

use crate::error::Result;
use crate::float::{Piece, Profile};

/// Nose, slightly conical body, and for most a shoulder with a neck. All arguments mm.
pub(super) fn hull(radius: f64, length: f64, bottom: f64, taper: f64, neck: Option<(f64, f64)>) -> Result<Profile> {
    let m = 1e-3;
    let mut pieces = vec![Piece::Nose { radius_m: m * radius, length_m: m * bottom }];
    let top = radius + taper;
    let (shoulder, neck_length) = neck.map_or((0.0, 0.0), |(share, high)| (0.6 * top * (1.0 - share) + 2.0, high));
    pieces.push(Piece::Cone {
        bottom_radius_m: m * radius,
        top_radius_m: m * top,
        length_m: m * (length - bottom - shoulder - neck_length),
    });
    if let Some((share, high)) = neck {
        pieces.push(Piece::Cone { bottom_radius_m: m * top, top_radius_m: m * top * share, length_m: m * shoulder });
        pieces.push(Piece::Cylinder { radius_m: m * top * share, length_m: m * high });
    }
    Profile::new(pieces)
}

/// `x_B cos + z_B sin` and `d`, m, of a hull at a tilt with this volume under water.
pub(super) fn lever_and_axis(profile: &Profile, tilt_deg: f64, volume_m3: f64, guess_m: f64) -> [f64; 2] {
    // At exactly 0 the formulas divide by the tangent.
    let t = tilt_deg.max(0.05).to_radians().tan();
    let axis = axis_for_volume(profile, volume_m3, t, guess_m);
    let wet = profile.wet(axis, t);
    [(wet.moment_x + t * wet.moment_z) / wet.volume / (1.0 + t * t).sqrt(), axis]
}

/// Where the plane of slope `t` must cut the axis to wet `volume`: secant steps inside a bracket, by volume alone.
fn axis_for_volume(profile: &Profile, volume: f64, t: f64, guess: f64) -> f64 {
    let reach = profile.length_m() + 2.0 * profile.widest_m() * t;
    let (mut low, mut high) = (-reach, 2.0 * reach);
    let mut at = guess;
    for _ in 0..80 {
        let wet = profile.wet(at, t);
        let excess = wet.volume - volume;
        if excess > 0.0 {
            high = at
        } else {
            low = at
        }
        // dV/dd is the area of the cut seen along the axis: integral of the chord over t.
        let mut next = at - excess / wet.chord;
        if !(next > low && next < high) {
            next = 0.5 * (low + high);
        }
        if (next - at).abs() < 1e-10 {
            return next;
        }
        at = next;
    }
    at
}
