//! What is known from other times of the errors of a batch's probes.

/// A gravity that a probe reads in a batch, at which its error is stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorKnot {
    /// The probe, as an index into the series' probes.
    pub probe: u32,
    /// SG as read.
    pub sg: f64,
}

/// Errors of a batch's probes (reading minus true SG: the curve's error, the drift since, what beer and this immersion
/// add), as a joint normal distribution at one or two gravities of each probe. It rests on no sample of the batch, so that
/// the batch's own samples can be held against the probes without being used twice. Probes that were checked in the same
/// baths, or by the same instrument, have errors that go together.
///
/// The error of a probe is that of the middle of its time in the batch: how it drifts within the batch is not told apart
/// from a slow end of the fermentation. Where a probe shifts at a known time within the batch it is that before, and the shift
/// a step of unknown size.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownErrors {
    /// The gravities, by probe, falling.
    pub knots: Vec<ErrorKnot>,
    /// Expected errors there, SG.
    pub mean_sg: Vec<f64>,
    /// Their covariance, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Sudden shifts of the probes within the batch.
    pub(crate) steps: Vec<ErrorStep>,
    /// Instruments of the batch's samples whose bias other times tell. Mean and covariance hold their biases after the errors of
    /// the probes, in this order.
    pub(crate) instruments: Vec<KnownInstrument>,
}

/// An instrument whose bias baths and the samples of other batches tell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct KnownInstrument {
    /// Its name, as samples have it.
    pub name: String,
    /// SD of its bias as far as nothing is known of it, SG.
    pub prior_sd_sg: f64,
}

/// A sudden shift of a probe within a batch, of unknown size: what it reads afterwards is off by N(0, `sd_sg`^2) more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ErrorStep {
    /// Index into the series' probes.
    pub probe: u32,
    /// Hours from pitching.
    pub hours: f64,
    pub sd_sg: f64,
}

/// A moment at which something may have moved a batch's probes for good.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disturbance {
    /// Hours from pitching.
    pub hours: f64,
    /// Index into the series' probes of the one probe that it moved; none: each probe for itself.
    pub probe: Option<u32>,
    /// By how much that probe was seen to jump then, SG; 0 where only what was done is known.
    pub jump_sg: f64,
}

impl KnownErrors {
    /// Errors at these gravities, with their covariance, of probes that do not shift within the batch.
    pub fn new(knots: Vec<ErrorKnot>, mean_sg: Vec<f64>, covariance: Vec<Vec<f64>>) -> Self {
        Self { knots, mean_sg, covariance, steps: Vec::new(), instruments: Vec::new() }
    }

    /// The place of an instrument's bias in mean and covariance, and its SD as far as nothing is known of it, SG.
    pub(crate) fn instrument(&self, name: &str) -> Option<(usize, f64)> {
        let place = self.instruments.iter().position(|of| of.name == name)?;
        Some((self.knots.len() + place, self.instruments.get(place)?.prior_sd_sg))
    }

    /// The gravities between which one lies, with their weights: the error goes in a straight line with the gravity
    /// between the two of a probe, and stays beyond them. Empty for a probe without any.
    pub fn weights(&self, probe: u32, sg: f64) -> Vec<(usize, f64)> {
        let mut of_probe = self.knots.iter().enumerate().filter(|(_, knot)| knot.probe == probe);
        match (of_probe.next(), of_probe.next()) {
            (Some((i, a)), Some((j, b))) => {
                let share = ((a.sg - sg) / (a.sg - b.sg).max(1e-9)).clamp(0.0, 1.0);
                vec![(i, 1.0 - share), (j, share)]
            }
            (Some((i, _)), None) => vec![(i, 1.0)],
            (None, _) => Vec::new(),
        }
    }

    /// Mean and variance of the error of one reading, SG.
    pub fn at(&self, probe: u32, sg: f64) -> (f64, f64) {
        let weights = self.weights(probe, sg);
        let mean = |k: usize| self.mean_sg.get(k).copied().unwrap_or(0.0);
        let between = |i: usize, j: usize| self.covariance.get(i).and_then(|row| row.get(j)).copied().unwrap_or(0.0);
        let variance =
            weights.iter().flat_map(|(i, a)| weights.iter().map(move |(j, b)| a * b * between(*i, *j))).sum();
        (weights.iter().map(|(k, w)| w * mean(*k)).sum(), variance)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_goes_with_the_gravity() {
        let knot = |probe, sg| ErrorKnot { probe, sg };
        let known = KnownErrors::new(
            vec![knot(1, 1.050), knot(1, 1.010), knot(2, 1.030)],
            vec![0.001, 0.003, 0.007],
            vec![vec![4e-6, 1e-6, 0.0], vec![1e-6, 1e-6, 0.0], vec![0.0, 0.0, 9e-6]],
        );
        let close = |(mean, variance): (f64, f64), wanted: (f64, f64)| {
            assert!((mean - wanted.0).abs() < 1e-12 && (variance - wanted.1).abs() < 1e-18, "{mean} {variance}");
        };
        close(known.at(1, 1.020), (0.0025, 0.0625 * 4e-6 + 0.5625e-6 + 2.0 * 0.1875e-6));
        close(known.at(1, 1.060), (0.001, 4e-6));
        close(known.at(1, 1.000), (0.003, 1e-6));
        close(known.at(2, 1.010), (0.007, 9e-6));
        close(known.at(0, 1.020), (0.0, 0.0));
    }
}
