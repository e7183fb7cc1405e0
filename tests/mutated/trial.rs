//! What must hold of any input.

use std::collections::HashSet;
use std::path::Path;

use heelwort::Instant;
use heelwort::error::Error;
use heelwort::report;
use heelwort::season::Season;
use heelwort::study::{ReportSettings, SeasonStudy, Settings, Study};

use super::changes::PAGES_CHANGED;
use super::seasons::Files;

/// Longest message, bytes.
const LONGEST: usize = 4096;

/// `Ok` with whether the season was read, or what is wrong.
pub fn tried(dir: &Path, files: &Files, study: bool) -> Result<bool, String> {
    let settings = || Settings::of_folder(dir).and_then(|_| ReportSettings::of_folder(dir));
    let season = match settings().and_then(|_| Season::load(dir)) {
        Ok(season) => season,
        Err(error) => return short(&error.to_string()).map(|()| false),
    };
    account_holds(&season, files)?;
    let input = Input::of(files);
    if files.contains_key(PAGES_CHANGED) || files.contains_key("season.toml") {
        input.holds_ids(&season)?;
    } else {
        input.holds(&season)?;
    }
    if study && !(season.readings.is_empty() && season.references.is_empty()) {
        studied(dir, season)?;
    }
    Ok(true)
}

fn wanted(holds: bool, what: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(what()) }
}

fn short(message: &str) -> Result<(), String> {
    wanted(message.len() <= LONGEST, || format!("a message of {} bytes: {message:.200}", message.len()))
}

fn account_holds(season: &Season, files: &Files) -> Result<(), String> {
    let account = &season.account;
    wanted(account.adds_up(), || format!("does not add up: {account}"))?;
    let kept =
        |table: &str| account.files.iter().filter(|f| f.table == table).map(|f| f.kept + f.flagged).sum::<usize>();
    let rows = [
        ("readings", season.readings.len()),
        ("references", season.references.len()),
        ("batches", season.batches.len()),
        ("probes", season.probes.len()),
        ("events", season.events.len()),
        ("plan", season.plan.len()),
    ];
    for (table, rows) in rows {
        wanted(kept(table) == rows, || format!("{rows} rows of {table}: {account}"))?;
    }
    // Rows of a plain text are its lines but the header.
    for file in &account.files {
        let Some(text) = files.get(&file.file).filter(|text| file.file.ends_with(".csv") && is_plain(text)) else {
            continue;
        };
        let blank = |line: &&[u8]| !line.iter().all(u8::is_ascii_whitespace);
        let lines = text.split(|b| *b == b'\n').filter(blank).count() - 1;
        let is_mapped = files.contains_key("season.toml");
        wanted(is_mapped || file.read == lines, || format!("{lines} lines: {account}"))?;
    }
    for line in account.to_string().lines() {
        short(line)?;
    }
    account.rejected.iter().try_for_each(|row| short(&row.reason.to_string()))
}

/// True for a text whose rows are its lines.
fn is_plain(text: &[u8]) -> bool {
    text.contains(&b'\n') && !text.contains(&b'"') && !text.contains(&b'\r')
}

/// What stands in the files.
struct Input {
    words: HashSet<String>,
    numbers: HashSet<u64>,
    /// Readings by probe, tilt, temperature and, where it is plain, time.
    readings: HashSet<(String, u64, u64, Option<i64>)>,
    /// False where readings stand elsewhere too, or not one a line.
    lists_readings: bool,
}

impl Input {
    fn of(files: &Files) -> Self {
        let (mut words, mut readings) = (HashSet::new(), HashSet::new());
        let mut lists_readings = true;
        for (name, bytes) in files {
            let text = String::from_utf8_lossy(bytes);
            words.extend(text.split([',', ';', '\t', '"', '\n', '\r']).map(|word| word.trim().to_owned()));
            // JSON lines: their keys and values.
            words.extend(text.split(['"', ':', ',', '{', '}', '\n']).map(|word| word.trim().to_owned()));
            words.extend(text.split('"').map(|word| word.trim().to_owned()));
            if name.trim_start_matches('.') == "readings.csv" && is_plain(bytes) {
                readings.extend(readings_of(&text));
            } else if name.ends_with(".csv") && name.contains("readings") || name == "readings.ndjson" {
                lists_readings = false;
            }
        }
        let numbers = words.iter().filter_map(|word| word.parse::<f64>().ok()).map(f64::to_bits).collect();
        Self { words, numbers, readings, lists_readings }
    }

    fn holds_ids(&self, season: &Season) -> Result<(), String> {
        let ids = season.readings.probe_ids.iter().chain(season.batches.iter().map(|b| &b.batch));
        let ids = ids.chain(season.probes.iter().map(|p| &p.probe)).chain(season.batches.iter().map(|b| &b.strain));
        let made_up = ids
            .into_iter()
            .find(|id| !id.contains(['\\', ';', ':', '{', '}', '"']) && !self.words.contains(id.as_str()));
        wanted(made_up.is_none(), || format!("the id {made_up:?} stands in no input"))
    }

    fn holds(&self, season: &Season) -> Result<(), String> {
        self.holds_ids(season)?;
        let numbers = season.references.iter().filter(|r| r.sg_given).map(|r| r.sg);
        let numbers = numbers.chain(season.references.iter().filter_map(|r| r.tilt_deg));
        let numbers = numbers.chain(season.references.iter().filter_map(|r| r.sg_sd));
        let numbers = numbers.chain(season.batches.iter().filter_map(|b| b.original_sg));
        let mut numbers = numbers.chain(season.probes.iter().filter_map(|p| p.total_mass_g));
        let made_up = numbers.find(|number| !self.numbers.contains(&number.to_bits()));
        wanted(made_up.is_none(), || format!("the number {made_up:?} stands in no input"))?;
        for row in (0..season.readings.len()).filter(|_| self.lists_readings) {
            let r = season.readings.get(row).unwrap();
            let at = |at| (r.probe.to_owned(), r.tilt_deg.to_bits(), r.temp_c.to_bits(), at);
            let is_there = self.readings.contains(&at(Some(r.at.micros()))) || self.readings.contains(&at(None));
            wanted(is_there, || format!("{r:?} stands in no input"))?;
        }
        Ok(())
    }
}

/// The readings of a table of text, each on its line, the columns by the names in its header.
fn readings_of(text: &str) -> Vec<(String, u64, u64, Option<i64>)> {
    let mut lines = text.trim_start_matches('\u{feff}').lines().filter(|line| !line.trim().is_empty());
    let header = lines.next().unwrap_or_default();
    let delimiter = [',', ';', '\t'].into_iter().max_by_key(|d| header.matches(*d).count()).unwrap_or(',');
    let header: Vec<&str> = header.split(delimiter).map(str::trim).collect();
    let place = |name: &str| header.iter().position(|column| *column == name);
    let (Some(at), Some(probe), Some(tilt), Some(temp)) =
        (place("at"), place("probe"), place("tilt_deg"), place("temp_c"))
    else {
        return Vec::new();
    };
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(delimiter).map(str::trim).collect();
        let bits = |i: usize| cells.get(i)?.parse::<f64>().ok().map(f64::to_bits);
        let micros = Instant::parse(cells.get(at)?).ok().map(Instant::micros);
        Some(((*cells.get(probe)?).to_owned(), bits(tilt)?, bits(temp)?, micros))
    };
    lines.filter_map(row).collect()
}

/// A season that was read is studied to an end, with whole numbers in every table and a report.
fn studied(dir: &Path, season: Season) -> Result<(), String> {
    let readings: HashSet<(i64, String)> = (0..season.readings.len())
        .filter_map(|i| season.readings.get(i))
        .map(|r| (r.at.micros(), r.probe.to_owned()))
        .collect();
    let study = match Study::of(season).run() {
        Ok(study) => study,
        Err(Error::NotEstimable { .. }) => return Ok(()),
        Err(error) => return Err(format!("study: {error}")),
    };
    tables_hold(&study, &readings)?;
    let tables = study.tables().map_err(|error| format!("tables: {error}"))?;
    let summary = report::Summary::of(&study).text(80);
    summary.lines().try_for_each(short)?;
    report::write(&study, &tables, &dir.join("report")).map_err(|error| format!("report: {error}"))?;
    Ok(())
}

fn tables_hold(study: &SeasonStudy, readings: &HashSet<(i64, String)>) -> Result<(), String> {
    for (name, frame) in study.tables().map_err(|error| format!("tables: {error}"))? {
        for column in frame.columns() {
            let Ok(numbers) = column.f64() else { continue };
            let odd = numbers.iter().flatten().find(|number| !number.is_finite());
            wanted(odd.is_none(), || format!("{name}.{} holds {odd:?}", column.name()))?;
            let is_se = column.name().ends_with("_se") && numbers.iter().flatten().any(|se| se < 0.0);
            wanted(!is_se, || format!("{name}.{} is below 0", column.name()))?;
        }
        if name == "gravity" {
            let (at, probe) = (frame.column("at").unwrap(), frame.column("probe").unwrap());
            let at = at.datetime().unwrap().physical().clone();
            let pairs = at.iter().zip(probe.str().unwrap().iter());
            let made_up =
                pairs.filter_map(|(at, probe)| Some((at?, probe?.to_owned()))).find(|row| !readings.contains(row));
            wanted(made_up.is_none(), || format!("gravity has {made_up:?}"))?;
        }
    }
    Ok(())
}
