//! Units by the ends of column names.

/// Ends of column names and the unit they stand for; longer ends first.
const UNITS: [(&str, &str); 16] = [
    ("_sg_per_30d", "SG per 30 d"),
    ("_sg_per_day", "SG/day"),
    ("_mcells_ml_p", "million/(mL \u{b0}P)"),
    ("_kg_m3", "kg/m\u{b3}"),
    ("_percent", "%"),
    ("_deg", "\u{b0}"),
    ("_mm", "mm"),
    ("_sg", "SG"),
    ("_ml", "mL"),
    ("_at", "UTC"),
    ("_c", "\u{b0}C"),
    ("_h", "h"),
    ("_d", "d"),
    ("_g", "g"),
    ("_v", "V"),
    ("_l", "L"),
];

/// The name without its unit, and the unit; empty where the name tells none.
pub(super) fn split(name: &str) -> (&str, &'static str) {
    for (end, unit) in UNITS {
        if let Some(stem) = name.strip_suffix(end) {
            return (stem, unit);
        }
    }
    match name {
        "sg_min" | "sg_max" => (name, "SG"),
        _ if name.starts_with("terminal_p") => (name, "SG"),
        _ => (name, ""),
    }
}

/// The column that holds the standard error of `name`, among `names`.
pub(super) fn error_column<'a>(name: &str, names: &[&'a str]) -> Option<&'a str> {
    let (stem, unit) = split(name);
    let base = stem.strip_suffix("_lower").or_else(|| stem.strip_suffix("_upper")).unwrap_or(stem);
    let mut wanted = vec![format!("{name}_se"), format!("{base}_se"), format!("{base}_se_{}", unit)];
    let main = ["estimate", "difference", "lower", "upper", "drift"];
    if name == "se" || main.contains(&base) {
        wanted.push("se".to_owned());
    }
    if name.ends_with("_se") {
        wanted.insert(0, name.to_owned());
    }
    wanted.iter().find_map(|want| names.iter().find(|have| *have == want).copied())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_tells_its_unit() {
        assert_eq!(split("max_rate_sg_per_day"), ("max_rate", "SG/day"));
        assert_eq!(split("water_tilt_deg"), ("water_tilt", "\u{b0}"));
        assert_eq!(split("attenuation"), ("attenuation", ""));
    }

    #[test]
    fn an_estimate_finds_its_error() {
        let names = [
            "lag_h",
            "lag_se",
            "drift_sg_per_30d",
            "se",
            "lower",
            "gradual_sg_per_30d",
            "gradual_se",
            "gradual_lower",
            "n",
        ];
        assert_eq!(error_column("lag_h", &names), Some("lag_se"));
        assert_eq!(error_column("lag_se", &names), Some("lag_se"));
        assert_eq!(error_column("drift_sg_per_30d", &names), Some("se"));
        assert_eq!(error_column("lower", &names), Some("se"));
        assert_eq!(error_column("gradual_lower", &names), Some("gradual_se"));
        assert_eq!(error_column("n", &names), None);
    }
}
