//! Kinds with names: each case is written down once, with its name in the tables.

/// An enum with the names of its cases: `ALL`, `name`, `from_name` and `Display` follow.
macro_rules! named {
    ($(#[$doc:meta])* pub enum $enum:ident { $($(#[$case_doc:meta])* $case:ident = $name:literal,)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $enum {
            $($(#[$case_doc])* $case,)*
        }

        impl $enum {
            /// All of them, in this order.
            pub const ALL: [Self; [$($name),*].len()] = [$(Self::$case),*];

            /// Its name in the tables.
            pub const fn name(self) -> &'static str {
                match self {
                    $(Self::$case => $name,)*
                }
            }

            /// The one of that name.
            pub fn from_name(name: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|one| one.name() == name)
            }
        }

        impl $crate::season::CellKind for $enum {
            fn column(frame: $crate::season::FrameBuilder, name: &str, cells: Vec<Option<Self>>) -> $crate::season::FrameBuilder {
                frame.text(name, cells.into_iter().map(|cell| Some(cell?.name())))
            }
        }

        impl std::fmt::Display for $enum {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.name())
            }
        }
    };
}
