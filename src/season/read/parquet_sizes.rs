//! The sizes that a Parquet file states of itself, before anything is decoded: rows, values, bytes.
//!
//! A decoder believes them. One wrong byte among them gives columns of unlike lengths, values of one column in another,
//! or gigabytes of memory; so they are held against each other and against the length of the file.

use polars::prelude::FileMetadata;
use polars_parquet_format::thrift::protocol::TCompactInputProtocol;
use polars_parquet_format::{PageHeader, PageType};

/// Most rows for each byte of the file: equal values, or times at a fixed step, take next to nothing.
const ROWS_PER_BYTE: usize = 10_000;
/// Most bytes that one byte of a page may unpack to, beside [`FREE`] and [`BYTES_PER_VALUE`] for each value.
const UNPACKED_PER_BYTE: u64 = 2_000;
/// Bytes for each value that a page may always unpack to.
const BYTES_PER_VALUE: u64 = 64;
/// Bytes that a page may always unpack to.
const FREE: u64 = 1 << 16;
/// Most bytes that the header of a page may take.
const MOST_HEADER: usize = 1 << 16;
/// What stands after the footer: its length and `PAR1`.
const TAIL: u64 = 8;
/// What stands before the first page: `PAR1`.
const HEAD: u64 = 4;

/// Checks that the rows of the footer are those of its row groups, and that the chunks of columns lie apart in the file.
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
        let header = PageHeader::read_from_in_protocol(&mut TCompactInputProtocol::new(&mut chunk, MOST_HEADER));
        let header = header.map_err(|_| "a page header that cannot be read")?;
        let dictionary = header.dictionary_page_header.filter(|_| header.type_ == PageType::DICTIONARY_PAGE);
        let data = match header.type_ {
            PageType::DATA_PAGE => header.data_page_header.map(|data| data.num_values),
            PageType::DATA_PAGE_V2 => header.data_page_header_v2.map(|data| data.num_values),
            _ => None,
        };
        let sizes = [header.compressed_page_size, header.uncompressed_page_size, data.unwrap_or(0)].map(u64::try_from);
        let [Ok(packed), Ok(unpacked), Ok(values)] = sizes else {
            return Err("a page of less than no bytes or values".to_owned());
        };
        chunk = chunk.get(packed as usize..).ok_or("a page longer than its column")?;
        if unpacked > packed * UNPACKED_PER_BYTE + values * BYTES_PER_VALUE + FREE {
            return Err(format!("a page of {packed} bytes that unpacks to {unpacked}"));
        }
        if let Some(values) =
            dictionary.map(|page| page.num_values).filter(|values| i64::from(*values) > unpacked as i64)
        {
            return Err(format!("a dictionary of {values} values in {unpacked} bytes"));
        }
        total += values;
    }
    Ok(total)
}
