//! Is a batch that came to rest at some gravity stuck?
//!
//! The limit of the wort is known from a forced-ferment test, or only as far as the strain's batches tell, as a normal
//! with mean and standard deviation. A batch that does not stick ends at the limit; one in twenty (assumed; no
//! reference) ends above it by the tolerated distance and an exponential more. Bayes' rule does the rest.

use crate::fit::quantile::normal_upper_tail;

/// Share of batches that stick.
pub(super) const SHARE: f64 = 0.05;
/// Mean of how much further above the limit, SG.
const MEAN_EXCESS_SG: f64 = 0.008;
/// Scatter of batches that do not stick about their limit, SG.
const AT_LIMIT_SD: f64 = 0.001;

/// Probability that a batch with this terminal gravity is stuck.
pub(super) fn probability(terminal_sg: f64, limit: (f64, f64), stuck_above_sg: f64) -> f64 {
    let sd = limit.1.hypot(AT_LIMIT_SD);
    let at = (terminal_sg - limit.0) / sd;
    let normal = (-0.5 * at * at).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt());
    // A normal plus an exponential: (1/m) exp(s^2 / 2 m^2 - x/m) P(Z < x/s - s/m), x the distance beyond.
    let x = terminal_sg - limit.0 - stuck_above_sg;
    let ratio = sd / MEAN_EXCESS_SG;
    let stuck = (0.5 * ratio * ratio - x / MEAN_EXCESS_SG).exp() * normal_upper_tail(ratio - x / sd) / MEAN_EXCESS_SG;
    let (a, b) = (SHARE * stuck, (1.0 - SHARE) * normal);
    if a + b > 0.0 { a / (a + b) } else { f64::from(u8::from(at > 0.0)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rest_at_the_limit_is_no_sticking_and_one_far_above_is() {
        let measured = (1.010, 0.0005);
        assert!(probability(1.0101, measured, 0.003) < 1e-3);
        assert!(probability(1.0105, measured, 0.003) < 0.02);
        assert!(probability(1.018, measured, 0.003) > 0.999);
        let vague = (1.012, 0.004);
        assert!((0.01..0.2).contains(&probability(1.016, vague, 0.003)));
        assert!(probability(1.035, vague, 0.003) > 0.99);
        assert!(probability(0.95, measured, 0.003) < 1e-6 && probability(1.2, measured, 0.003) > 0.999);
    }
}
