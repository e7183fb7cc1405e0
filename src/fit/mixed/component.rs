//! Variances and correlations in the user's units.

use super::design::{Design, Spread};
use super::scaled::{Covariance, ScaledData};

/// A standard deviation or a correlation of the random part.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// Its name: `sd of COLUMN by GROUPING`, `correlation of COLUMN and COLUMN by GROUPING`, `residual sd`.
    pub name: String,
    /// Standard deviation in the unit of the response over that of the column, or correlation; NaN for the correlation with
    /// something of variance 0. 0 is a result.
    pub value: f64,
    /// Variance or covariance.
    pub variance: f64,
}

/// All components: by grouping its standard deviations, then its correlations; the residual last.
pub(super) fn components(design: &Design, data: &ScaledData, covariance: &Covariance) -> Vec<Component> {
    let mut list = Vec::new();
    for ((random, term), factor) in design.random.iter().zip(&data.terms).zip(&covariance.factors) {
        let q = term.q;
        let balanced = term.balanced(factor);
        let psi = |a: usize, b: usize| term.psi(&balanced, a, b) * data.unit * data.unit;
        let name = |column: usize| random.columns.get(column).map_or("", |c| c.name.as_str());
        let by = &random.grouping;
        for column in 0..q {
            let variance = psi(column, column);
            list.push(Component { name: format!("sd of {} by {by}", name(column)), value: variance.sqrt(), variance });
        }
        if term.spread == Spread::Correlated {
            for column in 0..q {
                for other in 0..column {
                    let variance = psi(column, other);
                    let value = variance / (psi(column, column) * psi(other, other)).sqrt();
                    list.push(Component {
                        name: format!("correlation of {} and {} by {by}", name(other), name(column)),
                        value: if value.is_finite() { value.clamp(-1.0, 1.0) } else { f64::NAN },
                        variance,
                    });
                }
            }
        }
    }
    let sigma = covariance.sigma * data.unit;
    list.push(Component { name: "residual sd".to_owned(), value: sigma, variance: sigma * sigma });
    list
}
