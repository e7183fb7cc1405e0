//! The sizes that a Parquet file states of itself, before anything is decoded: rows, values, bytes.
//!
//! A decoder believes them. One wrong byte among them gives columns of unlike lengths, values of one column in another,
//! or gigabytes of memory; so they are held against each other and against the length of the file.

use polars::prelude::FileMetadata;

/// Most rows for each byte of the file: equal values, or times at a fixed step, take next to nothing.
const ROWS_PER_BYTE: usize = 10_000;
/// Most bytes that one byte of a page may unpack to, beside [`FREE`] and [`BYTES_PER_VALUE`] for each value.
const UNPACKED_PER_BYTE: u64 = 2_000;
/// Bytes for each value that a page may always unpack to.
const BYTES_PER_VALUE: u64 = 64;
/// Bytes that a page may always unpack to.
const FREE: u64 = 1 << 16;
/// What stands after the footer: its length and `PAR1`.
const TAIL: u64 = 8;
/// What stands before the first page: `PAR1`.
const HEAD: u64 = 4;

/// Checks that the rows of the footer are those of its row groups, and that the chunks of columns lie apart in the file.
///
/// # Errors
/// What was found, in words.
pub(super) fn check_footer(metadata: &FileMetadata, bytes: &[u8]) -> Result<(), String> {
    let rows = metadata.num_rows;
    let of_groups: usize = metadata.row_groups.iter().map(|group| group.num_rows()).fold(0, usize::saturating_add);
    if of_groups != rows {
        return Err(format!("{rows} rows by the footer and {of_groups} by its row groups"));
    }
    if rows > bytes.len().saturating_mul(ROWS_PER_BYTE) {
        return Err(format!("{rows} rows in a file of {} bytes", bytes.len()));
    }
    let end = footer_start(bytes).ok_or_else(|| "a file that ends before its footer".to_owned())?;
    let groups = metadata.row_groups.iter().enumerate();
    let mut chunks = Vec::new();
    for (group, chunk) in groups.flat_map(|(i, group)| group.parquet_columns().iter().map(move |c| (i, c))) {
        let column = chunk.descriptor().path_in_schema.join(".");
        let start = chunk.dictionary_page_offset().unwrap_or(chunk.data_page_offset());
        let range = u64::try_from(start).ok().zip(u64::try_from(chunk.compressed_size()).ok());
        let range = range.and_then(|(start, length)| Some(start..start.checked_add(length)?));
        let inside = range.filter(|range| range.is_empty() || (HEAD <= range.start && range.end <= end));
        let Some(range) = inside else {
            return Err(format!("column `{column}` outside the file, in row group {}", group + 1));
        };
        if chunk.dictionary_page_offset().is_some_and(|dictionary| dictionary >= chunk.data_page_offset()) {
            return Err(format!("column `{column}` with its dictionary behind its values, in row group {}", group + 1));
        }
        chunks.push((range.start, range.end, column));
    }
    chunks.sort();
    match chunks.windows(2).find(|pair| matches!(pair, [(_, end, _), (start, ..)] if start < end)) {
        Some([(.., one), (.., other)]) => Err(format!("columns `{one}` and `{other}` in one place of the file")),
        _ => Ok(()),
    }
}

/// Where the footer begins.
fn footer_start(bytes: &[u8]) -> Option<u64> {
    let (before, _) = bytes.split_last_chunk::<4>()?;
    let (_, length) = before.split_last_chunk::<4>()?;
    (bytes.len() as u64).checked_sub(TAIL + u64::from(u32::from_le_bytes(*length)))
}

/// Checks that each of the `columns` has a value for each row, by the footer and by its pages, and that no page unpacks
/// to more than it can hold.
///
/// # Errors
/// What was found, in words.
pub(super) fn check_pages(metadata: &FileMetadata, bytes: &[u8], columns: &[String]) -> Result<(), String> {
    for (group, column) in metadata.row_groups.iter().flat_map(|group| columns.iter().map(move |c| (group, c))) {
        let rows = group.num_rows() as u64;
        let chunks = group.columns_under_root_iter(column).ok_or_else(|| format!("no column `{column}`"))?;
        for chunk in chunks {
            let of = |found: String| format!("{found} in column `{column}`");
            let (values, range) = (chunk.num_values(), chunk.byte_range());
            if u64::try_from(values) != Ok(rows) {
                return Err(of(format!("{values} values by the footer for {rows} rows")));
            }
            let pages = bytes.get(range.start as usize..range.end as usize);
            let of_pages = values_of_pages(pages.unwrap_or(&[])).map_err(of)?;
            if of_pages != rows {
                return Err(of(format!("{of_pages} values by the pages for {rows} rows")));
            }
        }
    }
    Ok(())
}

/// The values of all pages of a chunk, which fill it from end to end.
fn values_of_pages(mut chunk: &[u8]) -> Result<u64, String> {
    let mut total = 0_u64;
    while !chunk.is_empty() {
        let (page, rest) = PageHeader::read(chunk).ok_or("a page header that cannot be read")?;
        let (Ok(packed), Ok(unpacked), Ok(values)) =
            (usize::try_from(page.packed), u64::try_from(page.unpacked), u64::try_from(page.values))
        else {
            return Err("a page of less than no bytes or values".to_owned());
        };
        chunk = rest.get(packed..).ok_or("a page longer than its column")?;
        let is_dictionary = page.kind == DICTIONARY_PAGE;
        let per_value = if is_dictionary { 0 } else { BYTES_PER_VALUE.saturating_mul(values) };
        let most = (packed as u64).saturating_mul(UNPACKED_PER_BYTE).saturating_add(per_value).saturating_add(FREE);
        if unpacked > most {
            return Err(format!("a page of {packed} bytes that unpacks to {unpacked}"));
        }
        if is_dictionary && values > unpacked {
            return Err(format!("a dictionary of {values} values in {unpacked} bytes"));
        }
        if matches!(page.kind, DATA_PAGE | DATA_PAGE_V2) {
            total = total.saturating_add(values);
        }
    }
    Ok(total)
}

const DATA_PAGE: i64 = 0;
const DICTIONARY_PAGE: i64 = 2;
const DATA_PAGE_V2: i64 = 3;

/// What is needed of a page's header.
#[derive(Debug, Default)]
struct PageHeader {
    kind: i64,
    unpacked: i64,
    packed: i64,
    values: i64,
}

impl PageHeader {
    /// The header at the start of `bytes`, in the compact form of Thrift, and what follows it. Its fields: 1 kind,
    /// 2 bytes unpacked, 3 bytes packed; 5, 7 and 8 the headers of data, dictionaries and data of version 2, each with
    /// the number of its values in field 1.
    ///
    /// Source: The Apache Software Foundation, Parquet format 2.10, `parquet.thrift`; Thrift compact protocol.
    fn read(bytes: &[u8]) -> Option<(Self, &[u8])> {
        let mut header = Self::default();
        let mut thrift = Thrift { bytes };
        let mut field = 0;
        while let Some(kind) = thrift.field(&mut field)? {
            match (field, kind) {
                (1, Thrift::I32) => header.kind = thrift.integer()?,
                (2, Thrift::I32) => header.unpacked = thrift.integer()?,
                (3, Thrift::I32) => header.packed = thrift.integer()?,
                (5 | 7 | 8, Thrift::STRUCT) => {
                    let mut inner = 0;
                    while let Some(kind) = thrift.field(&mut inner)? {
                        match (inner, kind) {
                            (1, Thrift::I32) => header.values = thrift.integer()?,
                            _ => thrift.skip(kind, 0)?,
                        }
                    }
                }
                _ => thrift.skip(kind, 0)?,
            }
        }
        Some((header, thrift.bytes))
    }
}

/// The compact form of Thrift, as far as page headers need it.
struct Thrift<'a> {
    bytes: &'a [u8],
}

impl<'a> Thrift<'a> {
    const I32: u8 = 5;
    const STRUCT: u8 = 12;
    /// Structs within structs; a page header has three.
    const DEEPEST: usize = 8;

    fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.bytes.split_at_checked(count)?;
        self.bytes = rest;
        Some(taken)
    }

    fn byte(&mut self) -> Option<u8> {
        self.take(1)?.first().copied()
    }

    /// A number in groups of seven bits, the lowest first.
    fn varint(&mut self) -> Option<u64> {
        let mut value = 0_u64;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            value |= u64::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                return Some(value);
            }
        }
        None
    }

    /// A whole number with its sign in the lowest bit.
    fn integer(&mut self) -> Option<i64> {
        let value = self.varint()?;
        Some((value >> 1) as i64 ^ -((value & 1) as i64))
    }

    /// The kind of the next field, whose number is set; none at the end of the struct.
    fn field(&mut self, number: &mut i64) -> Option<Option<u8>> {
        let byte = self.byte()?;
        if byte == 0 {
            return Some(None);
        }
        *number = match byte >> 4 {
            0 => self.integer()?,
            step => number.checked_add(i64::from(step))?,
        };
        Some(Some(byte & 0x0f))
    }

    /// Passes over a value of that kind.
    fn skip(&mut self, kind: u8, depth: usize) -> Option<()> {
        match kind {
            // True and false stand in the kind itself.
            1 | 2 => {}
            3 => drop(self.byte()?),
            4..=6 => drop(self.varint()?),
            7 => drop(self.take(8)?),
            8 => {
                let length = usize::try_from(self.varint()?).ok()?;
                self.take(length)?;
            }
            Self::STRUCT if depth < Self::DEEPEST => {
                let mut inner = 0;
                while let Some(kind) = self.field(&mut inner)? {
                    self.skip(kind, depth + 1)?;
                }
            }
            // Lists, sets and maps stand in no page header.
            _ => return None,
        }
        Some(())
    }
}
