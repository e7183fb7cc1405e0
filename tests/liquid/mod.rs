//! Densities, scales and attenuation against published values.

mod attenuation;
mod density;
mod instruments;
mod inverses;

use std::collections::HashMap;

/// The rows of a reference table, by column name.
pub fn table(name: &str) -> Vec<HashMap<String, String>> {
    let path = format!("{}/tests/reference/physical/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(&path).unwrap();
    let rows: Vec<_> = reader.deserialize().collect::<Result<_, _>>().unwrap();
    assert!(!rows.is_empty(), "{path} is empty");
    rows
}

/// The number in a column, if the cell is not empty.
pub fn number(row: &HashMap<String, String>, column: &str) -> Option<f64> {
    let text = row.get(column).unwrap_or_else(|| panic!("no column {column}"));
    if text.is_empty() { None } else { Some(text.parse().unwrap()) }
}
