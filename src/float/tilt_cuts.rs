//! A body at one tilt, cut at even steps.

use std::sync::OnceLock;

use super::profile::{Profile, Wet};

/// Steps of the search for the deepest rest, from drowned to dry.
const STEPS: usize = 48;

/// A profile at one tilt, cut by water planes at even steps from drowned to dry. A cut is made when it is first asked for and
/// kept: it is the same for every mass and centre of gravity.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TiltCuts {
    pub tilt_deg: f64,
    /// Heights of the water plane on the axis, falling, m, with what is then under water.
    cuts: Vec<(f64, OnceLock<Wet>)>,
}

impl TiltCuts {
    pub fn new(profile: &Profile, tilt_deg: f64) -> Self {
        let reach = profile.widest_m() * tilt_deg.to_radians().tan();
        let (dry, drowned) = (-reach, profile.length_m() + reach);
        let step = (drowned - dry) / STEPS as f64;
        let heights = std::iter::successors(Some(drowned), |d| Some(d - step)).take(STEPS);
        Self { tilt_deg, cuts: heights.map(|d| (d, OnceLock::new())).collect() }
    }

    /// The cuts of that profile, with their heights.
    pub fn of<'a>(&'a self, profile: &'a Profile) -> impl Iterator<Item = (f64, Wet)> + 'a {
        let t = self.tilt_deg.to_radians().tan();
        self.cuts.iter().map(move |(d, wet)| (*d, *wet.get_or_init(|| profile.wet(*d, t))))
    }
}
