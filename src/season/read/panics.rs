//! polars on broken files: where it panics, the file is refused, and no text of the panic is printed.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;
use std::sync::atomic::{AtomicUsize, Ordering};

use polars::prelude::PolarsResult;

use crate::error::{Error, Place, Result};

/// How many files are being decoded.
static DECODING: AtomicUsize = AtomicUsize::new(0);

thread_local! {
    /// True while this thread decodes.
    static DECODES: Cell<bool> = const { Cell::new(false) };
}

/// What polars makes of the file `name`, where a broken file may also make it panic.
///
/// # Errors
/// [`Error::Input`] when polars refuses or panics.
pub(super) fn guarded<T>(name: &str, read: impl FnOnce() -> PolarsResult<T>) -> Result<T> {
    let refused = |why: String| Error::input(Place::file(name), why, "a whole Parquet file");
    match silently(read) {
        Some(Ok(value)) => Ok(value),
        Some(Err(e)) => Err(refused(format!("Parquet that cannot be read ({e})"))),
        None => Err(refused("Parquet that cannot be decoded".to_owned())),
    }
}

/// What `read` gives; none when it panics, here or in a thread of polars, without a word of it.
fn silently<T>(read: impl FnOnce() -> T) -> Option<T> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |info| {
            let thread = std::thread::current();
            let is_of_polars = thread.name().is_some_and(|name| name.starts_with("polars"));
            let is_decoding = DECODES.get() || (is_of_polars && DECODING.load(Ordering::SeqCst) > 0);
            if !is_decoding {
                before(info);
            }
        }));
    });
    DECODING.fetch_add(1, Ordering::SeqCst);
    let was = DECODES.replace(true);
    let outcome = catch_unwind(AssertUnwindSafe(read));
    DECODES.set(was);
    DECODING.fetch_sub(1, Ordering::SeqCst);
    outcome.ok()
}
