//! How tables are written down: each column once, with its name and what stands in it.

/// Methods that give a table as a frame. After the name of the table stand a row and all rows of it, and by the name of each
/// column what it holds of a row; the type of that makes it a column of text, numbers or times (`Cell` in `season/frame.rs`).
/// Several names in brackets take an estimate apart.
macro_rules! tables {
    (impl $of:ident { $(
        $(#[$doc:meta])*
        fn $frame:ident($this:ident) = $table:literal, |$row:pat_param| $rows:expr => { $($column:tt: $cell:expr,)* }
    )* }) => {
        impl $of { $(
            $(#[$doc])*
            ///
            /// # Errors
            /// [`crate::Error::Frame`] when polars refuses.
            #[allow(unused_variables, unused_parens, reason = "a column needs a part of its row")]
            pub fn $frame(&$this) -> $crate::Result<polars::prelude::DataFrame> {
                let rows: Vec<_> = $rows.into_iter().collect();
                let frame = $crate::season::FrameBuilder::new($table);
                $(let frame = frame.column($column, rows.iter().map(|$row| $cell));)*
                frame.finish()
            }
        )* }
    };
}
