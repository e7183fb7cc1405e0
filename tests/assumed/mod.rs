//! The page of assumed numbers: it names every one, and is written by a command.

mod figures;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use figures::{Figures, SEEDS};
use heelwort::study::Settings;

/// Settings whose default is assumed.
const SETTINGS: [(&str, &str, &str); 23] = [
    ("instruments.hydrometer_bias_sg", "SG", "bias of a hydrometer, SD"),
    ("instruments.refractometer_bias_sg", "SG", "bias of a refractometer, SD"),
    ("instruments.mass_sd_g", "g", "error of a probe's mass, SD"),
    ("instruments.diameter_sd_mm", "mm", "error of a probe's diameter, SD"),
    ("calibration.tilt_sd_deg", "degrees", "tilt from one immersion to the next, SD"),
    ("calibration.temp_sd_c", "C", "error of a probe's thermometer, SD"),
    ("calibration.weighed_gain", "share", "error of all weighed baths of a session, SD"),
    ("calibration.tap_water_sg", "SG", "tap water about distilled, SD"),
    ("drift.active_sg_per_day", "SG a day", "a fermentation that moves faster is active"),
    ("drift.active_sd_sg", "SG", "extra error of a pair from an active fermentation, SD"),
    ("drift.change_sd_sg", "SG", "how far a change of cell, shell or board moves a probe, SD"),
    ("drift.offset_prior.at_calibration_sd", "SG", "what one immersion differs from another, SD"),
    ("drift.offset_prior.per_root_30d_sd", "SG", "random walk in 30 days, SD"),
    ("drift.offset_prior.per_30d_sd", "SG", "steady drift in 30 days, SD"),
    ("kinetics.bubble_delay_h", "h", "delay by gas on a probe"),
    ("kinetics.bubble_delay_sd_h", "h", "its SD"),
    ("kinetics.foam_sg", "SG", "bias by foam; by hydrostatics for some tenths of a gram"),
    ("kinetics.foam_sd_sg", "SG", "its SD"),
    ("kinetics.disturbed_sd_sg", "SG", "how far a probe reads off for good after a dry hop, SD"),
    ("kinetics.instrument_share", "share", "part of a sample's variance that its instrument's samples have in common"),
    ("kinetics.stop_ale_c", "C", "below it the clock of an ale stops"),
    ("kinetics.stop_lager_c", "C", "below it the clock of a lager stops"),
    ("kinetics.lager_below_c", "C", "a colder batch is taken for a lager"),
];

/// An assumed number as the page names it.
#[derive(Debug, PartialEq)]
struct Number {
    name: String,
    value: String,
    what: String,
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") && path != root().join("src/assumed/mod.rs") {
            found.push(path);
        }
    }
}

/// Every number that the sources declare as assumed, and every such setting.
fn numbers() -> Vec<Number> {
    let mut files = Vec::new();
    sources(&root().join("src"), &mut files);
    let line = regex::Regex::new(r#"const (\w+): \w+ =\s+(.+), "(.+)";"#).unwrap();
    let mut all = Vec::new();
    for file in files {
        let module = file.strip_prefix(root().join("src")).unwrap().with_extension("");
        let module = module.to_str().unwrap().replace(std::path::MAIN_SEPARATOR, "::");
        let module = module.strip_suffix("::mod").unwrap_or(&module);
        let text = std::fs::read_to_string(&file).unwrap();
        for block in text.split("assumed! {\n").skip(1).filter_map(|rest| rest.split("\n}").next()) {
            let mut what = String::new();
            for row in block.lines().map(str::trim) {
                if let Some(doc) = row.strip_prefix("///") {
                    what += doc;
                } else {
                    let caught = line.captures(row).unwrap_or_else(|| panic!("{}: {row}", file.display()));
                    let value = format!("{} {}", &caught[2], &caught[3]);
                    let what = std::mem::take(&mut what).replace(['[', ']'], "");
                    all.push(Number { name: format!("{module}::{}", &caught[1]), value, what: what.trim().to_owned() });
                }
            }
        }
    }
    let settings = serde_json::to_value(Settings::default()).unwrap();
    all.extend(SETTINGS.iter().map(|(name, unit, what)| {
        let value = settings.pointer(&format!("/{}", name.replace('.', "/"))).unwrap();
        Number { name: format!("study.{name}"), value: format!("{value} {unit}"), what: (*what).to_owned() }
    }));
    all
}

fn page() -> String {
    std::fs::read_to_string(root().join("src/assumed/page.md")).unwrap()
}

#[test]
fn the_page_lists_every_assumed_number() {
    let on_page: Vec<Number> = page()
        .lines()
        .filter_map(|line| line.strip_prefix("| `"))
        .map(|line| {
            let cells: Vec<&str> = line.split(" | ").collect();
            let [name, value, what] = [cells[0].trim_end_matches('`'), cells[1], cells[2]].map(str::to_owned);
            Number { name, value, what }
        })
        .collect();
    assert_eq!(on_page, numbers(), "write the page anew: the command is in DEVELOPERS.md");
    assert!(on_page.len() > 100);
}

/// What half or twice of a number does, in a program of its own, as numbers are read once; none where it fails.
fn figures_with(change: &str) -> Option<Figures> {
    let mut child = Command::new(std::env::current_exe().unwrap());
    child.args(["--ignored", "--exact", "--nocapture", "assumed::figures::write_figures_of_one_change"]);
    let output = child.env("HEELWORT_VARY", change).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let (_, figures) = text.lines().find_map(|line| line.split_once("figures: "))?;
    Some(serde_json::from_str(figures).unwrap())
}

/// Measured before, by number and factor: what stands in the file `done` is not measured again.
fn known(done: &Path) -> BTreeMap<String, Option<Figures>> {
    let text = std::fs::read_to_string(done).unwrap_or_default();
    text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect()
}

#[test]
#[ignore = "writes the page of assumed numbers anew: takes an hour"]
fn write_the_page_of_assumed_numbers() {
    if !cfg!(feature = "vary") {
        panic!("build with --features vary");
    }
    let done = std::env::temp_dir().join("heelwort-assumed.jsonl");
    let mut figures = known(&done);
    let mut measured = |change: String| {
        if !figures.contains_key(&change) {
            let found = figures_with(&change);
            let line = serde_json::to_string(&(&change, &found)).unwrap();
            let mut file = std::fs::OpenOptions::new().append(true).create(true).open(&done).unwrap();
            std::io::Write::write_all(&mut file, format!("{line}\n").as_bytes()).unwrap();
            figures.insert(change.clone(), found);
        }
        figures[&change].clone()
    };
    let base = measured(String::new()).unwrap();
    let mut rows = String::new();
    for Number { name, value, what } in numbers() {
        let [half, twice] = ["0.5", "2"].map(|factor| {
            measured(format!("{name}={factor}")).map_or("the study fails".to_owned(), |figures| figures.beside(&base))
        });
        writeln!(rows, "| `{name}` | {value} | {what} | {half} | {twice} |").unwrap();
    }
    let git = |args: &[&str]| String::from_utf8(Command::new("git").args(args).output().unwrap().stdout).unwrap();
    let (commit, date) = (git(&["rev-parse", "--short", "HEAD"]), git(&["log", "-1", "--format=%cs"]));
    let text = page();
    let head = text.split("\nMeasured at ").next().unwrap().trim_end();
    let (commit, date, seasons) = (commit.trim(), date.trim(), SEEDS.end - SEEDS.start);
    let measured = format!("Measured at commit {commit} of {date} on {seasons} seasons, seeds {SEEDS:?}. {base}");
    let table = format!("| number | value | what it is | half | twice |\n| --- | --- | --- | --- | --- |\n{rows}");
    std::fs::write(root().join("src/assumed/page.md"), format!("{head}\n\n{measured}\n\n{table}")).unwrap();
}
