//! What a mixed model is fitted to.

use crate::{Error, Result};

/// A named column of numbers, one per row of the data.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Its name, as it goes into results.
    pub name: String,
    /// Its values.
    pub values: Vec<f64>,
}

impl Column {
    /// A named column.
    pub fn new(name: impl Into<String>, values: &[f64]) -> Self {
        Self { name: name.into(), values: values.to_vec() }
    }

    /// A column of ones named `intercept`.
    pub fn intercept(rows: usize) -> Self {
        Self { name: "intercept".to_owned(), values: vec![1.0; rows] }
    }
}

/// Random effects of one grouping: every level has one effect per column, normal and independent, each column with its own
/// variance, which is estimated.
#[derive(Debug, Clone, PartialEq)]
pub struct Random {
    /// Name of the grouping, such as the unit that was measured again and again.
    pub grouping: String,
    /// Names of the levels.
    pub levels: Vec<String>,
    /// Index of the level of each row.
    pub level_of_row: Vec<usize>,
    /// The columns. A row whose columns are all 0 has nothing of its level.
    pub columns: Vec<Column>,
}

impl Random {
    /// Random effects by label of each row, levels in ascending order.
    pub fn by_label<L: AsRef<str>>(grouping: impl Into<String>, labels: &[L], columns: Vec<Column>) -> Self {
        let mut levels: Vec<String> = labels.iter().map(|label| label.as_ref().to_owned()).collect();
        levels.sort();
        levels.dedup();
        let place = |label: &L| levels.partition_point(|level| level.as_str() < label.as_ref());
        let level_of_row = labels.iter().map(place).collect();
        Self { grouping: grouping.into(), level_of_row, levels, columns }
    }
}

/// Data and model: `y = X b + sum_k Z_k u_k + e`.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    /// y.
    pub response: Vec<f64>,
    /// Columns of X; the intercept is one of them.
    pub fixed: Vec<Column>,
    /// The groupings, nested or crossed.
    pub random: Vec<Random>,
    /// Known variance of the error of each row, beside the independent one that all have; empty where nothing is known.
    pub known: Vec<f64>,
    /// Standard deviation of the independent error that every row has beside the known part, where it is held; 0 where all errors are
    /// known.
    pub residual_sd: Option<f64>,
}

impl Design {
    /// A design without random effects and known errors as yet.
    pub fn new(response: &[f64], fixed: Vec<Column>) -> Self {
        Self { response: response.to_vec(), fixed, random: Vec::new(), known: Vec::new(), residual_sd: None }
    }

    /// The same with one more grouping.
    #[must_use]
    pub fn random(mut self, random: Random) -> Self {
        self.random.push(random);
        self
    }

    /// Refuses what cannot be fitted.
    ///
    /// # Errors
    /// [`Error::Usage`] for lengths and indices that do not fit; [`Error::Setting`] for standard deviations that are none;
    /// [`Error::NotEstimable`] for numbers that are not finite and for variances that the design cannot tell apart.
    pub(super) fn check(&self) -> Result<()> {
        let n = self.response.len();
        if self.fixed.is_empty() {
            return Err(Error::Usage("a mixed model needs at least one fixed column, such as an intercept".to_owned()));
        }
        finite("the response", &self.response, n)?;
        for (i, column) in self.fixed.iter().enumerate() {
            finite(&column.name, &column.values, n)?;
            if self.fixed.iter().take(i).any(|other| other.name == column.name) {
                return Err(Error::Usage(format!("two fixed columns are named `{}`", column.name)));
            }
        }
        if n < self.fixed.len() + usize::from(self.residual_sd.is_none()) {
            let why = format!("{n} rows for {} fixed coefficients", self.fixed.len());
            return Err(Error::not_estimable("a mixed model", why));
        }
        if let Some(sd) = self.residual_sd.filter(|sd| !(*sd >= 0.0 && sd.is_finite())) {
            return Err(Error::setting("residual_sd", sd, "a standard deviation of 0 or more"));
        }
        self.check_known(n)?;
        self.random.iter().try_for_each(|term| self.check_random(term, n))
    }

    fn check_random(&self, term: &Random, n: usize) -> Result<()> {
        let name = &term.grouping;
        if term.level_of_row.len() != n || term.level_of_row.iter().any(|level| *level >= term.levels.len()) {
            return Err(Error::Usage(format!("the levels of grouping `{name}` do not fit the {n} rows")));
        }
        if term.columns.is_empty() {
            return Err(Error::Usage(format!("grouping `{name}` has no columns")));
        }
        for column in &term.columns {
            finite(&column.name, &column.values, n)?;
            if column.values.iter().all(|x| *x == 0.0) {
                let what = format!("the variance of `{}` by {name}", column.name);
                return Err(Error::not_estimable(what, "its column is zero everywhere"));
            }
        }
        let what = format!("the variance by {name}");
        let mut seen = term.level_of_row.clone();
        seen.sort_unstable();
        seen.dedup();
        if seen.len() < 2 {
            return Err(Error::not_estimable(what, "there is one level only, which the intercept stands for"));
        }
        if self.known.is_empty() && self.residual_sd.is_none() && seen.len() * term.columns.len() >= n {
            let why = format!(
                "{} random effects for {n} rows: they and the errors enter through their sum only",
                seen.len() * term.columns.len()
            );
            return Err(Error::not_estimable(what, why));
        }
        Ok(())
    }

    fn check_known(&self, n: usize) -> Result<()> {
        if !self.known.is_empty() && self.known.len() != n {
            return Err(Error::Usage(format!("{} known variances for {n} rows", self.known.len())));
        }
        match self.known.iter().find(|v| !(**v >= 0.0 && v.is_finite())) {
            Some(bad) => Err(Error::setting("known variance", bad, "a finite number from 0 up")),
            None => Ok(()),
        }
    }
}

fn finite(name: &str, values: &[f64], n: usize) -> Result<()> {
    if values.len() != n {
        return Err(Error::Usage(format!("`{name}` has {} rows and the response has {n}", values.len())));
    }
    match values.iter().position(|x| !x.is_finite()) {
        Some(row) => Err(Error::not_estimable(format!("`{name}`"), format!("its row {row} is not a finite number"))),
        None => Ok(()),
    }
}
