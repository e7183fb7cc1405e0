//! The pairs in a linear mixed model: the textbook view beside the study's own, and the place to try covariates.

use nalgebra::DMatrix;

use crate::error::{Error, Result};
use crate::fit::mixed::{Bootstrap, Column, Design, MixedFit, Random, Spread};
use crate::fit::{Estimate, Finding};
use crate::season::Season;

use crate::drift::model::{Averaged, FleetModel, ProbeModel, Variances};
use crate::drift::results::{DriftPair, MixedDrift, MixedTerm, MixedTermKind, not_estimated};
use crate::drift::scale::AT_SG;
use crate::drift::settings::DriftSettings;

/// Names of the coefficients that every fit has.
const INTERCEPT: &str = "error_at_calibration_sg";
const SLOPE: &str = "gradual_drift_sg_per_30d";
/// A covariate must vary by this share of its unit, or its coefficient is anything.
const VARIES: f64 = 1e-3;

assumed! {
    /// Pairs that a covariate's coefficient needs.
    const PAIRS_NEEDED: usize = 12, "pairs";
    /// The supply voltage at a pair is the mean of the readings within this many hours.
    const SUPPLY_WINDOW_H: f64 = 3.0, "h";
}

/// What may go with the error: name with unit, and its value at a pair.
type Covariate = (&'static str, fn(&Season, &DriftPair) -> Option<f64>);

const COVARIATES: [Covariate; 4] = [
    ("per_10_c_sg", |_, pair| Some(pair.temp_c / 10.0)),
    ("per_0.010_of_gravity_sg", |_, pair| Some((pair.reference_sg - AT_SG) / 0.010)),
    ("per_10_batches_before_sg", |season, pair| Some(batches_before(season, pair) / 10.0)),
    ("per_0.1_v_of_supply_sg", |season, pair| Some(supply_v(season, pair)? / 0.1)),
];

/// Batches that the probe had been in before the pair.
fn batches_before(season: &Season, pair: &DriftPair) -> f64 {
    season.batches.iter().filter(|b| b.pitched_at < pair.at && b.probes.contains(&pair.probe)).count() as f64
}

/// Mean supply voltage of the probe within hours of the pair.
fn supply_v(season: &Season, pair: &DriftPair) -> Option<f64> {
    let (from, to) = (pair.at.plus_hours(-*SUPPLY_WINDOW_H), pair.at.plus_hours(*SUPPLY_WINDOW_H));
    let rows = season.readings.of_probe_between(&pair.probe, from, to);
    let volts: Vec<f64> = rows.filter_map(|row| season.readings.supply_v(row)).collect();
    (!volts.is_empty()).then(|| volts.iter().sum::<f64>() / volts.len() as f64)
}

impl DriftSettings {
    /// The mixed model of the pairs of a solved model; `pairs` are those that it was made of.
    pub(super) fn mixed(&self, season: &Season, pairs: &[&DriftPair], averaged: &Result<Averaged>) -> MixedDrift {
        match averaged {
            Ok(averaged) => self.mixed_of(season, pairs, averaged).unwrap_or_else(|why| match why {
                Error::NotEstimable { why, .. } => MixedDrift::none(why),
                other => MixedDrift::none(other),
            }),
            Err(why) => MixedDrift::none(why),
        }
    }

    fn mixed_of(&self, season: &Season, pairs: &[&DriftPair], averaged: &Averaged) -> Result<MixedDrift> {
        let model = averaged.model;
        if model.probes.len() < 2 {
            let why = format!("{} probe with pairs; a fleet needs two", model.probes.len());
            return Err(Error::not_estimable("a mixed model of drift", why));
        }
        let walk_sd = averaged.variance_sd(|v| v.walk_sd).0;
        let design = design(model, walk_sd);
        let fit = design.fit()?;
        let bootstrap = match self.bootstrap {
            0 => None,
            resamples => Some(fit.bootstrap(resamples, self.common.level)?),
        };
        let mut terms = self.coefficients(&fit, bootstrap.as_ref());
        terms.extend(self.covariates(season, pairs, &design));
        for profiled in fit.profile(self.common.level)?.into_iter().filter(|p| !p.component.held) {
            let term = profiled.component.name;
            let checked = bootstrap.as_ref().and_then(|b| ends(&b.components, &term));
            terms.push(MixedTerm {
                term,
                kind: MixedTermKind::Component,
                finding: profiled.finding,
                df: None,
                bootstrap: checked,
            });
        }
        let resamples = bootstrap.map_or(0, |b| b.fitted);
        Ok(MixedDrift { terms, boundary: fit.boundary.clone(), resamples, why: None })
    }

    fn coefficients(&self, fit: &MixedFit, bootstrap: Option<&Bootstrap>) -> Vec<MixedTerm> {
        let one = |term| {
            let checked = bootstrap.and_then(|b| ends(&b.fixed, term));
            MixedTerm { bootstrap: checked, ..coefficient(term, MixedTermKind::Fixed, self.of(fit, term)) }
        };
        [INTERCEPT, SLOPE].map(one).into()
    }

    /// A coefficient of a fit with the degrees of freedom of its interval.
    fn of(&self, fit: &MixedFit, name: &str) -> Result<(Estimate, f64)> {
        let weights: Vec<f64> = fit.design.fixed.iter().map(|c| f64::from(u8::from(c.name == name))).collect();
        Ok((fit.contrast(&weights, self.common.level)?, fit.se_and_df(&weights)?.1))
    }

    /// Each covariate alone, about its mean over the pairs.
    fn covariates(&self, season: &Season, pairs: &[&DriftPair], design: &Design) -> Vec<MixedTerm> {
        let one = |(name, value): &Covariate| {
            let values: Vec<Option<f64>> = pairs.iter().map(|pair| value(season, pair)).collect();
            let found = covariate_design(design, name, &values).and_then(|with| self.of(&with.fit()?, name));
            coefficient(name, MixedTermKind::Covariate, found)
        };
        COVARIATES.iter().map(one).collect()
    }
}

/// A coefficient as a term of the model.
fn coefficient(name: &str, kind: MixedTermKind, found: Result<(Estimate, f64)>) -> MixedTerm {
    let (finding, df) = match found {
        Ok((estimate, df)) => (Finding::Estimated(estimate), Some(df).filter(|df| df.is_finite())),
        Err(why) => (not_estimated(why), None),
    };
    MixedTerm { term: name.to_owned(), kind, finding, df, bootstrap: None }
}

/// The design of the pairs that have a covariate, with that beside intercept and slope.
fn covariate_design(design: &Design, name: &str, values: &[Option<f64>]) -> Result<Design> {
    let doing = "a covariate of drift";
    let known: Vec<(usize, f64)> =
        values.iter().enumerate().filter_map(|(row, x)| Some((row, x.filter(|x| x.is_finite())?))).collect();
    if known.len() < *PAIRS_NEEDED {
        let why = format!("{} of {} pairs have it; {} are needed", known.len(), values.len(), *PAIRS_NEEDED);
        return Err(Error::not_estimable(doing, why));
    }
    let mean = known.iter().map(|(_, x)| x).sum::<f64>() / known.len() as f64;
    let centred: Vec<f64> = known.iter().map(|(_, x)| x - mean).collect();
    if !(centred.iter().map(|x| x * x).sum::<f64>().sqrt() > VARIES) {
        return Err(Error::not_estimable(doing, "it is the same at all pairs"));
    }
    let rows: Vec<usize> = known.iter().map(|(row, _)| *row).collect();
    let mut with = only(design, &rows);
    with.fixed.push(Column::new(name, &centred));
    Ok(with)
}

/// The design of some of its rows.
fn only(design: &Design, rows: &[usize]) -> Design {
    let pick = |values: &[f64]| -> Vec<f64> { rows.iter().filter_map(|&row| values.get(row).copied()).collect() };
    let column = |column: &Column| Column { values: pick(&column.values), name: column.name.clone() };
    let random = design.random.iter().map(|term| Random {
        columns: term.columns.iter().map(column).collect(),
        level_of_row: rows.iter().filter_map(|&row| term.level_of_row.get(row).copied()).collect(),
        ..term.clone()
    });
    let known = |(of_block, covariance): &(Vec<usize>, DMatrix<f64>)| {
        let places = rows.iter().enumerate();
        let (new, old): (Vec<usize>, Vec<usize>) =
            places.filter_map(|(new, row)| Some((new, of_block.iter().position(|other| other == row)?))).unzip();
        (new, covariance.select_rows(&old).select_columns(&old))
    };
    Design {
        response: pick(&design.response),
        fixed: design.fixed.iter().map(column).collect(),
        // What touches none of these rows is not in their model.
        random: random.filter(|term| term.columns.iter().all(|c| c.values.iter().any(|x| *x != 0.0))).collect(),
        known: design.known.iter().map(known).filter(|(rows, _)| !rows.is_empty()).collect(),
        residual_sd: design.residual_sd,
    }
}

fn ends(of: &[(String, Estimate)], name: &str) -> Option<(f64, f64)> {
    of.iter().find(|(other, _)| other == name).map(|(_, e)| (e.lower, e.upper))
}

/// The design: known errors in blocks by probe, effects that pairs share with their known spread.
fn design(model: &FleetModel, walk_sd: f64) -> Design {
    let parts = &model.probes;
    let n: usize = parts.iter().map(ProbeModel::n).sum();
    let rows = || parts.iter().flat_map(|part| &part.rows);
    let response: Vec<f64> = parts.iter().flat_map(|part| part.y.iter().copied()).collect();
    let intercept: Vec<f64> = rows().map(|row| row.shows).collect();
    let slope: Vec<f64> = rows().map(|row| row.shows * row.months).collect();
    let columns = vec![Column::new(INTERCEPT, &intercept), Column::new(SLOPE, &slope)];
    let probes: Vec<&str> = parts.iter().flat_map(|part| vec![part.probe.as_str(); part.n()]).collect();
    let variances = Variances { walk_sd, pair_sd: 0.0 };
    let mut blocks = Vec::new();
    let mut first = 0;
    for part in parts {
        blocks.push(((first..first + part.n()).collect(), part.block(variances).covariance));
        first += part.n();
    }
    Design {
        response,
        fixed: columns.clone(),
        random: [Random::by_label("probe", &probes, columns)].into_iter().chain(shared(model, n)).collect(),
        known: blocks,
        residual_sd: None,
    }
}

/// Effects that pairs share, as groupings: effects that touch no row response_covariance are levels of one.
fn shared(model: &FleetModel, n: usize) -> Vec<Random> {
    let mut columns: Vec<Vec<f64>> = vec![Vec::new(); model.prior_sd.len()];
    let mut first = 0;
    for part in &model.probes {
        for (&j, column) in part.shared.effects.iter().zip(part.shared.columns.column_iter()) {
            // The slopes, which the model has free, are random effects of probes here.
            let (Some(cells), Some(Some(sd))) = (columns.get_mut(j), model.prior_sd.get(j)) else { continue };
            cells.resize(n, 0.0);
            for (cell, value) in cells.iter_mut().skip(first).zip(column.iter()) {
                *cell = value * sd;
            }
        }
        first += part.n();
    }
    let mut groupings: Vec<(Vec<usize>, Vec<f64>, usize)> = Vec::new();
    for column in columns.iter().filter(|column| column.iter().any(|x| *x != 0.0)) {
        let apart = |values: &[f64]| values.iter().zip(column).all(|(a, b)| *a == 0.0 || *b == 0.0);
        let place = groupings.iter().position(|(_, values, _)| apart(values)).unwrap_or(groupings.len());
        if place == groupings.len() {
            groupings.push((vec![0; n], vec![0.0; n], 0));
        }
        let Some((levels, values, count)) = groupings.get_mut(place) else { continue };
        for ((level, value), x) in levels.iter_mut().zip(values.iter_mut()).zip(column).filter(|(_, x)| **x != 0.0) {
            (*level, *value) = (*count, *x);
        }
        *count += 1;
    }
    let random = |(k, (level_of_row, values, count)): (usize, (Vec<usize>, Vec<f64>, usize))| Random {
        grouping: format!("shared {k}"),
        levels: (0..count).map(|level| level.to_string()).collect(),
        level_of_row,
        columns: vec![Column::new("effect", &values)],
        spread: Spread::Known(vec![1.0]),
    };
    groupings.into_iter().enumerate().map(random).collect()
}
