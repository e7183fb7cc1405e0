//! How settings are written down: each once, with what it is, its default and what it may be.

/// A struct of settings with its `Default` and its `check`. After a field stand its default and, where a number has one, its
/// range with the words for it; `with common` gives it the field that all studies have; what else has to hold stands below
/// `also`, as a function of the settings. Settings that are a field of others are named with what stands
/// behind `in`; all can stand in `season.toml` but those `in code`.
macro_rules! settings {
    (
        in $of:literal [$($attribute:meta),*]
        $(#[$doc:meta])*
        pub struct $name:ident {
            $($(#[$field_doc:meta])* $field:ident: $kind:ty = $default:expr $(, $range:expr, $wanted:literal)?;)*
        }
        $(with $common:ident)?
        $(also $also:expr)?
    ) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq)]
        $(#[$attribute])*
        pub struct $name {
            $(
                $(#[$field_doc])*
                ///
                #[doc = concat!("Default: `", stringify!($default), "`", $("; ", $wanted,)? ".")]
                pub $field: $kind,
            )*
            $(
                /// What all studies share.
                #[serde(skip)]
                pub $common: $crate::common::CommonSettings,
            )?
        }

        impl Default for $name {
            fn default() -> Self {
                Self { $($field: $default,)* $($common: $crate::common::CommonSettings::default(),)? }
            }
        }

        impl $name {
            /// Checks every setting.
            ///
            /// # Errors
            /// [`crate::Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
            pub fn check(&self) -> $crate::Result<()> {
                $($($crate::error::inside(concat!($of, stringify!($field)), self.$field, $range, $wanted)?;)?)*
                $(self.$common.check()?;)?
                $(
                    let also: fn(&Self) -> $crate::Result<()> = $also;
                    also(self)?;
                )?
                Ok(())
            }
        }
    };
    (in code $($settings:tt)*) => {
        settings! { in "" [] $($settings)* }
    };
    (in $of:literal $($settings:tt)*) => {
        settings! { in $of [derive(serde::Serialize, serde::Deserialize), serde(default, deny_unknown_fields)] $($settings)* }
    };
    ($($settings:tt)*) => {
        settings! { in "" $($settings)* }
    };
}
