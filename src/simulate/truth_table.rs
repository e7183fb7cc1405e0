//! Tables of the truth: a struct for a row, whose fields are the columns, in the order in which they are written.

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
                $(let frame = frame.column(stringify!($field), rows.iter().map(|row| row.$field.clone()));)*
                frame.finish()
            }
        }
    };
}
pub(super) use truth_table;
