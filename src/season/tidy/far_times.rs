//! Times far from all others of the season: slips such as a year 2131, which no later stage may take for a time to
//! look back to or ahead.

use crate::season::flags::Flags;
use crate::season::loaded::{Loaded, SourceRow};
use crate::season::row_error::RowError;
use crate::units::Instant;

assumed! {
    /// A time further than this from the middle of the season's times is none of the season: 20 years.
    const FAR_D: f64 = 7305.0, "d";
}

/// Most readings that the middle is taken of.
const MOST_READINGS: usize = 10_000;

/// Rejects rows of the small tables whose time is far from the season's middle, empties such times where a row can do
/// without, and flags such readings as those of a clock that jumped.
pub(super) fn set_far_times_aside(loaded: &mut Loaded) {
    let Some(middle) = middle(loaded) else { return };
    let is_far = |at: Instant| at.days_since(middle).abs() > *FAR_D;
    let columns = &mut loaded.readings.columns;
    let far = columns.at.iter().zip(&mut columns.flags).filter(|(at, _)| is_far(**at));
    far.for_each(|(_, flags)| flags.insert(Flags::CLOCK_JUMP));
    reject(loaded, |l| &mut l.references, "at", |row| is_far(row.at));
    reject(loaded, |l| &mut l.batches, "pitched_at", |row| is_far(row.pitched_at));
    reject(loaded, |l| &mut l.events, "at", |row| is_far(row.at));
    reject(loaded, |l| &mut l.plan, "at", |row| is_far(row.at));
    empty(loaded, |l| &mut l.references, "known_at", |row| &mut row.known_at, is_far);
    empty(loaded, |l| &mut l.batches, "ended_at", |row| &mut row.ended_at, is_far);
    empty(loaded, |l| &mut l.probes, "built_on", |row| &mut row.built_on, is_far);
}

/// The median of the season's times, readings thinned out.
fn middle(loaded: &Loaded) -> Option<Instant> {
    let readings = &loaded.readings.columns.at;
    let mut times: Vec<Instant> = readings.iter().step_by(readings.len() / MOST_READINGS + 1).copied().collect();
    times.extend(loaded.references.iter().map(|source| source.row.at));
    times.extend(loaded.batches.iter().map(|source| source.row.pitched_at));
    times.sort_unstable();
    times.get(times.len() / 2).copied()
}

type Rows<T> = fn(&mut Loaded) -> &mut Vec<SourceRow<T>>;

fn reject<T>(loaded: &mut Loaded, table: Rows<T>, column: &str, is_far: impl Fn(&T) -> bool) {
    let (far, near) = std::mem::take(table(loaded)).into_iter().partition(|source| is_far(&source.row));
    *table(loaded) = near;
    let far: Vec<SourceRow<T>> = far;
    for source in far {
        let reason = format!("column `{column}` lies more than 20 years from the middle of the season's times");
        loaded.reject(source.file, source.line, RowError::new(reason), source.text);
    }
}

fn empty<T>(
    loaded: &mut Loaded,
    table: Rows<T>,
    column: &'static str,
    time: fn(&mut T) -> &mut Option<Instant>,
    is_far: impl Fn(Instant) -> bool,
) {
    let mut rows = std::mem::take(table(loaded));
    for source in &mut rows {
        if let Some(at) = time(&mut source.row).take_if(|at| is_far(*at)) {
            source.flags.insert(Flags::VALUE_UNREADABLE);
            let text = format!("column `{column}` is {at}, more than 20 years from the season, so it was left empty");
            loaded.remark(source.file, Some(source.line), column, text);
        }
    }
    *table(loaded) = rows;
}
