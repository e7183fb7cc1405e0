//! Ids: each once in its own table, and known where another table names it.

use std::collections::{HashMap, HashSet};

use crate::error::{Error, Place, Result};
use crate::season::flags::Flags;
use crate::season::loaded::{Loaded, SourceRow};

/// An id of a probe or a batch that stands twice would make every row that names it ambiguous.
pub(crate) fn check_unique(loaded: &Loaded) -> Result<()> {
    unique(loaded, &loaded.probes, "probe", |probe| &probe.probe)?;
    unique(loaded, &loaded.batches, "batch", |batch| &batch.batch)
}

fn unique<T>(loaded: &Loaded, entries: &[SourceRow<T>], column: &str, id: impl Fn(&T) -> &String) -> Result<()> {
    let mut seen: HashMap<&str, &SourceRow<T>> = HashMap::new();
    for entry in entries {
        if let Some(first) = seen.insert(id(&entry.row), entry) {
            return Err(Error::input(
                Place::file(loaded.file_name(entry.file)).line(entry.line).column(column),
                format!("`{}` again, after {}", id(&entry.row), loaded.place_text(first.file, first.line)),
                format!("each {column} once"),
            ));
        }
    }
    Ok(())
}

/// Flags rows of the small tables that name a probe or a batch which its table does not have.
pub(crate) fn flag_unknown(loaded: &mut Loaded, has_probes: bool, has_batches: bool) {
    let probes: HashSet<String> = loaded.probes.iter().map(|e| e.row.probe.clone()).collect();
    let batches: HashSet<String> = loaded.batches.iter().map(|e| e.row.batch.clone()).collect();
    let unknown = |probe: Option<&String>, batch: Option<&String>| {
        let mut flags = Flags::NONE;
        if has_probes && probe.is_some_and(|p| !probes.contains(p)) {
            flags.insert(Flags::UNKNOWN_PROBE);
        }
        if has_batches && batch.is_some_and(|b| !batches.contains(b)) {
            flags.insert(Flags::UNKNOWN_BATCH);
        }
        flags
    };
    for entry in &mut loaded.references {
        entry.flags.insert(unknown(entry.row.probe.as_ref(), entry.row.batch.as_ref()));
    }
    for entry in &mut loaded.events {
        entry.flags.insert(unknown(entry.row.probe.as_ref(), entry.row.batch.as_ref()));
    }
    for entry in &mut loaded.plan {
        entry.flags.insert(unknown(None, Some(&entry.row.batch)));
    }
    for entry in &mut loaded.batches {
        let flags = entry.row.probes.iter().fold(Flags::NONE, |flags, probe| flags.with(unknown(Some(probe), None)));
        entry.flags.insert(flags);
    }
}
