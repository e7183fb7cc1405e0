//! The readers: each gives a file's header, then its rows one by one, or readings without a doubt as columns.

mod bytes;
mod columns;
mod delimited;
mod ndjson;
mod parquet;
mod parquet_sizes;
mod plain_lines;

pub(crate) use bytes::{broken_off, read_bytes, read_text, text_of};
pub(crate) use columns::take_columns;
pub(crate) use delimited::Delimited;
pub(crate) use ndjson::{each_json_row, json_keys};
pub(crate) use parquet::{Parquet, each_row};
pub(crate) use plain_lines::each_block;

use super::cells::SourceCell;
use super::row_error::RowError;

/// Longest text of a rejected row that is kept, characters.
pub(crate) const KEPT_TEXT: usize = 200;
/// Longest row, bytes; anything longer is no row of a log.
const MAX_ROW: usize = 1 << 16;

/// One row of a file as a reader gives it.
pub(crate) struct RawRow<'a> {
    /// Where it stands: the line with the header as line 1, or the row of a Parquet file from 1.
    pub(crate) line: u64,
    /// Its cells in the order of the header, or why it cannot be split into cells.
    pub(crate) cells: Result<&'a [SourceCell<'a>], RowError>,
    /// The row as it stands.
    pub(crate) text: &'a dyn Fn() -> String,
}
