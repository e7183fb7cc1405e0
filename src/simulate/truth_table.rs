//! Tables of the truth: a struct for a row, whose fields are the columns, in the order in which they are written.

use crate::season::FrameBuilder;
use crate::units::Instant;

/// A row of a table of the truth, with the columns of a frame of such rows.
macro_rules! truth_table {
    ($(#[$doc:meta])* pub struct $row:ident { $($(#[$field_doc:meta])* $field:ident: $kind:ty,)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $row {
            $($(#[$field_doc])* pub $field: $kind,)*
        }

        impl $row {
            /// The rows as a frame.
            pub(super) fn frame(table: &str, rows: &[Self]) -> $crate::error::Result<polars::prelude::DataFrame> {
                let frame = $crate::season::FrameBuilder::new(table);
                $(let frame = super::truth_table::Cell::column(frame, stringify!($field), rows.iter().map(|row| &row.$field));)*
                frame.finish()
            }
        }
    };
}
pub(super) use truth_table;

/// What stands in a cell.
pub(super) trait Cell: Sized {
    /// The frame with a column of such cells.
    fn column<'a>(frame: FrameBuilder, name: &str, cells: impl Iterator<Item = &'a Self>) -> FrameBuilder
    where
        Self: 'a;
}

/// How kinds of cells stand in a column.
macro_rules! cells {
    ($($kind:ty: $column:ident, |$cell:ident| $value:expr;)*) => {
        $(impl super::truth_table::Cell for $kind {
            fn column<'a>(
                frame: $crate::season::FrameBuilder,
                name: &str,
                cells: impl Iterator<Item = &'a Self>,
            ) -> $crate::season::FrameBuilder {
                frame.$column(name, cells.map(|$cell| $value))
            }
        })*
    };
}
pub(super) use cells;

cells! {
    String: text, |cell| Some(cell);
    Option<String>: text, |cell| cell.as_ref();
    f64: number, |cell| Some(*cell);
    Option<f64>: number, |cell| *cell;
    usize: count, |cell| Some(*cell as i64);
    bool: truth, |cell| Some(*cell);
    Instant: time, |cell| Some(*cell);
    Option<Instant>: time, |cell| *cell;
}
