//! Units by the ends of column names.

/// Ends of column names and the unit they stand for; longer ends first.
const UNITS: [(&str, &str); 17] = [
    ("_sg_per_30d", "SG per 30 d"),
    ("_deg_per_30d", "\u{b0} per 30 d"),
    ("_per_30d", "per 30 d"),
    ("_sg_per_day", "SG/day"),
    ("_mcells_ml_p", "million/(mL \u{b0}P)"),
    ("_kg_m3", "kg/m\u{b3}"),
    ("_percent", "%"),
    ("_deg", "\u{b0}"),
    ("_mm", "mm"),
    ("_sg", "SG"),
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
    let (stem, _) = split(name);
    // An error is rounded as an error; one in other units, such as hours, has them behind the `_se`.
    let is_error = |name: &str| name.ends_with("_se") || name.contains("_se_");
    if is_error(name) {
        return names.iter().find(|have| **have == name).copied();
    }
    let base = stem.strip_suffix("_lower").or_else(|| stem.strip_suffix("_upper")).unwrap_or(stem);
    let mut wanted = vec![format!("{name}_se"), format!("{base}_se")];
    let main = ["estimate", "difference", "lower", "upper", "drift"];
    if name == "se" || main.contains(&base) {
        wanted.push("se".to_owned());
    }
    let exact = || wanted.iter().find_map(|want| names.iter().find(|have| *have == want).copied());
    // `zero_deg_per_30d` and `zero_se_deg`, `share_out_of_limit` and `share_se`.
    let alike = || {
        names.iter().copied().filter(|have| is_error(have)).find(|have| {
            let of = have.split("_se").next().unwrap_or_default();
            base == of || name.strip_prefix(of).is_some_and(|rest| rest.starts_with('_'))
        })
    };
    exact().or_else(alike)
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
        let names = "lag_h lag_se drift_sg_per_30d se lower gradual_sg_per_30d gradual_se gradual_lower zero_deg_per_30d \
                     zero_lower_deg zero_se_deg share_out_of_limit share_se n";
        let names: Vec<&str> = names.split_whitespace().collect();
        let errors = "lag_se lag_se se se se gradual_se gradual_se gradual_se zero_se_deg zero_se_deg zero_se_deg share_se share_se";
        for (name, error) in names.iter().zip(errors.split(' ')) {
            assert_eq!(error_column(name, &names), Some(error), "{name}");
        }
        assert_eq!(error_column("n", &names), None);
    }
}
