//! Variances and correlations in the user's units.

use std::fmt;

use super::design::{Design, Spread};
use super::scaled::{Covariance, ScaledData};

/// A standard deviation or a correlation of the random part.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// Its name: `sd of COLUMN by GROUPING`, `correlation of COLUMN and COLUMN by GROUPING`, `residual sd`.
    pub name: String,
    /// Which number it is.
    pub kind: ComponentKind,
    /// Standard deviation in the unit of the response over that of the column, or correlation; NaN for the correlation with
    /// something of variance 0. 0 is a result.
    pub value: f64,
    /// Variance or covariance.
    pub variance: f64,
    /// True when it was given, not estimated.
    pub held: bool,
}

/// Which number of the random part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ComponentKind {
    /// Standard deviation of a column of a grouping, by their numbers.
    Sd {
        /// Number of the grouping.
        grouping: usize,
        /// Number of the column.
        column: usize,
    },
    /// Correlation of two columns of a grouping.
    Correlation {
        /// Number of the grouping.
        grouping: usize,
        /// Number of the later column.
        column: usize,
        /// Number of the earlier one.
        other: usize,
    },
    /// Standard deviation of the residual.
    Residual,
}

/// All components: by grouping its standard deviations, then its correlations; the residual last.
pub(super) fn components(design: &Design, data: &ScaledData, covariance: &Covariance) -> Vec<Component> {
    let mut list = Vec::new();
    for (grouping, ((random, term), factor)) in
        design.random.iter().zip(&data.terms).zip(&covariance.factors).enumerate()
    {
        let q = term.q;
        let held = matches!(term.spread, Spread::Known(_));
        let balanced = term.balanced(factor);
        let psi = |a: usize, b: usize| term.psi(&balanced, a, b) * data.unit * data.unit;
        let name = |column: usize| random.columns.get(column).map_or("", |c| c.name.as_str());
        let by = &random.grouping;
        for column in 0..q {
            let variance = psi(column, column);
            list.push(Component {
                name: format!("sd of {} by {by}", name(column)),
                kind: ComponentKind::Sd { grouping, column },
                value: variance.sqrt(),
                variance,
                held,
            });
        }
        if term.spread == Spread::Correlated {
            for column in 0..q {
                for other in 0..column {
                    let variance = psi(column, other);
                    let value = variance / (psi(column, column) * psi(other, other)).sqrt();
                    list.push(Component {
                        name: format!("correlation of {} and {} by {by}", name(other), name(column)),
                        kind: ComponentKind::Correlation { grouping, column, other },
                        value: if value.is_finite() { value.clamp(-1.0, 1.0) } else { f64::NAN },
                        variance,
                        held: false,
                    });
                }
            }
        }
    }
    let sigma = covariance.sigma * data.unit;
    list.push(Component {
        name: "residual sd".to_owned(),
        kind: ComponentKind::Residual,
        value: sigma,
        variance: sigma * sigma,
        held: design.residual_sd.is_some(),
    });
    list
}

/// What of the covariance lies on the edge of what it may be. A result, not a failure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Boundary {
    /// The variance of a column of a grouping is 0.
    Variance {
        /// The column.
        column: String,
        /// The grouping.
        grouping: String,
    },
    /// The correlation of two columns of a grouping is 1 or -1.
    Correlation {
        /// The columns.
        columns: [String; 2],
        /// The grouping.
        grouping: String,
        /// 1 or -1.
        sign: i8,
    },
    /// A column of a grouping is a linear combination of those before it.
    Combination {
        /// The column.
        column: String,
        /// The grouping.
        grouping: String,
    },
    /// The residual variance is 0.
    Residual,
}

impl Boundary {
    /// In words, with the columns called as `name` says.
    pub fn in_words(&self, name: impl Fn(&str) -> String) -> String {
        match self {
            Self::Variance { column, grouping } => format!("the variance of {} by {grouping} is 0", name(column)),
            Self::Correlation { columns: [a, b], grouping, sign } => {
                format!("the correlation of {} and {} by {grouping} is {sign}", name(a), name(b))
            }
            Self::Combination { column, grouping } => {
                format!("{} by {grouping} is a linear combination of the columns before it", name(column))
            }
            Self::Residual => "the residual variance is 0".to_owned(),
        }
    }
}

impl fmt::Display for Boundary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.in_words(|column| format!("`{column}`")))
    }
}

/// What of the covariance lies on the edge of what it may be.
pub(super) fn boundary(design: &Design, data: &ScaledData, covariance: &Covariance) -> Vec<Boundary> {
    let mut found = Vec::new();
    for ((random, term), factor) in design.random.iter().zip(&data.terms).zip(&covariance.factors) {
        let factor = term.balanced(factor);
        if matches!(random.spread, Spread::Known(_)) {
            continue;
        }
        let q = random.columns.len();
        for (i, column) in random.columns.iter().enumerate() {
            let row = &factor[i * q..(i + 1) * q];
            let (column, grouping) = (column.name.clone(), random.grouping.clone());
            if row.iter().all(|x| *x == 0.0) {
                found.push(Boundary::Variance { column, grouping });
            } else if row[i] == 0.0 {
                found.push(match (q, random.columns.first()) {
                    (2, Some(first)) => {
                        let sign = if row[0] > 0.0 { 1 } else { -1 };
                        Boundary::Correlation { columns: [first.name.clone(), column], grouping, sign }
                    }
                    _ => Boundary::Combination { column, grouping },
                });
            }
        }
    }
    if design.residual_sd.is_none() && covariance.sigma == 0.0 {
        found.push(Boundary::Residual);
    }
    found
}
