//! Yeast that stays, or that left at some share of the drop, each with its probability.

use crate::error::Result;
use crate::kinetics::population::PopulationPrior;

use super::coordinates::attenuation;
use super::draws::Alternative;
use super::posterior::{BatchAsKnown, Posterior};
use super::stuck::{self, Leaving};
use super::tail::Tail;

/// Parts of the range of the drop in which yeast leaves.
const CELLS: usize = 6;
/// Hours of readings since then from which on they may show it.
const LEAST_H: f64 = 6.0;
/// The most that probes alone say of a rest, ready or stuck, without a sample taken since the fall has slowed.
pub(super) const BY_PROBES: f64 = 0.8;

/// The posteriors of a batch whose yeast is there, and of one whose yeast left as its drop passed each of some shares, with their
/// probabilities. Where no batch has been seen coming to rest, nothing tells yeast that leaves from a curve that slows down.
pub(super) fn mixture(own: &mut BatchAsKnown, prior: &PopulationPrior, strain: &Tail) -> Result<Vec<Alternative>> {
    let plain = own.posterior(prior, true)?;
    let drop_sg = attenuation(prior.mean[0]) * (own.original_sg - 1.0);
    let (from, to) = (*stuck::LEAVES_FROM, *stuck::LEAVES_TO);
    let width = (to - from) / CELLS as f64;
    let (last_h, last_drop_sg, _) = own.last_by(f64::INFINITY).unwrap_or_default();
    let (mut found, mut passed) = (Vec::new(), 0.0);
    for cell in 0..if strain.seen > 0 { CELLS } else { 0 } {
        let share = from + width * (cell as f64 + 0.5);
        let (Some(before_h), Some(at_h)) = (own.fallen_h((share - width) * drop_sg), own.fallen_h(share * drop_sg))
        else {
            break;
        };
        if at_h + LEAST_H > last_h {
            break;
        }
        passed += 1.0;
        let left = Leaving { at_h };
        let rate = width * drop_sg / (at_h - before_h).max(1.0);
        if left.possible(last_h, rate, last_drop_sg - share * drop_sg) {
            found.extend(own.leaving(left).posterior(prior, true).ok().map(|posterior| (left, posterior)));
        }
    }
    let each = strain.stuck_share / CELLS as f64;
    let odds = |posterior: &Posterior| each * (posterior.ln_evidence - plain.ln_evidence).clamp(-700.0, 700.0).exp();
    let before = each * passed;
    let after = found.iter().map(|(_, posterior)| odds(posterior)).sum::<f64>();
    let counted = if after > before { (after / before).powf(*stuck::EVIDENCE - 1.0) } else { 1.0 };
    let stays = 1.0 - before;
    let total = stays + counted * after;
    let mut all = vec![];
    for (left, posterior) in found {
        all.push(Alternative { weight: counted * odds(&posterior) / total, posterior, left: Some(left) });
    }
    all.push(Alternative { weight: stays / total, posterior: plain, left: None });
    Ok(all)
}

/// Takes from the alternatives whose yeast left before any sample since what they weigh together beyond [`BY_PROBES`]: a probe
/// that leans looks the same.
pub(super) fn by_probes(mixture: &mut [Alternative], sampled_h: f64) {
    let unseen = |one: &Alternative| one.left.is_some_and(|left| sampled_h < left.end_h());
    let (gone, rest): (f64, f64) = mixture.iter().fold((0.0, 0.0), |(gone, rest), one| match unseen(one) {
        true => (gone + one.weight, rest),
        false => (gone, rest + one.weight),
    });
    if gone > BY_PROBES && rest > 0.0 {
        for one in mixture {
            one.weight *= if unseen(one) { BY_PROBES / gone } else { (1.0 - BY_PROBES) / rest };
        }
    }
}
