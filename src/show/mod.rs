//! How results look in a notebook and on a terminal.
//!
//! Every result of a study has an inherent display method that an evcxr notebook calls for the last expression of a
//! cell: it prints the result as HTML and as plain text, and the notebook picks. [`Table`] does the
//! same for a polars frame.
//!
//! Numbers are rounded on showing only, to the digits that their standard error is worth where they have one; frames and fields
//! keep full precision.

mod cells;
mod grid;
mod notebook;
mod page;
mod result_table;
mod results;
mod table;
mod units;

pub(crate) use grid::Grid;
pub(crate) use notebook::print;
pub(crate) use page::Show;
pub(crate) use result_table::ResultTable;
pub(crate) use results::picture;
pub use table::Table;
