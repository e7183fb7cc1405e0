#![doc = include_str!("page.md")]

/// Declares assumed numbers, each with its unit: `const NAME: type = value, "unit";`, read as `*NAME`. What stands here is on
/// the page of [this module](crate::assumed).
///
/// They are constants. Built with the feature `vary`, a number is multiplied by the factor that the environment variable
/// `HEELWORT_VARY` gives for it, as in `calibration::fit_data::WRONG_SD=2`.
macro_rules! assumed {
    ($($(#[$doc:meta])* $vis:vis const $name:ident: $type:ty = $value:expr, $unit:literal;)*) => {$(
        $(#[$doc])*
        #[cfg(not(feature = "vary"))]
        $vis const $name: &$type = &$value;
        $(#[$doc])*
        #[cfg(feature = "vary")]
        $vis static $name: std::sync::LazyLock<$type> = std::sync::LazyLock::new(|| {
            let factor = $crate::assumed::factor(concat!(module_path!(), "::", stringify!($name)));
            factor.map_or($value, |factor| ($value as f64 * factor) as $type)
        });
    )*};
}

/// The factor that the environment variable gives for a number.
#[cfg(feature = "vary")]
pub(crate) fn factor(name: &str) -> Option<f64> {
    let asked = std::env::var("HEELWORT_VARY").ok()?;
    let (asked, factor) = asked.split_once('=')?;
    if name.strip_prefix("heelwort::") == Some(asked) { factor.parse().ok() } else { None }
}
