//! Differences between strains, all at once, and who is first.

use nalgebra::DMatrix;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};

use crate::error::{Error, Result};
use crate::fit::compare::{holm::holm, max_t::MaxT};
use crate::fit::quantile::student_t_upper_tail;
use crate::fit::{Estimate, Finding};
use crate::kinetics::Trait;

use super::model::TraitModel;
use super::power::PairNow;
use super::result::{HouseContrast, StrainContrast, StrainPower, Verdict};
use super::scale::Scale;

/// Draws for the probability of being first.
const DRAWS: usize = 4000;
const SEED: u64 = 1;

/// What is asked of the differences of a trait.
pub(super) struct Asked<'a> {
    pub which: Trait,
    pub scale: Scale,
    pub names: &'a [&'a str],
    /// Batches of each.
    pub n: &'a [usize],
    pub margin: f64,
    pub level: f64,
    /// Place of the house strain.
    pub house: Option<usize>,
}

impl Asked<'_> {
    /// All pairs, by the largest of their t's, each on its own degrees of freedom; and the numerical error of the p-values.
    pub fn differences(&self, model: &TraitModel) -> Result<(Vec<StrainContrast>, f64)> {
        let k = self.names.len();
        let pairs: Vec<(usize, usize)> = (0..k).flat_map(|a| (a + 1..k).map(move |b| (a, b))).collect();
        let law = self.law(model, &pairs)?;
        let method = match model.by_strain {
            true => "mixed model, a spread by strain, Kenward-Roger, max-t",
            false => "mixed model, one spread, Kenward-Roger, max-t",
        };
        let (mut found, mut raw, mut beyond) = (Vec::new(), Vec::new(), Vec::new());
        let mut numerical_error: f64 = 0.0;
        for (a, b) in &pairs {
            let weights = model.difference(*a, *b);
            let (se, df) = model.fit.se_and_df(&weights)?;
            if !(se > 0.0 && df >= 0.1) {
                return Err(Error::not_estimable("differences", "the data do not tell how large their errors are"));
            }
            let (ma, mb) = (model.mean(*a), model.mean(*b));
            let (value, middle) = (ma - mb, 0.5 * (ma + mb));
            let t = value.abs() / se;
            let factor = law.quantile(self.level, df)?;
            numerical_error = numerical_error.max(law.upper_tail(factor, df)?.1);
            let estimate = Estimate::with_factor(value, se, factor, self.level, method);
            let margin = self.scale.model_of(self.margin, middle);
            raw.push(2.0 * student_t_upper_tail(t, df)?);
            beyond.push(student_t_upper_tail((margin - value.abs()) / se, df)?);
            let now = PairNow { n: (self.n[*a], self.n[*b]), se, factor };
            let none = StrainContrast::missing(self.which, self.names[*a], self.names[*b], self.margin, "");
            found.push(StrainContrast {
                ratio: (self.scale == Scale::Log).then(|| self.scale.ratio(estimate.clone())),
                difference: Finding::Estimated(self.scale.difference(estimate, middle)),
                p_adjusted: Some(law.upper_tail(t, df)?.0),
                n: now.n,
                power: Some(StrainPower { now: now.power(margin, 0), more_of_each: now.more_of_each(margin) }),
                ..none
            });
        }
        for ((contrast, p), beyond) in found.iter_mut().zip(holm(&raw)).zip(holm(&beyond)) {
            let different = contrast.p_adjusted.is_some_and(|p| p < 1.0 - self.level);
            contrast.p_holm = Some(p);
            contrast.p_equivalent = Some(beyond);
            contrast.verdict = Some(match (different, beyond < 1.0 - self.level) {
                (true, false) => Verdict::Different,
                (true, true) => Verdict::DifferentWithinMargin,
                (false, true) => Verdict::Equivalent,
                (false, false) => Verdict::Open,
            });
        }
        self.against_house(model, &pairs, &mut found)?;
        Ok((found, numerical_error))
    }

    fn against_house(
        &self,
        model: &TraitModel,
        pairs: &[(usize, usize)],
        contrasts: &mut [StrainContrast],
    ) -> Result<()> {
        let Some(house) = self.house else { return Ok(()) };
        let with = |pair: &&(usize, usize)| pair.0 == house || pair.1 == house;
        let own: Vec<(usize, usize)> = pairs.iter().filter(with).copied().collect();
        let law = self.law(model, &own)?;
        for (contrast, (a, b)) in contrasts.iter_mut().zip(pairs).filter(|(_, pair)| with(pair)) {
            let (se, df) = model.fit.se_and_df(&model.difference(*a, *b))?;
            let (ma, mb) = (model.mean(*a), model.mean(*b));
            let method = "mixed model, Kenward-Roger, max-t from the house strain (Dunnett)";
            let estimate = Estimate::with_factor(ma - mb, se, law.quantile(self.level, df)?, self.level, method);
            let p = law.upper_tail((ma - mb).abs() / se, df)?.0;
            contrast.house = Some(HouseContrast { difference: self.scale.difference(estimate, 0.5 * (ma + mb)), p });
        }
        Ok(())
    }

    fn law(&self, model: &TraitModel, pairs: &[(usize, usize)]) -> Result<MaxT> {
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
    let df = model.fit.se_and_df(&model.weights[0])?.1.min(1e6);
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
