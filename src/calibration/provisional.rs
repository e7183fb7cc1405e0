//! Curves from fewer baths than a calibration should have.

use super::plan::BathRecipe;
use super::result::Calibration;
use super::sessions::distinct;

/// Gravities of which the next bath is one, SG.
const NEXT_SG: [f64; 4] = [1.020, 1.040, 1.060, 1.080];

/// Gravities of a calibration: water and three others.
const WANTED: usize = 4;

impl Calibration {
    /// The bath that is still missing, where it rests on fewer gravities than a calibration should: the one farthest from
    /// those that there are.
    pub fn next_bath(&self) -> Option<BathRecipe> {
        let far = |sg: &f64| self.baths.iter().map(|bath| (bath.sg - sg).abs()).fold(f64::INFINITY, f64::min);
        let next = NEXT_SG.into_iter().max_by(|a, b| far(a).total_cmp(&far(b)));
        BathRecipe::new(next.filter(|_| distinct(self.baths.iter().map(|bath| bath.sg)) < WANTED)?).ok()
    }
}
