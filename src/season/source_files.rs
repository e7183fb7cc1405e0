//! Which files of a folder belong to which table.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::error::{Error, Place, Result};

use super::account::Remark;
use super::mapping::{Mapping, SeasonMap};
use super::mapping_file::{SEASON_TOML, read_season_map};
use super::names::{guess, list, visible};
use super::table::SeasonTable;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Storage {
    Csv,
    Ndjson,
    Parquet,
}

#[derive(Debug, Clone)]
pub(crate) struct SourceFile {
    pub(crate) path: PathBuf,
    /// Its name relative to the season's folder, with `/`.
    pub(crate) name: String,
    pub(crate) storage: Storage,
    pub(crate) gzip: bool,
    /// The table; none when a single file's columns have to tell.
    pub(crate) table: Option<SeasonTable>,
    pub(crate) mapping: Mapping,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct Discovered {
    pub(crate) files: Vec<SourceFile>,
    pub(crate) unmatched: Vec<String>,
    pub(crate) remarks: Vec<Remark>,
}

/// Beginnings of names, in lower case, that say by themselves that they are no data: passed over in silence.
const NOT_DATA: [&str; 4] = ["readme", "license", "licence", "changelog"];
/// Files and folders that go with a season and are never input: the truth of a simulated one, the origin of a
/// converted one.
const BESIDE: [&str; 3] = ["truth", "source", "source.md"];
/// How deep folders are searched for files that season.toml may name.
const DEPTH: usize = 6;
/// The file that tells a report from other folders; it lists what was written. A report is no input.
pub(crate) const REPORT_MARKER: &str = ".heelwort-report";
/// Most files looked at: a folder with more is no season's.
const MAX_FILES: usize = 200_000;

/// The stem, storage and packing that a file's name tells, if it is one that is read.
fn storage_of(name: &str) -> Option<(&str, Storage, bool)> {
    let (rest, gzip) = name.strip_suffix(".gz").map_or((name, false), |rest| (rest, true));
    let (stem, extension) = rest.rsplit_once('.')?;
    match extension {
        "csv" | "tsv" | "txt" => Some((stem, Storage::Csv, gzip)),
        "ndjson" | "jsonl" => Some((stem, Storage::Ndjson, gzip)),
        "parquet" if !gzip => Some((stem, Storage::Parquet, false)),
        _ => None,
    }
}

/// The files of the season at `path`: a folder, or a single file.
pub(crate) fn discover(path: &Path) -> Result<Discovered> {
    let meta = std::fs::metadata(path).map_err(|e| Error::io("opening", path, e))?;
    if meta.is_file() { single(path) } else { folder(path) }
}

fn single(path: &Path) -> Result<Discovered> {
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let map = read_season_map(path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")))?;
    let Some((stem, mut file)) = source_file(&map, path.to_path_buf(), &name) else {
        let wanted = "a folder, or a .csv, .csv.gz, .ndjson, .ndjson.gz or .parquet file";
        return Err(Error::input(Place::file(&name), "a file of another kind", wanted));
    };
    let is_named = |table: &SeasonTable| {
        stem.strip_prefix(table.name()).is_some_and(|rest| !rest.starts_with(char::is_alphanumeric))
    };
    file.table = file.table.or_else(|| SeasonTable::ALL.into_iter().find(is_named));
    Ok(Discovered { files: vec![file], ..Discovered::default() })
}

/// A file that can be read and the stem of its name, with what season.toml says of it.
fn source_file<'a>(map: &SeasonMap, path: PathBuf, name: &'a str) -> Option<(&'a str, SourceFile)> {
    let (stem, storage, gzip) = storage_of(name)?;
    let rule = map.files.iter().find_map(|rule| Some((Some(rule.table), rule.matching(name)?)));
    let (table, mapping) = rule.unwrap_or_else(|| (None, Mapping::plain(map.zone.clone())));
    Some((stem, SourceFile { path, name: name.to_owned(), storage, gzip, table, mapping }))
}

fn folder(dir: &Path) -> Result<Discovered> {
    let map = read_season_map(dir)?;
    let mut files = Vec::new();
    walk(dir, dir, "", 0, &mut files)?;
    files.sort();
    let mut found = Discovered::default();
    // The files of each table that go by the table's own name, by what they would hold.
    let mut own: BTreeMap<(SeasonTable, String), String> = BTreeMap::new();
    for (name, path) in files.into_iter().filter(|(name, _)| name != SEASON_TOML) {
        let Some((stem, mut file)) = source_file(&map, path, &name) else {
            found.unmatched.push(name);
            continue;
        };
        if file.table.is_none() {
            file.table = match stem.split_once('/') {
                None => SeasonTable::from_name(stem),
                Some((folder, rest)) => SeasonTable::from_name(folder).filter(|_| !rest.contains('/')),
            };
            let Some(table) = file.table else {
                found.unmatched.push(name);
                continue;
            };
            let other = own.insert((table, stem.to_owned()), name.clone());
            let beside = || own.get(&(table, table.name().to_owned())).filter(|_| stem.contains('/')).cloned();
            if let Some(other) = other.or_else(beside) {
                let found = format!("the table {table} both in {other} and in {name}");
                let wanted = "one of them, as rows of both would count twice";
                return Err(Error::input(Place::file(&other), found, wanted));
            }
        }
        found.files.push(file);
    }
    for rule in map.files.iter().filter(|rule| !found.files.iter().any(|file| rule.matching(&file.name).is_some())) {
        let text = format!("no file matches `{}`", rule.pattern);
        found.remarks.push(Remark { file: SEASON_TOML.to_owned(), line: None, text });
    }
    found.unmatched = by_folder(found.unmatched);
    if found.files.is_empty() {
        return Err(nothing_found(dir, &found.unmatched));
    }
    Ok(found)
}

/// Names of files that are not read, those of one folder as one.
fn by_folder(names: Vec<String>) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for name in names {
        let name = name.split_once('/').map_or(name.clone(), |(folder, _)| format!("{folder}/"));
        if found.last() != Some(&name) {
            found.push(name);
        }
    }
    found
}

fn nothing_found(dir: &Path, unmatched: &[String]) -> Error {
    let found = if unmatched.is_empty() {
        "no file that could be a table".to_owned()
    } else {
        format!("only {}", list(unmatched))
    };
    let error = Error::input(
        Place::file(dir),
        found,
        "readings.csv, references.csv, batches.csv and probes.csv (or .csv.gz, .ndjson, .ndjson.gz, .parquet, or folders \
         of those names), or a season.toml that says which files are which",
    );
    let stems: Vec<&str> = unmatched.iter().filter_map(|name| Some(storage_of(name)?.0)).collect();
    let near = SeasonTable::ALL.into_iter().find_map(|t| Some((t, guess(t.name(), &stems)?)));
    error.with_hint(near.map(|(table, stem)| format!("is `{stem}` the table {table}?")))
}

/// The files below a folder, by name and path: a name may not be what it is shown as.
fn walk(root: &Path, dir: &Path, prefix: &str, depth: usize, files: &mut Vec<(String, PathBuf)>) -> Result<()> {
    for entry in std::fs::read_dir(dir).map_err(|e| Error::io("reading the folder", dir, e))? {
        let entry = entry.map_err(|e| Error::io("reading the folder", dir, e))?;
        let name = visible(&entry.file_name().to_string_lossy());
        let lower = name.to_lowercase();
        if name.starts_with('.')
            || NOT_DATA.iter().any(|n| lower.starts_with(n))
            || (depth == 0 && BESIDE.contains(&lower.as_str()))
        {
            continue;
        }
        let path = entry.path();
        let full = format!("{prefix}{name}");
        if path.join(REPORT_MARKER).exists() {
            continue;
        }
        if path.is_dir() && depth < DEPTH {
            walk(root, &path, &format!("{full}/"), depth + 1, files)?;
        } else {
            // A folder that lies too deep is named as not read.
            files.push((full, path));
        }
        if files.len() > MAX_FILES {
            let found = format!("more than {MAX_FILES} files");
            return Err(Error::input(Place::file(root), found, "the folder of one season"));
        }
    }
    Ok(())
}
