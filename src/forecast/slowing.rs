//! What the last gravities of a batch say of its rest: a fall that has died away is not far from it.

assumed! {
    /// A fall differs from that of a batch that dies away evenly to its rest by this share of itself, SD.
    const UNEVEN: f64 = 0.4, "share";
    /// Least weight of a way to come to rest that the fall speaks against.
    const LEAST_WEIGHT: f64 = 0.05, "-";
}

/// A fall between two moments past the middle of the drop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Slowing {
    /// Hours from pitching.
    pub from_h: f64,
    pub to_h: f64,
    /// SG, with its standard error.
    pub fell_sg: f64,
    pub se_sg: f64,
}

impl Slowing {
    /// How well it goes with a rest at `finish_h`: what is left of a drop is half at `mid_h`, dies away evenly, and is the
    /// tolerance at the rest.
    pub fn weight(&self, drop_sg: f64, mid_h: f64, finish_h: f64, tolerance_sg: f64) -> f64 {
        if self.from_h < mid_h || drop_sg <= 2.5 * tolerance_sg {
            return 1.0;
        }
        let per_h = (drop_sg / (2.0 * tolerance_sg)).ln() / (finish_h - mid_h).max(1.0);
        let left = |h: f64| 0.5 * drop_sg * (-(h - mid_h) * per_h).exp();
        let off = self.fell_sg - (left(self.from_h) - left(self.to_h));
        let sd = self.se_sg.hypot(*UNEVEN * self.fell_sg);
        (-0.5 * (off / sd).powi(2)).exp().max(*LEAST_WEIGHT)
    }
}
