//! Ids: each once in its own table, and known where another table names it.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::error::{Error, Place, Result};
use crate::season::flags::Flags;
use crate::season::loaded::{Loaded, SourceRow};
use crate::season::readings::Readings;

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

/// Takes a probe that its table writes with other capitals or blanks, and that no reading has, for the one of the table.
pub(crate) fn take_spellings(loaded: &mut Loaded) {
    let plain = |id: &str| id.chars().filter(|c| !c.is_whitespace()).flat_map(char::to_lowercase).collect::<String>();
    let known: Vec<String> = loaded.probes.iter().map(|entry| entry.row.probe.clone()).collect();
    let meant = |id: &String| {
        let mut alike = known.iter().filter(|of| plain(of) == plain(id));
        let is_used = known.contains(id) || loaded.readings.probes.ids.contains(id);
        alike.next().filter(|_| !is_used && alike.next().is_none())
    };
    let mut taken: BTreeMap<(usize, String), u64> = BTreeMap::new();
    let mut take = |(file, line): (usize, u64), id: &mut String| {
        if let Some(one) = meant(id) {
            let text = format!("column `probe`: `{id}` is not in the table of probes, so it was taken for `{one}`");
            taken.entry((file, text)).or_insert(line);
            id.clone_from(one);
        }
    };
    loaded.batches.iter_mut().for_each(|e| e.row.probes.iter_mut().for_each(|id| take((e.file, e.line), id)));
    loaded.references.iter_mut().for_each(|e| e.row.probe.iter_mut().for_each(|id| take((e.file, e.line), id)));
    loaded.events.iter_mut().for_each(|e| e.row.probe.iter_mut().for_each(|id| take((e.file, e.line), id)));
    taken.into_iter().for_each(|((file, text), line)| loaded.add_remark(file, line, text));
}

/// Flags rows that name a probe or a batch which its table does not have.
pub(crate) fn flag_unknown(loaded: &mut Loaded, readings: &mut Readings, has_probes: bool, has_batches: bool) {
    let probes: HashSet<String> = loaded.probes.iter().map(|e| e.row.probe.clone()).collect();
    let batches: HashSet<String> = loaded.batches.iter().map(|e| e.row.batch.clone()).collect();
    let flag = |is_unknown: bool, flag: Flags| if is_unknown { flag } else { Flags::NONE };
    let no_probe = |id: &String| flag(has_probes && !probes.contains(id), Flags::UNKNOWN_PROBE);
    let no_batch = |id: &String| flag(has_batches && !batches.contains(id), Flags::UNKNOWN_BATCH);
    let of_both = |probe: &Option<String>, batch: &Option<String>| {
        probe.iter().map(no_probe).chain(batch.iter().map(no_batch)).fold(Flags::NONE, Flags::with)
    };
    loaded.references.iter_mut().for_each(|entry| entry.flags.insert(of_both(&entry.row.probe, &entry.row.batch)));
    loaded.events.iter_mut().for_each(|entry| entry.flags.insert(of_both(&entry.row.probe, &entry.row.batch)));
    for entry in &mut loaded.plan {
        entry.flags.insert(no_batch(&entry.row.batch));
    }
    for entry in &mut loaded.batches {
        entry.row.probes.iter().map(no_probe).for_each(|unknown| entry.flags.insert(unknown));
    }
    let of_probes: Vec<Flags> = readings.probe_ids.iter().map(no_probe).collect();
    let of_batches: Vec<Flags> = readings.batch_ids.iter().map(no_batch).collect();
    if of_probes.iter().chain(&of_batches).all(|flags| flags.is_empty()) {
        return;
    }
    for ((flags, probe), batch) in readings.flags.iter_mut().zip(&readings.probe).zip(&readings.batch) {
        let unknown = [of_probes.get(*probe as usize), batch.and_then(|batch| of_batches.get(batch as usize))];
        unknown.into_iter().flatten().for_each(|unknown| flags.insert(*unknown));
    }
}
