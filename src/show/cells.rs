//! Values of a frame as texts.

use jiff::tz::TimeZone;
use polars::prelude::{AnyValue, DataFrame, DataType, TimeUnit};

use crate::chart::{minute, signed};
use crate::fit::decimals_for;
use crate::fit::robust::median_of;
use crate::units::Instant;

use super::grid::GridColumn;
use super::units::{error_column, split};

/// Columns whose rows may be of different quantities, with their errors and ends.
const MIXED: [&str; 2] = ["estimate", "difference"];
const OF_MIXED: [&str; 5] = ["estimate", "difference", "se", "lower", "upper"];

/// Columns of sentences, which many rows share or which would make their rows tall.
const NOTES: [&str; 2] = ["why", "advice"];

/// The first `rows` rows of a column; none for a name that the frame lacks.
pub(super) fn column(frame: &DataFrame, name: &str, rows: usize) -> Option<GridColumn> {
    let names: Vec<&str> = frame.get_column_names().into_iter().map(|name| name.as_str()).collect();
    let column = frame.column(name).ok()?;
    let errors = error_column(name, &names).and_then(|error| frame.column(error).ok());
    let (_, unit) = split(name);
    let unit = if matches!(column.dtype(), DataType::Datetime(..)) { "UTC" } else { unit };
    let error_at = |row: usize| errors.and_then(|e| e.get(row).ok()).and_then(|v| v.extract::<f64>());
    // A column of one quantity keeps one number of decimals, that of its middle error, so that the points line up.
    let mixed = OF_MIXED.contains(&name) && MIXED.iter().any(|one| names.contains(one));
    let middle = if mixed { None } else { middle((0..column.len()).filter_map(error_at)) };
    let whole = column.f64().is_ok_and(|numbers| numbers.iter().flatten().all(|v| v.fract() == 0.0));
    let texts = (0..column.len().min(rows))
        .map(|row| column.get(row).map(|value| text(&value, name, middle.or(error_at(row)), whole)).unwrap_or_default())
        .collect();
    Some(GridColumn {
        heading: name.to_owned(),
        unit: unit.to_owned(),
        right: right(column.dtype()),
        notes: NOTES.contains(&name),
        texts,
    })
}

fn middle(errors: impl Iterator<Item = f64>) -> Option<f64> {
    median_of(&mut errors.filter(|v| v.is_finite() && *v > 0.0).collect::<Vec<f64>>())
}

fn right(dtype: &DataType) -> bool {
    dtype.is_primitive_numeric() || matches!(dtype, DataType::Datetime(..))
}

/// One value; a null is empty. A number is rounded to its standard error, else by its unit.
fn text(value: &AnyValue<'_>, name: &str, error: Option<f64>, whole: bool) -> String {
    match value {
        AnyValue::Null => String::new(),
        AnyValue::String(text) => (*text).to_owned(),
        AnyValue::StringOwned(text) => text.to_string(),
        AnyValue::Boolean(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        AnyValue::Float64(number) => self::number(*number, name, error, whole),
        AnyValue::Float32(number) => self::number(f64::from(*number), name, error, whole),
        AnyValue::Datetime(at, unit, _) => time(*at, *unit),
        AnyValue::DatetimeOwned(at, unit, _) => time(*at, *unit),
        other => other.to_string(),
    }
}

fn number(value: f64, name: &str, error: Option<f64>, whole: bool) -> String {
    if !value.is_finite() {
        return String::new();
    }
    let decimals = match error {
        Some(se) if se > 0.0 && se.is_finite() => decimals_for(se),
        _ if is_share(name) && !whole => return share(value),
        _ => match (name, split(name).1) {
            (_, "") if whole => 0,
            (name, _) if name.starts_with("deg_per") => 2,
            (_, "SG/day") => 5,
            (_, "SG") => 4,
            (_, "\u{b0}") => 2,
            (_, "\u{b0}C" | "h" | "d" | "%" | "mm" | "g") => 1,
            ("level" | "stage" | "progress", _) => 2,
            (name, _) if name.contains("attenuation") => 3,
            _ => four_digits(value),
        },
    };
    signed(value, decimals, false)
}

/// Whether a column holds probabilities or weights.
fn is_share(name: &str) -> bool {
    name.starts_with("p_") || (name.ends_with("_p") && split(name).1.is_empty())
}

/// A probability: none that is estimated is quite 0 or 1, whatever its last digits were rounded to.
fn share(p: f64) -> String {
    match p {
        p if p < 0.0005 => "< 0.001".to_owned(),
        p if p > 0.9995 => "> 0.999".to_owned(),
        p => format!("{p:.3}"),
    }
}

/// Decimals that show four digits of `value`.
fn four_digits(value: f64) -> usize {
    if value == 0.0 { 0 } else { (3 - value.abs().log10().floor() as i32).clamp(0, 12) as usize }
}

/// A time to the minute.
fn time(at: i64, unit: TimeUnit) -> String {
    let micros = match unit {
        TimeUnit::Nanoseconds => at.div_euclid(1000),
        TimeUnit::Microseconds => at,
        TimeUnit::Milliseconds => at.saturating_mul(1000),
    };
    minute(Instant::from_micros(micros), &TimeZone::UTC)
}
