//! Columns of the studies' tables.

use polars::prelude::{Column, DataFrame, DataType, NamedFrom, Series, TimeUnit, TimeZone};

use crate::error::{Error, Result};
use crate::fit::Finding;
use crate::units::Instant;

/// UTC instants, to the microsecond; nulls stay nulls.
pub(crate) fn instants(name: &str, values: impl IntoIterator<Item = Option<Instant>>) -> Result<Column> {
    let micros: Vec<Option<i64>> = values.into_iter().map(|at| at.map(Instant::micros)).collect();
    let time = DataType::Datetime(TimeUnit::Microseconds, Some(TimeZone::UTC));
    Series::new(name.into(), micros).cast(&time).map(Column::from).map_err(|why| Error::frame(name, why))
}

/// Numbers; anything not finite is null.
pub(crate) fn numbers(name: &str, values: impl IntoIterator<Item = Option<f64>>) -> Column {
    let values: Vec<Option<f64>> = values.into_iter().map(|v| v.filter(|v| v.is_finite())).collect();
    Series::new(name.into(), values).into()
}

/// Counts.
pub(crate) fn counts(name: &str, values: impl IntoIterator<Item = usize>) -> Column {
    let values: Vec<i64> = values.into_iter().map(|n| n as i64).collect();
    Series::new(name.into(), values).into()
}

/// Truth values.
pub(crate) fn truths(name: &str, values: impl IntoIterator<Item = Option<bool>>) -> Column {
    let values: Vec<Option<bool>> = values.into_iter().collect();
    Series::new(name.into(), values).into()
}

/// Texts.
pub(crate) fn texts<T: AsRef<str>>(name: &str, values: impl IntoIterator<Item = Option<T>>) -> Column {
    let values: Vec<Option<String>> = values.into_iter().map(|text| text.map(|t| t.as_ref().to_owned())).collect();
    Series::new(name.into(), values).into()
}

/// Columns of findings: the value, its SE, the interval, its level, method and the reason where there is none.
pub(crate) fn findings(names: [&str; 7], findings: &[&Finding]) -> Vec<Column> {
    let [value, se, lower, upper, level, method, why] = names;
    let each = || findings.iter().map(|finding| finding.estimate());
    vec![
        numbers(value, findings.iter().map(|finding| finding.value())),
        numbers(se, each().map(|e| e.map(|e| e.se))),
        numbers(lower, each().map(|e| e.map(|e| e.lower))),
        numbers(upper, each().map(|e| e.map(|e| e.upper))),
        numbers(level, each().map(|e| e.map(|e| e.level))),
        texts(method, each().map(|e| e.map(|e| e.method.clone()))),
        texts(why, findings.iter().map(|finding| finding.why())),
    ]
}

/// The frame of a table.
pub(crate) fn frame(table: &str, rows: usize, columns: Vec<Column>) -> Result<DataFrame> {
    DataFrame::new(rows, columns).map_err(|why| Error::frame(table, why))
}
