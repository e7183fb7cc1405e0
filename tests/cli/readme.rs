//! What README names is there: commands, files, columns, words and settings.

use std::path::Path;

use heelwort::season::Season;
use heelwort::study::{ReportSettings, Settings};

use super::heelwort;

const README: &str = include_str!("../../README.md");

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The fenced blocks of a language.
fn blocks(language: &str) -> Vec<&'static str> {
    let fence = format!("```{language}\n");
    README.split(&fence).skip(1).filter_map(|rest| rest.split("```").next()).collect()
}

/// What stands in backticks.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

/// The cells of the row of a table that begins with these words.
#[track_caller]
fn row(first: &str) -> Vec<&'static str> {
    let line = README.lines().find(|line| line.starts_with(&format!("| {first} |")));
    line.unwrap_or_else(|| panic!("README has no row {first}")).trim_matches('|').split('|').map(str::trim).collect()
}

#[test]
fn commands_and_their_options_are_known() {
    let lines = blocks("sh").into_iter().flat_map(str::lines).filter_map(|line| line.split("--release -- ").nth(1));
    let mut seen = 0;
    for line in lines {
        let words: Vec<&str> = line.split('#').next().unwrap().split_whitespace().collect();
        let asked = ["help", words[0]];
        let help = heelwort(if words[0] == "help" { &asked[..1] } else { &asked });
        assert_eq!(help.code, 0, "{line}: {help:?}");
        for option in words.iter().filter(|word| word.starts_with("--")) {
            assert!(help.out.contains(option), "{option} of `{line}` is not in: {}", help.out);
        }
        seen += 1;
    }
    assert!(seen >= 5, "{seen} commands");
}

#[test]
fn files_that_it_links_are_there() {
    let mut seen = 0;
    for path in README.split("](").skip(1).filter_map(|rest| rest.split(')').next()).filter(|p| !p.contains("://")) {
        assert!(root().join(path).exists(), "README links {path}");
        seen += 1;
    }
    for path in quoted(README).filter(|path| path.starts_with("datasets/") || path.starts_with("notebooks/")) {
        assert!(root().join(path).exists(), "README names {path}");
        seen += 1;
    }
    assert!(seen >= 15, "{seen} paths");
}

/// Writes the tables of README with all their columns, and these rows of single columns.
fn season(dir: &Path, rows: &[(&str, &str, &str)]) -> Season {
    for table in ["readings", "references", "batches", "probes", "events", "plan"] {
        let columns: Vec<&str> =
            row(&format!("`{table}.csv`"))[2].split(',').map(|c| c.trim().trim_matches('?')).collect();
        let mut text = columns.join(",") + "\n";
        for (_, column, value) in rows.iter().filter(|(of, ..)| *of == table) {
            assert!(columns.contains(column), "README's {table} have no column {column}");
            let cell = |name: &&str| match *name {
                name if name == *column => (*value).to_owned(),
                // One probe has one row, and rows that are alike would be one.
                "probe" if table == "probes" => format!("knot-{}", text.len()),
                "at" => format!("2031-03-01T{:02}:{:02}:00Z", text.len() / 60 % 24, text.len() % 60),
                "sg" => "1.010".to_owned(),
                "kind" => "other".to_owned(),
                _ => String::new(),
            };
            text += &(columns.iter().map(cell).collect::<Vec<_>>().join(",") + "\n");
        }
        std::fs::write(dir.join(format!("{table}.csv")), text).unwrap();
    }
    Season::load(dir).unwrap()
}

#[test]
fn columns_and_the_words_they_take_are_understood() {
    let home = tempfile::tempdir().unwrap();
    let of = |name: &str, table: &'static str, column: &'static str| -> Vec<(&str, &str, &str)> {
        quoted(row(name)[1]).map(|word| (table, column, word)).collect()
    };
    let words = [
        of("`method`", "references", "method").into_iter().filter(|(.., word)| *word != "sg_sd").collect(),
        of("`use`", "references", "use"),
        of("`bottom`, `top`", "probes", "bottom"),
        of("`shell`", "probes", "shell"),
        of("`kind` of an event", "events", "kind")
            .into_iter()
            .filter(|(.., word)| !["value", "warmed"].contains(word))
            .collect(),
    ]
    .concat();
    assert!(words.len() > 30, "{words:?}");
    let account = season(home.path(), &words).account;
    assert!(account.unknown_columns.is_empty() && account.rejected.is_empty(), "{account}");
    let said = account.to_string();
    assert!(!said.contains("did you mean") && !said.contains("unknown"), "{said}");
}

#[test]
fn units_are_known() {
    let units: Vec<&str> = quoted(row("`unit` in `season.toml`")[1]).collect();
    let columns = ["tilt_deg", "temp_c", "sg", "supply_v", "total_mass_g", "diameter_mm", "volume_l"];
    for unit in &units {
        let read = |column: &&str| {
            let home = tempfile::tempdir().unwrap();
            season(home.path(), &[]);
            let table = match *column {
                "tilt_deg" | "temp_c" | "supply_v" => "readings",
                "sg" => "references",
                "volume_l" => "batches",
                _ => "probes",
            };
            let text = std::fs::read_to_string(home.path().join(format!("{table}.csv"))).unwrap();
            let others: Vec<&str> = text.trim().split(',').filter(|name| name != column).collect();
            let same = others.iter().map(|name| format!("{name} = \"{name}\"")).collect::<Vec<_>>().join(", ");
            let rule = format!(
                "[[files]]\nmatch = \"{table}.csv\"\ntable = \"{table}\"\ncolumns = {{ {same}, {column} = {{ from = \"{column}\", unit = \"{unit}\" }} }}\n"
            );
            std::fs::write(home.path().join("season.toml"), rule).unwrap();
            Season::load(home.path()).is_ok()
        };
        assert!(columns.iter().any(read), "no column takes the unit {unit}");
    }
    assert!(units.len() > 20, "{units:?}");
}

#[test]
fn settings_and_the_example_of_a_mapping_are_taken() {
    let home = tempfile::tempdir().unwrap();
    for file in ["log-dunlin.csv", "references.csv", "batches.csv", "probes.csv"] {
        std::fs::copy(root().join("datasets/first-season").join(file), home.path().join(file)).unwrap();
    }
    let mut seen = 0;
    for block in blocks("toml") {
        Settings::from_season_toml(block).unwrap();
        ReportSettings::from_season_toml(block).unwrap();
        if block.contains("[[files]]") {
            std::fs::write(home.path().join("season.toml"), block).unwrap();
            let account = Season::load(home.path()).unwrap().account;
            assert!(account.rejected.is_empty() && account.remarks.is_empty(), "{account}");
        }
        seen += 1;
    }
    assert!(seen >= 3, "{seen} blocks");
}
