//! The reader for delimited text, line by line: each row that cannot be read has its line and reason.

use std::borrow::Cow;
use std::io::BufRead;

use crate::error::{Error, Place, Result};
use crate::season::binding::{Binding, Origin};
use crate::season::cells::SourceCell;
use crate::season::mapping::Mapping;
use crate::season::names::short;
use crate::season::row_error::RowError;
use crate::season::table::ColumnKind;

use super::bytes::line_end;
use super::{KEPT_TEXT, MAX_ROW, RawRow};

/// Most lines that one quoted text may span. A quote that is never closed costs one row, not the rest of the file.
const MAX_QUOTED_LINES: usize = 64;
/// Delimiters that a header is searched for.
const DELIMITERS: [u8; 3] = [b',', b';', b'\t'];

/// Delimited text with its header read.
pub(crate) struct Delimited<'a> {
    /// The lines after the header.
    pub(super) lines: Lines<'a>,
    pub(super) delimiter: u8,
    /// The column names.
    pub(crate) header: Vec<String>,
    /// The line of the header, where the file has one.
    pub(crate) header_line: Option<u64>,
}

impl<'a> Delimited<'a> {
    /// Reads the header: the first line after the skipped ones that is not blank, unless the mapping gives the names.
    pub(crate) fn open(text: &'a [u8], file: &str, mapping: &Mapping) -> Result<Self> {
        let mut lines = lines(text);
        if let Some(last_skipped) = mapping.skip_lines.checked_sub(1) {
            lines.nth(last_skipped);
        }
        let start = lines.clone();
        let Some((header_line, _, first)) = lines.find(|(_, _, line)| !is_blank(line)) else {
            return Err(Error::input(Place::file(file), "an empty file", "a header and rows"));
        };
        if first.len() > MAX_ROW {
            let found = format!("a header of {} characters", first.len());
            return Err(Error::input(Place::file(file).line(header_line), found, "a line of column names"));
        }
        let delimiter = mapping.delimiter.unwrap_or_else(|| {
            // That which splits it into most fields.
            DELIMITERS.into_iter().rev().max_by_key(|d| split(first, *d).len()).unwrap_or(b',')
        });
        if let Some(header) = mapping.header.clone() {
            return Ok(Self { lines: start, delimiter, header, header_line: None });
        }
        let header = split(first, delimiter).iter().map(|f| String::from_utf8_lossy(f).trim().to_owned()).collect();
        Ok(Self { lines, delimiter, header, header_line: Some(header_line) })
    }

    /// True for quotes below the header: many programs quote that alone.
    pub(super) fn has_quotes(&self) -> bool {
        self.lines.text.get(self.lines.start..).unwrap_or_default().contains(&b'"')
    }

    /// Gives every row of `lines` that is not blank to `each`.
    pub(crate) fn each(&self, mut lines: Lines<'a>, binding: &Binding, each: &mut dyn FnMut(RawRow<'_>)) {
        while let Some((line, start, first)) = lines.next() {
            if is_blank(first) {
                continue;
            }
            let (row, split) = self.whole_row(&mut lines, binding, start, first);
            let text = || short(&String::from_utf8_lossy(row), KEPT_TEXT);
            let cells = match &split {
                Ok(fields) => fields.iter().map(|field| cell(field)).collect::<std::result::Result<Vec<_>, _>>(),
                Err(reason) => Err(reason.clone()),
            };
            each(RawRow { line, cells: cells.as_deref().map_err(Clone::clone), text: &text });
        }
    }

    /// The row that begins with the line `first`, split. More lines belong to it while a quote is open; where they
    /// do not make a row, only the first is taken, so that a stray quote costs one line and not the rest.
    fn whole_row(
        &self,
        lines: &mut Lines<'a>,
        binding: &Binding,
        start: usize,
        first: &'a [u8],
    ) -> (&'a [u8], SplitRow<'a>) {
        let mut ahead = lines.clone();
        let mut open = quote_open(first, self.delimiter, false);
        if !open {
            return (first, self.split_row(binding, first));
        }
        for _ in 0..MAX_QUOTED_LINES {
            let Some((_, next_start, next)) = ahead.next() else { break };
            open = quote_open(next, self.delimiter, open);
            if !open {
                let row = lines.text.get(start..next_start + next.len()).unwrap_or(first);
                let split = self.split_row(binding, row);
                if split.is_ok() {
                    *lines = ahead;
                    return (row, split);
                }
                break;
            }
        }
        (first, Err(RowError::new("a quote opens and is not closed")))
    }

    fn split_row<'r>(&self, binding: &Binding, row: &'r [u8]) -> SplitRow<'r> {
        if row.len() > MAX_ROW {
            return Err(RowError::too_long(row.len(), MAX_ROW));
        }
        let mut fields = split(row, self.delimiter);
        let wanted = self.header.len();
        if self.delimiter == b',' && self.is_split_at_decimal_commas(binding, &fields) {
            return Err(RowError::new(
                "the line has numbers with decimal commas and is split by commas too; split it by `;` and set \
                 `decimal = \",\"` in season.toml",
            ));
        }
        // A delimiter at the end of each line adds empty fields, which say nothing.
        while fields.len() > wanted && fields.last().is_some_and(|f| is_blank(f)) {
            fields.pop();
        }
        if fields.len() == wanted {
            return Ok(fields);
        }
        let other = DELIMITERS.into_iter().find(|d| *d != self.delimiter && count(row, *d) + 1 >= wanted.max(2));
        let hint = other.map_or_else(String::new, |other| {
            let [of_header, of_line] = [self.delimiter, other].map(in_words);
            format!("; the header is split by {of_header}, this line perhaps by {of_line}")
        });
        Err(RowError::field_count(fields.len(), wanted, &hint))
    }

    /// True when a row has just as many fields too many as commas split a number, and with these numbers whole it has all
    /// that a row needs. Empty fields at its end would hide that, and other columns would take the decimals.
    fn is_split_at_decimal_commas(&self, binding: &Binding, fields: &[Cow<'_, [u8]>]) -> bool {
        let is_digits = |field: &[u8]| !field.is_empty() && field.iter().all(u8::is_ascii_digit);
        let is_whole = |field: &[u8]| is_digits(field.strip_prefix(b"-").unwrap_or(field));
        let mut extra = fields.len().saturating_sub(self.header.len());
        if extra == 0 {
            return false;
        }
        let mut rest = fields.iter().map(|field| field.trim_ascii()).peekable();
        for i in 0..self.header.len() {
            let Some(field) = rest.next() else { return false };
            let column = binding
                .columns
                .iter()
                .find(|bound| matches!(bound.origin, Origin::Field(f) if f == i))
                .map(|bound| bound.column);
            let is_number = column.is_some_and(|column| column.kind == ColumnKind::Number);
            if is_number && field.contains(&b'.') || field.is_empty() && column.is_some_and(|column| column.required) {
                return false;
            }
            if extra > 0 && is_number && is_whole(field) && rest.next_if(|next| is_digits(next)).is_some() {
                extra -= 1;
            }
        }
        extra == 0
    }
}

/// The fields of a row, or why it has none.
type SplitRow<'a> = std::result::Result<Vec<Cow<'a, [u8]>>, RowError>;

/// True when a quoted text is open at the end of `line`, given whether one was open at its start. As in
/// RFC 4180, a quote opens only at the start of a field; elsewhere it is a plain character.
fn quote_open(line: &[u8], delimiter: u8, mut open: bool) -> bool {
    let mut field_start = !open;
    for byte in line {
        if open {
            // A doubled quote closes and opens again.
            open = *byte != b'"';
        } else if *byte == b'"' && field_start {
            open = true;
        } else {
            field_start = *byte == delimiter;
            continue;
        }
        // After a closing quote only a second quote may open again.
        field_start = !open;
    }
    open
}

fn cell(field: &[u8]) -> std::result::Result<SourceCell<'_>, RowError> {
    match std::str::from_utf8(field) {
        Ok("") => Ok(SourceCell::Empty),
        Ok(text) if text.contains('\0') => Err(RowError::new("the line holds NUL bytes, as a broken file does")),
        Ok(text) => Ok(SourceCell::Text(text)),
        Err(_) => Ok(SourceCell::Odd("letters that are not valid UTF-8")),
    }
}

fn in_words(delimiter: u8) -> String {
    if delimiter == b'\t' { "tabs".to_owned() } else { format!("`{}`", char::from(delimiter)) }
}

fn count(line: &[u8], delimiter: u8) -> usize {
    line.iter().filter(|b| **b == delimiter).count()
}

pub(super) fn is_blank(line: &[u8]) -> bool {
    line.iter().all(u8::is_ascii_whitespace)
}

/// Splits one row into fields, unquoting them.
fn split(row: &[u8], delimiter: u8) -> Vec<Cow<'_, [u8]>> {
    if !row.contains(&b'"') {
        return row.split(|b| *b == delimiter).map(Cow::Borrowed).collect();
    }
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .buffer_capacity(row.len().clamp(64, 4096))
        .from_reader(row);
    let mut record = csv::ByteRecord::new();
    // Reading from memory cannot fail, and a record of bytes need not be UTF-8.
    if reader.read_byte_record(&mut record).unwrap_or(false) {
        record.iter().map(|field| Cow::Owned(field.to_vec())).collect()
    } else {
        Vec::new()
    }
}

/// Lines with their numbers, without their ends (`\n`, `\r\n`, or `\r` where a file has no other).
#[derive(Clone)]
pub(crate) struct Lines<'a> {
    text: &'a [u8],
    start: usize,
    end: u8,
    line: u64,
}

/// The lines of a text: number, start and bytes of each.
pub(super) fn lines(text: &[u8]) -> Lines<'_> {
    Lines { text, start: 0, end: line_end(text), line: 0 }
}

impl<'a> Lines<'a> {
    /// The rest in blocks of about so many bytes, each of whole lines.
    pub(super) fn blocks(mut self, bytes: usize) -> Vec<Self> {
        let mut blocks = Vec::new();
        while let Some(rest) = self.text.get(self.start..).filter(|rest| !rest.is_empty()) {
            let line = rest.get(bytes..).unwrap_or_default();
            let length = rest.len().min(bytes) + line.iter().position(|b| *b == self.end).map_or(line.len(), |i| i + 1);
            let (block, text) = (rest.get(..length).unwrap_or(rest), self.text.get(..self.start + length));
            blocks.push(Self { text: text.unwrap_or(self.text), ..self.clone() });
            self.start += length;
            self.line += count(block, self.end) as u64;
        }
        blocks
    }
}

impl<'a> Iterator for Lines<'a> {
    type Item = (u64, usize, &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        let start = self.start;
        let rest = self.text.get(start..).filter(|rest| !rest.is_empty())?;
        // The standard library's fastest search of a byte. Reading from memory cannot fail.
        let length = { rest }.skip_until(self.end).ok()?;
        self.start = start + length;
        self.line += 1;
        let line = rest.get(..length)?;
        let line = line.strip_suffix(&[self.end]).unwrap_or(line);
        Some((self.line, start, line.strip_suffix(b"\r").unwrap_or(line)))
    }
}
