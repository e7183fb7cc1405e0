//! Differences between strains, all at once, and who is first.

use nalgebra::DMatrix;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};

use crate::error::{Error, Result};
use crate::fit::compare::{holm, max_t::MaxT};
use crate::fit::quantile::student_t_upper_tail;
use crate::fit::{Estimate, Finding};
use crate::kinetics::Trait;

use super::model::TraitModel;
use super::power::{MORE, PairNow};
use super::result::{HouseContrast, StrainContrast, StrainPower, Verdict};
use super::scale::Scale;

/// Draws for the probability of a place.
pub(super) const DRAWS: usize = 4000;
pub(super) const SEED: u64 = 1;

/// What is asked of the differences of a trait.
pub(super) struct Asked<'a> {
    pub which: Trait,
    pub scale: Scale,
    pub names: &'a [&'a str],
    /// Batches of each.
    pub n: &'a [usize],
    /// Strains that these were chosen from by their batches.
    pub from: usize,
    pub margin: f64,
    pub level: f64,
    /// Place of the house strain.
    pub house: Option<usize>,
}

impl Asked<'_> {
    /// All pairs, the largest difference first, each on its own degrees of freedom; and the numerical error of the p-values.
    pub fn differences(&self, model: &TraitModel) -> Result<(Vec<StrainContrast>, f64)> {
        let k = self.names.len();
        let pairs: Vec<(usize, usize)> = (0..k).flat_map(|a| (a + 1..k).map(move |b| (a, b))).collect();
        let with_house = |pair: &(usize, usize)| self.house.is_some_and(|house| pair.0 == house || pair.1 == house);
        let family = self.from * (self.from - 1) / 2;
        let law = self.law(model, &pairs, family)?;
        let from_house: Vec<(usize, usize)> = pairs.iter().copied().filter(with_house).collect();
        let house_law = (!from_house.is_empty()).then(|| self.law(model, &from_house, self.from - 1)).transpose()?;
        let how = if model.own.is_some() { "spreads by strain, Satterthwaite" } else { "one spread, Kenward-Roger" };
        let (mut found, mut raw, mut beyond) = (Vec::new(), Vec::new(), Vec::new());
        let mut numerical_error: f64 = 0.0;
        for (a, b) in &pairs {
            let (se, df) = model.se_and_df(&model.difference(*a, *b))?;
            if !(se > 0.0 && df >= 0.1) {
                return Err(Error::not_estimable("differences", "too few batches to tell how large their errors are"));
            }
            let (ma, mb) = (model.mean(*a), model.mean(*b));
            let (value, middle) = (ma - mb, 0.5 * (ma + mb));
            let t = value.abs() / se;
            let by = |law: &MaxT, of: &str| {
                let method = format!("mixed model, {how}, {}{of}", law.name());
                let factor = law.quantile(self.level, df)?;
                let estimate = Estimate::with_factor(value, se, factor, self.level, method);
                Ok::<_, Error>((estimate, law.upper_tail(t, df)?.0, factor))
            };
            let (estimate, p_adjusted, factor) = by(&law, "")?;
            numerical_error = numerical_error.max(law.upper_tail(factor, df)?.1);
            let house = house_law.as_ref().filter(|_| with_house(&(*a, *b)));
            let house = house.map(|law| by(law, ", from the house strain (Dunnett)")).transpose()?;
            let margin = self.scale.model_of(self.margin, middle);
            raw.push(2.0 * student_t_upper_tail(t, df)?);
            beyond.push(student_t_upper_tail((margin - value.abs()) / se, df)?);
            let now = PairNow { n: (self.n[*a], self.n[*b]), se, df, factor };
            let none = StrainContrast::missing(self.which, self.names[*a], self.names[*b], self.margin, "");
            found.push(StrainContrast {
                ratio: (self.scale == Scale::Log).then(|| self.scale.ratio(estimate.clone())),
                difference: Finding::Estimated(self.scale.difference(estimate, middle)),
                p_adjusted: Some(p_adjusted),
                house: house.map(|(e, p, _)| HouseContrast { difference: self.scale.difference(e, middle), p }),
                n: now.n,
                power: Some(StrainPower {
                    now: now.power(margin, 0)?,
                    more_of_each: now.more_of_each(margin)?,
                    found: MORE.map(|more| now.found(more).map_or(f64::NAN, |d| self.scale.own(d, middle))),
                }),
                ..none
            });
        }
        // Those that were not chosen count as no evidence.
        raw.resize(family, 1.0);
        beyond.resize(family, 1.0);
        for ((contrast, p), beyond) in found.iter_mut().zip(holm(&raw)).zip(holm(&beyond)) {
            contrast.p_holm = Some(p);
            contrast.p_equivalent = Some(beyond);
            contrast.verdict = Some(match contrast.p_adjusted {
                _ if beyond < 1.0 - self.level => Verdict::Equivalent,
                Some(p) if p < 1.0 - self.level => Verdict::Different,
                _ => Verdict::Open,
            });
        }
        let size = |pair: &StrainContrast| pair.difference.value().map_or(0.0, f64::abs);
        found.sort_by(|a, b| size(b).total_cmp(&size(a)));
        Ok((found, numerical_error))
    }

    /// The law of the largest t takes one spread for all pairs. With a spread by strain the pairs' t's have denominators of
    /// their own and the largest is larger, so overlap is neglected (Bonferroni), as it is among all pairs where the
    /// strains were chosen by what they showed.
    fn law(&self, model: &TraitModel, pairs: &[(usize, usize)], family: usize) -> Result<MaxT> {
        if model.own.is_some() || self.from > self.names.len() {
            return Ok(MaxT::without_overlap(family));
        }
        let factor = model.factor()?;
        MaxT::new(&DMatrix::from_fn(pairs.len(), factor.ncols(), |i, j| {
            let (a, b) = pairs[i];
            factor[(a, j)] - factor[(b, j)]
        }))
    }
}

/// Probability that a strain has the highest mean, and the lowest: shares of draws from the joint t distribution of the
/// means about what was found, good to 0.01.
pub(super) fn first_and_last(model: &TraitModel) -> Result<Vec<(f64, f64)>> {
    let (means, factor) =
        (nalgebra::DVector::from_fn(model.weights.len(), |strain, _| model.mean(strain)), model.factor()?);
    let df = model.se_and_df(&model.weights[0])?.1.min(1e6);
    let chi = ChiSquared::new(df).map_err(|why| Error::numeric("the order of strains", why.to_string()))?;
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut counts = vec![(0.0, 0.0); means.len()];
    for _ in 0..DRAWS {
        let z = nalgebra::DVector::from_fn(factor.ncols(), |_, _| StandardNormal.sample(&mut rng));
        let wider: f64 = (df / chi.sample(&mut rng)).sqrt();
        let drawn = &means + &factor * z * wider;
        counts[drawn.imax()].0 += 1.0 / DRAWS as f64;
        counts[drawn.imin()].1 += 1.0 / DRAWS as f64;
    }
    Ok(counts)
}
