//! References at temperatures that no bath and no beer has: degrees Fahrenheit, or a slip.

use crate::liquid::TEMP_C;
use crate::season::loaded::Loaded;
use crate::season::names::some;

/// Most lines that a remark lists.
const LINES: usize = 6;
/// Degrees Fahrenheit of baths and beers, where they cannot be Celsius.
const FAHRENHEIT: std::ops::RangeInclusive<f64> = 45.0..=113.0;

/// Names the references whose temperature is outside what the formulas hold for.
pub(super) fn notice(loaded: &mut Loaded) {
    let is_odd = |temp_c: &f64| !(TEMP_C.0..=TEMP_C.1).contains(temp_c);
    let odd = loaded.references.iter().filter_map(|e| Some((e.file, e.line, e.row.temp_c.filter(is_odd)?)));
    let odd: Vec<(usize, u64, f64)> = odd.collect();
    for rows in odd.chunk_by(|a, b| a.0 == b.0) {
        let Some((file, line, _)) = rows.first() else { continue };
        let names: Vec<String> = rows.iter().map(|(_, line, temp_c)| format!("{temp_c} in line {line}")).collect();
        let unit = if rows.iter().all(|(.., temp_c)| FAHRENHEIT.contains(temp_c)) {
            ". Degrees Fahrenheit? Then say so in season.toml: temp_c = { from = \"temp_c\", unit = \"degF\" }"
        } else {
            ""
        };
        let (names, (low, high)) = (some(&names, LINES), TEMP_C);
        let text = format!("column `temp_c`: {names}; wanted {low} to {high} \u{b0}C, or no curve uses the bath{unit}");
        loaded.add_remark(*file, *line, text);
    }
}
