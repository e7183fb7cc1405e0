//! References at temperatures that no bath and no beer has: degrees Fahrenheit, or a slip.

use crate::liquid::TEMP_C;
use crate::season::loaded::Loaded;
use crate::season::names::some;

/// Most lines that a remark lists.
const LINES: usize = 6;
/// Degrees Fahrenheit of baths and beers that are none in Celsius.
const FAHRENHEIT: std::ops::RangeInclusive<f64> = 45.0..=113.0;

/// Names the references whose temperature is outside what the formulas hold for.
pub(super) fn notice(loaded: &mut Loaded) {
    let is_odd = |temp_c: &f64| !(TEMP_C.0..=TEMP_C.1).contains(temp_c);
    let odd = loaded.references.iter().filter_map(|e| Some((e.file, e.line, e.row.temp_c.filter(is_odd)?)));
    let odd: Vec<(usize, u64, f64)> = odd.collect();
    let Some((file, line, _)) = odd.first().copied() else { return };
    let names: Vec<String> = odd.iter().map(|(_, line, temp_c)| format!("{temp_c} in line {line}")).collect();
    let unit = match odd.iter().all(|(.., temp_c)| FAHRENHEIT.contains(temp_c)) {
        true => ". Degrees Fahrenheit? Then say so in season.toml: temp_c = { from = \"temp_c\", unit = \"degF\" }",
        false => "",
    };
    let (names, (low, high)) = (some(&names, LINES), TEMP_C);
    let text = format!("column `temp_c`: {names}; wanted {low} to {high} \u{b0}C, or no curve uses the bath{unit}");
    loaded.add_remark(file, line, text);
}
