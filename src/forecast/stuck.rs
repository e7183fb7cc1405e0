//! Batches that stick: yeast leaves at some share of the drop, and the fall dies within hours.
//!
//! The clock of the curve then runs down: `w(t) = s + d (1 - exp(-(t - s)/d))` from the hour s on, so that the batch comes to
//! rest at the gravity that its curve would have passed at s + d. A share of batches sticks, s evenly over a range of the
//! drop, d as given below (all assumed; no reference). The readings since s say by their likelihood whether and when it has; as
//! a probe that leans or foam may look the same, they never say it for sure before a sample has.
//!
//! A batch whose curve shows no such end may be stuck too, by where it rests. The limit of the wort is known from a
//! forced-ferment test, or only as far as the strain's batches tell, as a normal with mean and standard deviation. A batch that
//! does not stick ends at the limit; one that does ends above it by the tolerated distance and an exponential more. Bayes' rule
//! does the rest.

use crate::fit::quantile::normal_upper_tail;
use crate::kinetics::Tabulated;

assumed! {
    /// Share of batches that stick, where none has ended.
    const SHARE: f64 = 0.05, "share";
    /// Batches that this share is worth.
    const SHARE_WORTH: f64 = 20.0, "batches";
    /// Mean of how much further than tolerated stuck batches end above the limit.
    const MEAN_EXCESS_SG: f64 = 0.008, "SG";
    /// How far the terminal gravity of a batch that does not stick is from its limit, standard deviation.
    pub(super) const AT_LIMIT_SD: f64 = 0.001, "SG";
    /// Yeast that leaves does so from this share of the drop on.
    pub(super) const LEAVES_FROM: f64 = 0.5, "share";
    /// It does so up to this share of the drop.
    pub(super) const LEAVES_TO: f64 = 0.95, "share";
    /// Share of what the readings say for yeast that left, in logarithms, that counts: curves also bend in ways of their own.
    pub(super) const EVIDENCE: f64 = 0.6, "share";
    /// A beer at rest that has attenuated less, by appearance, is unusual: 65 to 85 % is common practice (no source).
    pub(super) const LOW_ATTENUATION: f64 = 0.60, "share";
    /// The rate falls to 1/e in this time when yeast has left.
    const DYING_H: f64 = 8.0, "h";
}

/// The share of batches that stick, from how many have among those that ended.
pub(super) fn share(stuck: usize, ended: usize) -> f64 {
    (*SHARE * *SHARE_WORTH + stuck as f64) / (*SHARE_WORTH + ended as f64)
}

/// Yeast that leaves at an hour from pitching.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Leaving {
    pub at_h: f64,
}

impl Leaving {
    /// Yeast of a batch that has not stuck by `now_h` and will at a place, 0 to 1, in the range; none where that has passed.
    pub fn ahead(curve: &Tabulated, now_h: f64, place: f64) -> Option<Self> {
        let at_h = curve.time_of_progress_h(*LEAVES_FROM + place * (*LEAVES_TO - *LEAVES_FROM));
        (at_h > now_h).then_some(Self { at_h })
    }

    /// Whether a batch that fell at `rate` before has since fallen by no more than a batch whose yeast left may have by `now_h`:
    /// nearer to that than to no change of rate, and within four times of it.
    pub fn possible(self, now_h: f64, rate: f64, fell: f64) -> bool {
        let dying = rate * (self.clock(now_h).0 - self.at_h);
        let steady = rate * (now_h - self.at_h);
        fell <= (0.5 * (dying + steady)).min(4.0 * dying)
    }

    /// The clock of the curve, hours, and its pace.
    pub fn clock(self, hours: f64) -> (f64, f64) {
        let left = (-(hours - self.at_h).max(0.0) / *DYING_H).exp();
        (hours.min(self.at_h) + *DYING_H * (1.0 - left), left)
    }

    /// Where the clock comes to stand.
    pub fn end_h(self) -> f64 {
        self.at_h + *DYING_H
    }

    /// The hour at which the clock shows a time before its end.
    pub fn hours_at(self, clock_h: f64) -> f64 {
        let past = clock_h - self.at_h;
        if past <= 0.0 { clock_h } else { self.at_h - *DYING_H * (1.0 - past / *DYING_H).ln() }
    }

    /// Hour at which a batch comes to rest, and its terminal gravity.
    pub fn rest(self, curve: &Tabulated, tolerance_sg: f64) -> (f64, f64) {
        let terminal_sg = curve.sg(self.end_h());
        let progress = curve.progress(self.end_h()) - tolerance_sg / curve.curve().drop_sg();
        let finish = if progress > 0.0 { self.hours_at(curve.time_of_progress_h(progress)) } else { 0.0 };
        (finish, terminal_sg)
    }
}

/// Probability that a batch with this terminal gravity is stuck, if so large a share is.
pub(super) fn probability(terminal_sg: f64, limit: (f64, f64), stuck_above_sg: f64, share: f64) -> f64 {
    let sd = limit.1.hypot(*AT_LIMIT_SD);
    let at = (terminal_sg - limit.0) / sd;
    let normal = (-0.5 * at * at).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt());
    // A normal plus an exponential: (1/m) exp(s^2 / 2 m^2 - x/m) P(Z < x/s - s/m), x the distance beyond.
    let x = terminal_sg - limit.0 - stuck_above_sg;
    let mean = *MEAN_EXCESS_SG;
    let ratio = sd / mean;
    let stuck = (0.5 * ratio * ratio - x / mean).exp() * normal_upper_tail(ratio - x / sd) / mean;
    let (a, b) = (share * stuck, (1.0 - share) * normal);
    if a + b > 0.0 { a / (a + b) } else { f64::from(u8::from(at > 0.0)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_share_that_sticks_is_learnt() {
        assert!((share(0, 0) - 0.05).abs() < 1e-12 && (share(3, 20) - 0.1).abs() < 1e-12);
    }

    #[test]
    fn a_rest_at_the_limit_is_no_sticking_and_one_far_above_is() {
        let measured = (1.010, 0.0005);
        assert!(probability(1.0101, measured, 0.003, 0.05) < 1e-3);
        assert!(probability(1.0105, measured, 0.003, 0.05) < 0.02);
        assert!(probability(1.018, measured, 0.003, 0.05) > 0.999);
        let vague = (1.012, 0.004);
        assert!((0.01..0.2).contains(&probability(1.016, vague, 0.003, 0.05)));
        assert!(probability(1.035, vague, 0.003, 0.05) > 0.99);
        assert!(probability(0.95, measured, 0.003, 0.05) < 1e-6 && probability(1.2, measured, 0.003, 0.05) > 0.999);
    }
}
