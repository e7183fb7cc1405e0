//! A folder that appears whole or not at all.
//!
//! Everything is written into a new folder beside the wanted one, whose name no other run has; one rename puts it in place,
//! where the system can by exchange with the earlier report. Whoever looks sees the earlier report or the new one, never
//! half of one and never none; of two runs at once the later to finish stays. A run that was killed leaves only a folder
//! whose name begins with a dot; a run a day later takes it away.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::error::{Error, Result};
use crate::season::REPORT_MARKER as MARKER;

/// Files that file managers put into any folder, no loss.
const LITTER: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];

/// A run that began longer ago is over.
const DAY: Duration = Duration::from_secs(86_400);

/// A report being built. Dropped before [`Staging::finish`] it takes its files away.
#[derive(Debug)]
pub(super) struct Staging {
    out: PathBuf,
    dir: PathBuf,
    files: Vec<String>,
}

impl Staging {
    /// Starts a report that will be `out`.
    ///
    /// # Errors
    /// [`Error::Usage`] when `out` is neither new nor empty nor an earlier report without foreign files;
    /// [`Error::Io`] when nothing can be written beside it.
    pub(super) fn begin(out: &Path) -> Result<Self> {
        let out = resolve(out)?;
        check(&out)?;
        let (Some(parent), Some(name)) = (out.parent(), out.file_name()) else {
            return Err(Error::Usage(format!("{} cannot be a report: it has no name of its own", out.display())));
        };
        fs::create_dir_all(parent).map_err(|e| Error::io("creating", parent, e))?;
        let name = name.to_string_lossy();
        sweep(parent, &name);
        let dir = parent.join(format!("{}{:016x}", beside(&name), rand::random::<u64>()));
        fs::create_dir(&dir).map_err(|e| Error::io("making a folder beside", &out, e))?;
        let staging = Self { out, dir, files: Vec::new() };
        if let Ok(earlier) = fs::metadata(&staging.out) {
            let given = fs::set_permissions(&staging.dir, earlier.permissions());
            given.map_err(|e| Error::io("keeping the rights of", &staging.out, e))?;
        }
        staging.mark()?;
        Ok(staging)
    }

    /// Writes one file by `write`; `name` is its path within the report, with `/` between folders.
    pub(super) fn file(&mut self, name: &str, write: impl FnOnce(fs::File) -> Result<()>) -> Result<()> {
        let path = self.dir.join(name);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent).map_err(|e| Error::io("creating", self.shown(name), e))?;
        }
        let file = fs::File::create(&path).map_err(|e| Error::io("creating", self.shown(name), e))?;
        write(file)?;
        self.files.push(name.to_owned());
        Ok(())
    }

    /// Writes one text file.
    pub(super) fn text(&mut self, name: &str, text: &str) -> Result<()> {
        let shown = self.shown(name);
        self.file(name, |mut file| file.write_all(text.as_bytes()).map_err(|e| Error::io("writing", shown, e)))
    }

    /// The path that a file will have, for messages.
    pub(super) fn shown(&self, name: &str) -> PathBuf {
        self.out.join(name)
    }

    /// Puts the report in place of what was there.
    pub(super) fn finish(self) -> Result<PathBuf> {
        self.mark()?;
        // A new name is taken, unless another run was first; what is there is exchanged, and goes with the drop.
        let placed = fs::rename(&self.dir, &self.out).or_else(|_| exchange(&self.dir, &self.out));
        placed.map_err(|e| Error::io("putting the report in place at", &self.out, e))?;
        Ok(self.out.clone())
    }

    fn mark(&self) -> Result<()> {
        let list: String = self.files.iter().map(|file| format!("{file}\n")).collect();
        fs::write(self.dir.join(MARKER), list).map_err(|e| Error::io("writing", self.shown(MARKER), e))
    }
}

impl Drop for Staging {
    fn drop(&mut self) {
        // Of a finished report only the earlier one is left there: litter that a later run would sweep.
        let _ = fs::remove_dir_all(&self.dir);
    }
}

/// Exchanges two folders in one step.
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn exchange(new: &Path, out: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, new, CWD, out, RenameFlags::EXCHANGE) {
        // Some network folders cannot.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS | rustix::io::Errno::NOTSUP) => replace(new, out),
        done => done.map_err(io::Error::from),
    }
}

#[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
use replace as exchange;

/// The same in three; should the second fail, the earlier report comes back.
fn replace(new: &Path, out: &Path) -> io::Result<()> {
    let old = new.with_extension("old");
    fs::rename(out, &old)?;
    fs::rename(new, out).inspect_err(|_| drop(fs::rename(&old, out)))?;
    fs::rename(&old, new)
}

/// How the folders begin that runs make beside a report of that name.
fn beside(name: &str) -> String {
    format!(".{name}.new-")
}

/// The folder itself, not a link to it, with a name of its own.
fn resolve(out: &Path) -> Result<PathBuf> {
    match fs::canonicalize(out) {
        Ok(path) => Ok(path),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            std::path::absolute(out).map_err(|e| Error::io("finding", out, e))
        }
        Err(error) => Err(Error::io("opening", out, error)),
    }
}

/// Whether a report can be written at `out`, before anything is computed: it must be new, empty or an earlier report with
/// nothing else in it, as anything else is not ours to replace, and there must be room for a folder beside it.
///
/// # Errors
/// [`Error::Usage`] when it is something else, [`Error::Io`] when it cannot be looked at or nothing can be written there.
pub(crate) fn check_out(out: &Path) -> Result<()> {
    Staging::begin(out).map(drop)
}

fn check(out: &Path) -> Result<()> {
    let metadata = match fs::metadata(out) {
        Ok(metadata) => metadata,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(Error::io("opening", out, error)),
    };
    let refuse = |why: &str| {
        let out = out.display();
        Err(Error::Usage(format!("{out} {why}; give a new folder, an empty one or an earlier report")))
    };
    if !metadata.is_dir() {
        return refuse("is a file");
    }
    let mut found = Vec::new();
    list(out, "", &mut found).map_err(|e| Error::io("reading", out, e))?;
    if found.is_empty() {
        return Ok(());
    }
    let Ok(marker) = fs::read_to_string(out.join(MARKER)) else {
        return refuse("is not empty and is no earlier report");
    };
    let known: Vec<&str> = marker.lines().collect();
    match found.iter().find(|file| *file != MARKER && !known.contains(&file.as_str())) {
        Some(foreign) => refuse(&format!("holds `{foreign}`, which no report wrote and which would be lost")),
        None => Ok(()),
    }
}

/// Everything below a folder but folders, by path; litter left out.
fn list(dir: &Path, prefix: &str, found: &mut Vec<String>) -> io::Result<()> {
    for entry in fs::read_dir(dir)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let path = format!("{prefix}{name}");
        if entry.file_type()?.is_dir() {
            list(&entry.path(), &format!("{path}/"), found)?;
        } else if !LITTER.contains(&name.as_str()) {
            found.push(path);
        }
    }
    Ok(())
}

/// Takes away what killed runs left beside `name` a day ago or longer; a failure here is no failure of the report.
fn sweep(parent: &Path, name: &str) {
    let ours = beside(name);
    for entry in fs::read_dir(parent).into_iter().flatten().flatten() {
        let file_name = entry.file_name().to_string_lossy().into_owned();
        let begun = fs::metadata(entry.path().join(MARKER)).and_then(|marker| marker.modified()).ok();
        let is_over = begun.and_then(|at| at.elapsed().ok()).is_some_and(|age| age > DAY);
        if is_over && file_name.starts_with(&ours) {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

#[cfg(test)]
#[path = "../../tests/inside/report_folder.rs"]
mod tests;
