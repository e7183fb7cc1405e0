//! Published and independently computed answers, and how near to them a number is.

use serde_json::Value;

/// A reference file under `tests/reference/statistics/`.
pub fn reference(name: &str) -> Value {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/statistics").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|why| panic!("{}: {why}", path.display()));
    serde_json::from_str(&text).unwrap()
}

/// A list of numbers, or one.
pub fn numbers(value: &Value) -> Vec<f64> {
    match value {
        Value::Array(list) => list.iter().map(|x| x.as_f64().unwrap()).collect(),
        other => vec![other.as_f64().unwrap()],
    }
}

/// `found` within `tolerance` of `right`, relative.
#[track_caller]
pub fn near(found: f64, right: f64, tolerance: f64) {
    let error = if right == 0.0 { found.abs() } else { ((found - right) / right).abs() };
    assert!(error <= tolerance, "found {found}, wanted {right}: off by {error:e}, allowed {tolerance:e}");
}
