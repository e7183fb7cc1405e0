//! The comparison itself.

use std::collections::BTreeMap;

use crate::error::{Error, Result};
use crate::fit::compare::pool::{pool, spread_between};
use crate::fit::{Estimate, Finding};
use crate::kinetics::{BatchFit, Kinetics, Status, Trait};
use crate::season::{Batch, Season};

use super::alone;
use super::conditions::{BatchConditions, adjustments, of_batches};
use super::contrasts::{Asked, first_and_last};
use super::joint::correlation;
use super::model::{ModelRow, TraitModel};
use super::ranking::{Kept, ranked};
use super::result::{StrainContrast, StrainMean, StrainSpread, Strains, TraitComparison};
use super::scale::Scale;
use super::settings::StrainSettings;
use super::stuck::{StuckShare, stuck_contrasts};
use super::words::alike;

/// Strains from which on their spread about a common mean can be told.
const LEAST_TO_POOL: usize = 3;
/// With more strains than this only the best of each trait are compared: all pairs are too many to read.
const MOST_STRAINS: usize = 100;
/// So many are the best.
const BEST: usize = 20;

/// What all traits take.
struct Compared<'a> {
    fits: &'a [BatchFit],
    conditions: Vec<BatchConditions>,
    /// The row of each fit in the table of batches.
    rows: Vec<Option<&'a Batch>>,
    /// All strains of the season's fits, with the places of theirs.
    strains: BTreeMap<&'a str, Vec<usize>>,
}

impl StrainSettings {
    /// Compares the strains of a season, trait by trait.
    ///
    /// A trait of a batch is modelled as the mean of its strain at common conditions, slopes for original gravity,
    /// temperature, pitching rate, mash temperature and generation as far as these vary within strains, a random effect of
    /// its wort where worts cross the strains, a random effect of the batch, and the known error of its curve (REML; intervals
    /// and degrees of freedom by Kenward and Roger, [`crate::fit::mixed`]). Times and rates are modelled by their logarithms. One
    /// spread between batches serves all strains, unless the likelihood ratio (Bartlett's) rejects that at 5 %; then each has
    /// its own, drawn towards the others by what they have in common (Smyth 2004), with Satterthwaite's degrees of freedom.
    /// Worts and spreads by strain are left out where they leave a mean or a difference four degrees of freedom or fewer.
    ///
    /// All pairs of a trait have intervals that hold at once, and p-values from the same law: the largest of their correlated
    /// t's (Genz and Bretz 2009); with spreads by strain, or more than 28 strains, Bonferroni's bound. Of more than a hundred
    /// strains the twenty with the best plain means are compared, by the bound for all pairs of all strains.
    ///
    /// A stuck batch counts in the share of stuck ones and in no trait that hangs on the terminal gravity. One that is more
    /// likely stuck than not is in no trait but times and rates. A batch that does not give a trait, as it is not at rest, is
    /// left out of it; both are told. In 15 seasons of another simulator those not at rest held 1.3 % of what batches tell of
    /// the time to rest, and leaving them out moved its mean by 0.1 %. Errors that batches share, such as a probe's
    /// calibration or an instrument's bias, are not modelled: the season's samples have taken most off the batches' fits.
    /// Those of attenuations correlated by 0.10 (standard error 0.05) within a probe; what a whole season shares cancels.
    ///
    /// # Errors
    /// [`crate::Error::Setting`]; [`crate::Error::Usage`] for a house strain that is not in the season.
    #[doc = example!(no_run "let attenuation = StrainSettings { traits: vec![Trait::Attenuation], ..Default::default() };\nprintln!(\"{}\", attenuation.run(&season, study.kinetics()?)?);")]
    pub fn run(&self, season: &Season, kinetics: &Kinetics) -> Result<Strains> {
        self.check()?;
        let fits = &kinetics.batches;
        let mut strains: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (place, fit) in fits.iter().enumerate() {
            strains.entry(&fit.strain).or_default().push(place);
        }
        let names: Vec<&str> = strains.keys().copied().collect();
        if let Some(house) = self.house.as_deref().filter(|house| !names.contains(house)) {
            let why = format!("setting `house` is {house}, which is no strain of the season: {}", names.join(", "));
            return Err(Error::Usage(why));
        }
        let of: BTreeMap<&str, &Batch> = season.batches.iter().map(|batch| (batch.batch.as_str(), batch)).collect();
        let rows: Vec<Option<&Batch>> = fits.iter().map(|fit| of.get(fit.batch.as_str()).copied()).collect();
        let mut found = Strains { contrast_level: self.contrast_level, alike: alike(&names), ..Strains::default() };
        let compared = Compared { fits, conditions: of_batches(season, fits, &rows, self.by_day), rows, strains };
        let weights: Vec<_> = self.weights.iter().filter(|(_, weight)| **weight != 0.0).collect();
        if let Some((which, _)) = weights.iter().find(|(which, _)| !self.traits.contains(which)) {
            return Err(Error::Usage(format!(
                "setting `weights` has {which}, which is not among the `traits` compared"
            )));
        }
        let mut kept: BTreeMap<Trait, Kept<'_>> = BTreeMap::new();
        for which in &self.traits {
            kept.insert(*which, self.one_trait(*which, &compared, &mut found)?);
        }
        let both = kept.get(&Trait::Attenuation).zip(kept.get(&Trait::T90H));
        found.correlation = both.and_then(|(attenuation, time)| correlation(&attenuation.residuals, &time.residuals));
        let weights: Vec<_> = weights.iter().map(|(which, weight)| (**which, *weight / self.margin(**which))).collect();
        found.ranking = ranked(&weights, &kept, &names, self.common.level)?;
        for (strain, own) in &compared.strains {
            let of = |status: &[Status]| own.iter().filter(|i| status.contains(&fits[**i].status)).count();
            let (at_rest, stuck) = (of(&[Status::Finished, Status::Stuck]), of(&[Status::Stuck]));
            let unfinished = own.len() - at_rest;
            found.stuck.push(StuckShare::new(strain, at_rest, stuck, unfinished, self.common.level)?);
        }
        if names.len() <= MOST_STRAINS {
            found.stuck_contrasts = stuck_contrasts(&found.stuck, self.contrast_level)?;
        }
        Ok(found)
    }

    /// Compares the strains in one trait.
    fn one_trait<'a>(&self, which: Trait, all: &Compared<'a>, found: &mut Strains) -> Result<Kept<'a>> {
        // Where it came to rest tells little of how fast it went.
        let likely =
            |fit: &BatchFit| !which.is_pace() && fit.status == Status::Finished && fit.p_stuck.is_some_and(|p| p > 0.5);
        let stuck = |fit: &BatchFit| which.needs_terminal() && (fit.status == Status::Stuck || likely(fit));
        let usable = |e: &&Estimate| e.value.is_finite() && e.se > 0.0 && e.se.is_finite();
        let given: Vec<Option<&Estimate>> =
            all.fits.iter().map(|fit| fit.finding(which).estimate().filter(|_| !stuck(fit)).filter(usable)).collect();
        let scale = Scale::of(which, given.iter().flatten().map(|e| e.value));
        let start = found.means.len();
        for (strain, own) in &all.strains {
            let values = || own.iter().filter_map(|i| given[*i]).map(|e| scale.model(e.value, e.se).0);
            let n = values().count();
            let stuck: Vec<&BatchFit> = own.iter().map(|i| &all.fits[*i]).filter(|fit| stuck(fit)).collect();
            let sure = stuck.iter().filter(|fit| fit.status == Status::Stuck).count();
            let likely = stuck.len() - sure;
            let reasons = [(sure, "stuck"), (likely, "probably stuck"), (own.len() - n - stuck.len(), "without it")];
            let reasons = reasons.iter().filter(|(n, _)| *n > 0).map(|(n, why)| format!("{n} {why}"));
            let raw = values().sum::<f64>() / n as f64;
            found.means.push(StrainMean {
                strain: (*strain).to_owned(),
                which,
                n,
                left_out: reasons.collect::<Vec<_>>().join(", "),
                raw: raw.is_finite().then(|| if scale == Scale::Log { raw.exp() } else { raw }),
                mean: Finding::missing("no batch gave it"),
                df: None,
                pooled: Finding::missing("no batch gave it"),
                p_highest: None,
                p_lowest: None,
            });
        }
        // Strains with the trait; others have a row that says why not.
        let own_rows: Vec<&mut StrainMean> = found.means[start..].iter_mut().filter(|mean| mean.n > 0).collect();
        let from = own_rows.len();
        let (own_rows, chosen) = self.best(which, own_rows);
        let n: Vec<usize> = own_rows.iter().map(|row| row.n).collect();
        let chosen_one = |name: &&str| own_rows.iter().any(|row| row.strain == **name);
        let names: Vec<&str> = all.strains.keys().copied().filter(chosen_one).collect();
        let of_fit = |i: usize| names.binary_search(&all.fits[i].strain.as_str()).ok();
        let one = |i: usize| {
            let (value, se) = given[i].map(|e| scale.model(e.value, e.se))?;
            Some((ModelRow { strain: of_fit(i)?, value, se, batch: all.rows[i] }, all.conditions[i]))
        };
        let (rows, conditions): (Vec<ModelRow<'_>>, Vec<BatchConditions>) = (0..given.len()).filter_map(one).unzip();
        let strain_of: Vec<usize> = rows.iter().map(|row| row.strain).collect();
        let by = adjustments(which, &conditions, &strain_of, &names);
        let mut how = TraitComparison {
            which,
            conditions: by.words.clone(),
            notes: by.notes.iter().cloned().chain(alone::notes(&rows, &names)).chain(chosen).collect(),
            p_equal_spread: None,
            numerical_error: None,
        };
        let (mut why, mut kept) = (None, Kept::default());
        match TraitModel::new(&rows, &names, &by) {
            Ok(model) => {
                if let Err(error) = self.means(&model, scale, own_rows) {
                    how.notes.push(error.to_string());
                }
                self.spreads(which, &model, scale, &names, &mut found.spreads);
                let margin = self.margin(which);
                let house = self.house.as_ref().and_then(|house| names.iter().position(|name| name == house));
                let level = self.contrast_level;
                let asked = Asked { which, scale, names: &names, n: &n, from, margin, level, house };
                if names.len() > 1 {
                    match asked.differences(&model) {
                        Ok((contrasts, error)) => {
                            how.numerical_error = Some(error);
                            found.contrasts.extend(contrasts);
                        }
                        Err(error) => {
                            why = Finding::from(Err(error)).why().map(str::to_owned);
                            how.notes.extend(why.as_ref().map(|why| format!("no differences: {why}")));
                        }
                    }
                }
                how.p_equal_spread = model.p_equal_spread;
                how.notes.extend(model.unequal().map(str::to_owned));
                let of_batch = rows.iter().zip(&model.residuals);
                kept.residuals.extend(of_batch.filter_map(|(row, off)| Some((row.batch?.batch.as_str(), *off))));
                kept.model = Some((names.clone(), model, scale));
            }
            Err(error) => {
                let missing = Finding::from(Err(error));
                why = missing.why().map(str::to_owned);
                for row in own_rows {
                    (row.mean, row.pooled) = (missing.clone(), missing.clone());
                }
            }
        }
        if all.strains.len() <= MOST_STRAINS && (why.is_some() || names.len() < all.strains.len()) {
            let strains: Vec<&str> = all.strains.keys().copied().collect();
            self.without_estimate(which, &strains, why, &mut found.contrasts);
        }
        found.traits.push(how);
        Ok(kept)
    }

    /// Of very many strains those with the best plain means and the house strain, sorted, and a note of it.
    fn best<'m>(&self, which: Trait, mut rows: Vec<&'m mut StrainMean>) -> (Vec<&'m mut StrainMean>, Option<String>) {
        if rows.len() <= MOST_STRAINS {
            return (rows, None);
        }
        let less = which == Trait::TerminalSg || which.is_time();
        let (sign, best) = if less { (1.0, "lowest") } else { (-1.0, "highest") };
        let place = |row: &StrainMean| match self.house.as_ref() == Some(&row.strain) {
            true => f64::NEG_INFINITY,
            false => sign * row.raw.unwrap_or(f64::NAN),
        };
        let words = format!("the {BEST} strains of {} with the {best} plain means", rows.len());
        rows.sort_by(|a, b| place(a).total_cmp(&place(b)));
        for row in rows.drain(BEST..) {
            row.mean = Finding::missing(format!("not among {words}"));
            row.pooled = row.mean.clone();
        }
        rows.sort_by(|a, b| a.strain.cmp(&b.strain));
        (rows, Some(format!("only {words} are compared; their intervals hold for all pairs of all strains")))
    }

    fn means(&self, model: &TraitModel, scale: Scale, rows: Vec<&mut StrainMean>) -> Result<()> {
        let level = self.common.level;
        let found: Vec<Result<Estimate>> =
            (0..model.weights.len()).map(|s| model.mean_with_interval(s, level)).collect();
        let sure: Vec<(f64, f64)> = found.iter().flatten().map(|e| (e.value, e.se)).collect();
        let (values, errors): (Vec<f64>, Vec<f64>) = sure.into_iter().unzip();
        let all = (values.len() >= LEAST_TO_POOL).then(|| pool(&values, &errors, level)).and_then(Result::ok);
        let order = first_and_last(model)?;
        for (((row, found), (highest, lowest)), weights) in rows.into_iter().zip(found).zip(order).zip(&model.weights) {
            let own = match found {
                Ok(own) => own,
                Err(error) => {
                    row.mean = Finding::from(Err(error));
                    continue;
                }
            };
            row.pooled = match &all {
                None => Finding::missing("two strains or fewer have no common spread"),
                Some(all) => {
                    // Normal about the common mean with its spread, of which the own mean has its error.
                    let kept = all.tau.powi(2) / (all.tau.powi(2) + own.se.powi(2));
                    let value = kept * own.value + (1.0 - kept) * all.mean.value;
                    let se = (kept.sqrt() * own.se).hypot((1.0 - kept) * all.mean.se);
                    let method = "random strains, empirical best prediction, normal";
                    Finding::Estimated(scale.mean(Estimate::normal(value, se, level, method)?))
                }
            };
            row.mean = Finding::Estimated(scale.mean(own));
            (row.p_highest, row.p_lowest, row.df) = (Some(highest), Some(lowest), Some(model.se_and_df(weights)?.1));
        }
        Ok(())
    }

    fn spreads(&self, which: Trait, model: &TraitModel, scale: Scale, names: &[&str], all: &mut Vec<StrainSpread>) {
        let mut add = |strain: Option<&str>, groups: &[Vec<(f64, f64)>], df: f64| {
            let n = groups.iter().map(Vec::len).sum();
            let sd = match df > 0.0 {
                true => spread_between(groups, df, self.common.level)
                    .map_or_else(|error| Finding::missing(error.to_string()), Finding::Estimated),
                false => Finding::missing("one batch only, so the spread between batches is not known"),
            };
            let strain = strain.map(str::to_owned);
            all.push(StrainSpread { which, strain, n, sd, relative: scale == Scale::Log });
        };
        add(None, &model.adjusted, model.df);
        for (name, own) in names.iter().zip(&model.adjusted) {
            add(Some(name), std::slice::from_ref(own), own.len() as f64 - 1.0);
        }
    }

    /// Pairs that have no estimate, with the reason.
    fn without_estimate(&self, which: Trait, strains: &[&str], why: Option<String>, all: &mut Vec<StrainContrast>) {
        let why = why.as_deref().unwrap_or("a strain of which no batch gave it");
        for (i, a) in strains.iter().enumerate() {
            for b in &strains[i + 1..] {
                if !all.iter().any(|pair| pair.which == which && pair.a == *a && pair.b == *b) {
                    all.push(StrainContrast::missing(which, a, b, self.margin(which), why));
                }
            }
        }
    }
}
