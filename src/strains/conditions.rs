//! The conditions that batches were brewed under, and which of them a trait can be adjusted for.

use std::collections::BTreeMap;

use crate::fit::robust::mean_of;
use crate::kinetics::{BatchFit, Trait};
use crate::season::{Batch, Season, some};

/// The temperature of a batch without a set one is the mean of its readings over this time, hours.
const FIRST_DAYS_H: f64 = 72.0;
/// One slope for so many batches beyond the strains.
const BATCHES_A_SLOPE: usize = 6;
/// A condition with more than this share of its variance between strains goes with the strain.
const GOES_WITH_STRAIN: f64 = 0.5;
/// A condition of which others leave less than this share of its variance within strains goes with them.
const GOES_WITH_OTHERS: f64 = 0.1;

type Condition = (&'static str, f64, fn(f64) -> String);
/// What may be adjusted for: in words, the spread within strains below which it does not vary, and how it is written.
const ALL: [Condition; 6] = [
    ("original gravity", 5e-4, |value| format!("{value:.4}")),
    ("temperature", 0.1, |value| format!("{value:.1} \u{b0}C")),
    ("pitching rate", 0.01, |value| format!("{:.2} million cells/ml/\u{b0}P", value.exp())),
    ("mash temperature", 0.1, |value| format!("{value:.1} \u{b0}C")),
    ("generation", 0.1, |value| format!("{value:.1}")),
    ("day of the season", 1.0, |value| format!("{value:.0}")),
];

/// Places there, what was asked for and those that act most first: no choice by what the data show, which would make intervals
/// too short.
fn order(which: Trait) -> [usize; ALL.len()] {
    if which.is_pace() { [5, 1, 0, 2, 4, 3] } else { [5, 0, 3, 1, 2, 4] }
}

/// The conditions of one batch, in the order of `ALL`, pitching rates by their logarithms.
pub(super) type BatchConditions = [Option<f64>; ALL.len()];

/// The day only where the order of batches is to be allowed for.
pub(super) fn of_batches(
    season: &Season,
    fits: &[BatchFit],
    rows: &[Option<&Batch>],
    by_day: bool,
) -> Vec<BatchConditions> {
    let measured = first_days(season);
    let first = fits.iter().map(|fit| fit.pitched_at).min().filter(|_| by_day);
    let one = |(fit, row): (&BatchFit, &Option<&Batch>)| {
        let original = fit.finding(Trait::OriginalSg).value().or(row.and_then(|row| row.original_sg));
        let temp = row.and_then(|row| row.set_temp_c).or_else(|| measured.get(fit.batch.as_str()).copied());
        let pitch = row.and_then(|row| row.pitch_mcells_ml_p).filter(|rate| *rate > 0.0).map(f64::ln);
        let day = first.map(|first| fit.pitched_at.days_since(first));
        [original, temp, pitch, row.and_then(|row| row.mash_temp_c), row.and_then(|row| row.generation), day]
    };
    fits.iter().zip(rows).map(one).collect()
}

/// Mean temperature over the first days of the batches without a set one.
fn first_days(season: &Season) -> BTreeMap<&str, f64> {
    let mut wanted = BTreeMap::new();
    for batch in season.batches.iter().filter(|batch| batch.set_temp_c.is_none()) {
        if let Some(index) = season.readings.batch_index(&batch.batch) {
            wanted.insert(index, (batch, 0.0, 0.0));
        }
    }
    if !wanted.is_empty() {
        let readings = &season.readings;
        for ((at, batch), temp_c) in readings.at.iter().zip(&readings.batch).zip(&readings.temp_c) {
            let Some((row, sum, n)) = batch.and_then(|batch| wanted.get_mut(&batch)) else { continue };
            if (0.0..FIRST_DAYS_H).contains(&at.hours_since(row.pitched_at)) && temp_c.is_finite() {
                (*sum, *n) = (*sum + temp_c, *n + 1.0);
            }
        }
    }
    wanted.into_values().filter(|(_, _, n)| *n > 0.0).map(|(row, sum, n)| (row.batch.as_str(), sum / n)).collect()
}

/// One condition that a trait is adjusted for.
pub(super) struct Adjustment {
    pub name: &'static str,
    /// By batch, less the mean of all.
    pub column: Vec<f64>,
    /// By strain, where its mean stands, likewise.
    pub at: Vec<f64>,
}

/// What a trait is adjusted for, with words for the table.
pub(super) struct Adjustments {
    pub list: Vec<Adjustment>,
    /// The conditions that the means are stated at.
    pub words: String,
    /// What could not be told apart.
    pub notes: Vec<String>,
}

/// Which conditions a trait can be adjusted for: those that vary within strains, one for every six batches beyond the
/// strains. A value that is missing is taken as the mean of its strain.
pub(super) fn adjustments(
    which: Trait,
    batches: &[BatchConditions],
    strain_of: &[usize],
    strains: &[&str],
) -> Adjustments {
    let (n, k) = (batches.len(), strains.len());
    let most = n.saturating_sub(k) / BATCHES_A_SLOPE;
    let mut found = Adjustments { list: Vec::new(), words: String::new(), notes: Vec::new() };
    let (mut common, mut usual, mut theirs, mut too_many) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut taken: Vec<Vec<f64>> = Vec::new();
    for place in order(which) {
        let (name, least, written) = ALL[place];
        let cells: Vec<Option<f64>> = batches.iter().map(|of| of[place]).collect();
        let known: Vec<f64> = cells.iter().flatten().copied().collect();
        if known.is_empty() || 2 * known.len() < n {
            if !known.is_empty() {
                found.notes.push(format!("{name} is written down for too few batches"));
            }
            continue;
        }
        let all = mean_of(known.iter().copied()).unwrap_or(f64::NAN);
        let of_strain = |strain: usize| {
            let own = cells.iter().zip(strain_of).filter(|(_, of)| **of == strain).filter_map(|(cell, _)| *cell);
            mean_of(own).filter(|own| own.is_finite()).unwrap_or(all)
        };
        let means: Vec<f64> = (0..k).map(of_strain).collect();
        let column: Vec<f64> =
            cells.iter().zip(strain_of).map(|(cell, strain)| cell.unwrap_or(means[*strain]) - all).collect();
        let mut within: Vec<f64> = column.iter().zip(strain_of).map(|(x, strain)| x + all - means[*strain]).collect();
        let spread = squares(&within);
        let freedom = n.saturating_sub(k).max(1) as f64;
        let goes_with = 1.0 - spread / freedom / (squares(&column) / n.saturating_sub(1).max(1) as f64).max(1e-300);
        if (spread / freedom).sqrt() < least {
            if squares(&column) > n as f64 * least * least {
                theirs.push(name);
            }
            continue;
        }
        if found.list.len() == most {
            too_many.push(name);
            continue;
        }
        for other in &taken {
            let along = within.iter().zip(other).map(|(x, y)| x * y).sum::<f64>() / squares(other);
            within.iter_mut().zip(other).for_each(|(x, y)| *x -= along * y);
        }
        if squares(&within) < GOES_WITH_OTHERS * spread {
            found.notes.push(format!("{name} goes with the other conditions"));
            continue;
        }
        taken.push(within);
        let centre = mean_of(column.iter().copied()).unwrap_or(f64::NAN);
        let at = if goes_with > GOES_WITH_STRAIN {
            let (low, high) = ends(&means);
            let one = |place: usize| format!("{} {}", strains[place], written(means[place]));
            let seen = format!("{name} goes with the strain ({}, {})", one(low), one(high));
            found.notes.push(format!("{seen}, so each stands at its usual one"));
            usual.push(name);
            means.iter().map(|mean| mean - all).collect()
        } else {
            common.push(format!("{name} {}", written(all + centre)));
            vec![centre; k]
        };
        found.list.push(Adjustment { name, column, at });
    }
    for (words, mut names) in [
        ("these differ only between strains, so their effect cannot be told from that of the strain:", theirs),
        ("too few batches to allow for", too_many),
    ] {
        names.sort_unstable();
        found.notes.extend((!names.is_empty()).then(|| format!("{words} {}", some(&names, ALL.len()))));
    }
    if !usual.is_empty() {
        common.push(format!("each at its usual {}", usual.join(" and ")));
    }
    found.words = if common.is_empty() { "as brewed".to_owned() } else { common.join(", ") };
    found
}

fn ends(means: &[f64]) -> (usize, usize) {
    let by = |a: &usize, b: &usize| means[*a].total_cmp(&means[*b]);
    ((0..means.len()).min_by(by).unwrap_or(0), (0..means.len()).max_by(by).unwrap_or(0))
}

fn squares(values: &[f64]) -> f64 {
    values.iter().map(|x| x * x).sum()
}
