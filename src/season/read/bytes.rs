//! A file's bytes: plain or gzip, and never something that is no text.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use flate2::read::MultiGzDecoder;

use crate::error::{Error, Place, Result};

/// Largest text that a gzip file may hold, bytes.
const MAX_UNPACKED: u64 = 8 << 30;
/// Largest text that any gzip file may hold, however small it is, bytes.
const LEAST_UNPACKED: u64 = 64 << 20;
/// How many times its size a gzip file may swell: logs do 3 to 20 times, a file made to fill the memory 1,000.
const MOST_SWELLING: u64 = 60;
/// Bytes looked at to tell text from other things.
const PEEK: usize = 8192;

/// Opens a file, and nothing that may never end: no pipe, no device.
pub(super) fn open(path: &Path, name: &str) -> Result<File> {
    let io = |e| Error::io("reading", path, e);
    if std::fs::metadata(path).map_err(io)?.is_file() {
        File::open(path).map_err(io)
    } else {
        Err(Error::input(Place::file(name), "a pipe, a device or a folder", "a file"))
    }
}

/// The bytes of a file, unpacked if `gzip`; and whether a gzip file ends before its end, as a half-copied one does: then
/// the bytes before that. What a plain file lacks does not show.
pub(crate) fn read_bytes(path: &Path, name: &str, gzip: bool) -> Result<(Vec<u8>, bool)> {
    let mut file = open(path, name)?;
    let (mut bytes, mut cut) = (Vec::new(), false);
    if gzip {
        let packed = file.metadata().map_err(|e| Error::io("reading", path, e))?.len();
        let most = packed.saturating_mul(MOST_SWELLING).clamp(LEAST_UNPACKED, MAX_UNPACKED);
        let mut unpacked = MultiGzDecoder::new(file).take(most + 1);
        if let Err(e) = unpacked.read_to_end(&mut bytes) {
            // Only what was unpacked is left of a cut file, and it is sound; a file with wrong bytes in it may give any.
            cut = e.kind() == ErrorKind::UnexpectedEof && bytes.contains(&line_end(&bytes));
            if !cut {
                let found = format!("gzip that cannot be unpacked ({e})");
                return Err(Error::input(Place::file(name), found, "a whole gzip file"));
            }
        }
        if bytes.len() as u64 > most {
            let found = format!("{packed} bytes that unpack to over {} MB", most >> 20);
            let wanted = format!("a log, which packs to no less than 1/{MOST_SWELLING} and holds no more than 8192 MB");
            return Err(Error::input(Place::file(name), found, wanted));
        }
    } else {
        file.read_to_end(&mut bytes).map_err(|e| Error::io("reading", path, e))?;
    }
    Ok((bytes, cut))
}

/// The text of a small file such as `season.toml`.
pub(crate) fn read_text(path: &Path, name: &str) -> Result<String> {
    let (bytes, _) = read_bytes(path, name, false)?;
    String::from_utf8(bytes).map_err(|_| Error::input(Place::file(name), "bytes that are not UTF-8", "text in UTF-8"))
}

/// What ends the lines of a text: `\n`, or `\r` where it has no other.
pub(super) fn line_end(text: &[u8]) -> u8 {
    if text.contains(&b'\n') { b'\n' } else { b'\r' }
}

/// The lines of a text that broke off, and what stands of the one it broke off in, with its number.
pub(crate) fn broken_off(text: &[u8]) -> (&[u8], u64, &[u8]) {
    let end = line_end(text);
    let whole = text.iter().rposition(|b| *b == end).map_or(0, |last| last + 1);
    let (lines, rest) = text.split_at(whole);
    (lines, 1 + lines.iter().filter(|b| **b == end).count() as u64, rest)
}

/// The text in `bytes` without a byte-order mark.
///
/// # Errors
/// [`Error::Input`] when they are no text at all. Invalid UTF-8 inside a text is left for the rows it stands in.
pub(crate) fn text_of<'a>(bytes: &'a [u8], name: &str) -> Result<&'a [u8]> {
    let wanted = "text in UTF-8";
    let error = |found: &str| Err(Error::input(Place::file(name), found, wanted));
    match bytes {
        [0xef, 0xbb, 0xbf, rest @ ..] => return Ok(rest),
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => return error("UTF-16 text"),
        [0x1f, 0x8b, ..] => return error("gzip under a name without .gz"),
        [b'P', b'A', b'R', b'1', ..] => return error("Parquet under another name"),
        [b'P', b'K', 3, 4, ..] => return error("a zip archive or a spreadsheet"),
        _ => {}
    }
    // A logger that lost its power may leave a block of NULs; that costs rows, not the file.
    let start = bytes.get(..PEEK).unwrap_or(bytes);
    let is_control = |b: &&u8| **b < 0x20 && !matches!(**b, b'\t' | b'\n' | b'\r' | 0x0c);
    let first_line = bytes.split(|b| *b == b'\n').next().unwrap_or_default();
    if first_line.contains(&0) || start.iter().filter(is_control).count() * 20 > start.len() {
        return error("bytes that are no text");
    }
    Ok(bytes)
}
