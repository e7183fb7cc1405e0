//! References that give an uncorrected reading of an instrument: their SG by `liquid`.

use std::collections::HashMap;

use crate::error::Error;
use crate::liquid;
use crate::season::cells::checked_sg;
use crate::season::loaded::{Loaded, SourceRow};
use crate::season::row_error::RowError;
use crate::season::table_rows::Reference;
use crate::units::Instant;

/// Temperature of a hydrometer's scale where none is given, C.
const SCALE_TEMP_C: f64 = 20.0;

assumed! {
    /// Wort counts as unfermented up to this long after pitching.
    pub(crate) const UNFERMENTED_H: f64 = 12.0, "h";
}

/// What is known of a batch that an uncorrected reading needs.
struct PitchedWort {
    pitched_at: Instant,
    original_sg: Option<f64>,
}

/// Fills `sg` from `raw_sg` or `raw_brix` where it was left empty; rejects the row where that cannot be done.
pub(crate) fn fill_gravity(loaded: &mut Loaded) {
    let worts = worts(loaded);
    let mut kept = Vec::with_capacity(loaded.references.len());
    for mut entry in std::mem::take(&mut loaded.references) {
        if entry.row.sg_given {
            kept.push(entry);
            continue;
        }
        if entry.row.raw_sg.is_some() && entry.row.instrument_temp_c.is_none() {
            let text = format!("`instrument_temp_c` is empty; a scale at {SCALE_TEMP_C} C was assumed for `raw_sg`");
            loaded.remark(entry.file, Some(entry.line), "instrument_temp_c", text);
        }
        match gravity(&entry.row, &worts).and_then(|sg| checked_sg("sg", sg)) {
            Ok(sg) => {
                entry.row.sg = sg;
                kept.push(entry);
            }
            Err(reason) => loaded.reject(entry.file, entry.line, reason, entry.text),
        }
    }
    loaded.references = kept;
}

/// The worts by batch: the original gravity as the table of batches gives it, else the first sample at pitching.
fn worts(loaded: &Loaded) -> HashMap<String, PitchedWort> {
    let mut worts: HashMap<String, PitchedWort> = HashMap::new();
    for SourceRow { row, .. } in &loaded.batches {
        worts.insert(row.batch.clone(), PitchedWort { pitched_at: row.pitched_at, original_sg: row.original_sg });
    }
    let mut samples: Vec<&Reference> =
        loaded.references.iter().map(|e| &e.row).filter(|r| r.is_sample() && !r.is_ignored()).collect();
    samples.sort_by_key(|r| r.at);
    for sample in samples {
        let Some(wort) = sample.batch.as_ref().and_then(|b| worts.get_mut(b)) else { continue };
        if wort.original_sg.is_none() && is_unfermented(sample, wort) {
            let measured = if sample.sg_given { Some(sample.sg) } else { unfermented(sample).ok() };
            wort.original_sg = measured;
        }
    }
    worts
}

fn is_unfermented(sample: &Reference, wort: &PitchedWort) -> bool {
    sample.at.hours_since(wort.pitched_at) <= *UNFERMENTED_H
}

fn unfermented(reference: &Reference) -> Result<f64, RowError> {
    let scale = reference.instrument_temp_c.unwrap_or(SCALE_TEMP_C);
    match (reference.raw_sg, brix(reference)?) {
        (Some(raw), _) => liquid::hydrometer_sg(raw, sample_temp(reference)?, scale).map_err(refused("raw_sg")),
        (None, Some(brix)) => liquid::sg_from_plato(brix).map_err(refused("raw_brix")),
        (None, None) => Err(RowError::no_gravity()),
    }
}

/// `raw_brix`, unless its size and its hundredths are those of a gravity: nothing that ferments has 1.04 degrees Brix.
fn brix(reference: &Reference) -> Result<Option<f64>, RowError> {
    let is_sg = |brix: f64| (0.98..=1.2).contains(&brix) && (10.0 * brix - (10.0 * brix).round()).abs() > 1e-6;
    match reference.raw_brix.filter(|brix| is_sg(*brix) && reference.raw_sg.is_none()) {
        Some(sg) => Err(RowError::found("column `raw_brix` is ", sg.to_string(), "; an SG goes into `sg` or `raw_sg`")),
        None => Ok(reference.raw_brix),
    }
}

/// What `liquid` says of a number outside the range of its formulas.
fn refused(column: &str) -> impl Fn(Error) -> RowError {
    move |e| RowError::formula(column, e)
}

fn sample_temp(reference: &Reference) -> Result<f64, RowError> {
    reference
        .temp_c
        .ok_or_else(|| RowError::new("`raw_sg` needs `temp_c`, the temperature of the sample, to be corrected"))
}

fn gravity(reference: &Reference, worts: &HashMap<String, PitchedWort>) -> Result<f64, RowError> {
    let wort = reference.batch.as_ref().and_then(|b| worts.get(b));
    let Some(wort) = wort.filter(|w| !is_unfermented(reference, w)) else {
        return match (&reference.batch, reference.raw_brix) {
            (Some(batch), Some(_)) if wort.is_none() && reference.raw_sg.is_none() => {
                let after = "` is not in the table of batches";
                Err(RowError::found("`raw_brix` of a sample needs its batch, and `", batch, after))
            }
            _ => unfermented(reference),
        };
    };
    match (reference.raw_sg, brix(reference)?, wort.original_sg) {
        (Some(raw), _, Some(original)) => {
            let scale = reference.instrument_temp_c.unwrap_or(SCALE_TEMP_C);
            liquid::hydrometer_sg_in_beer(raw, original, sample_temp(reference)?, scale).map_err(refused("raw_sg"))
        }
        (Some(_), _, None) => unfermented(reference),
        (None, Some(brix), Some(original)) => liquid::refractometer_sg(brix, original).map_err(refused("raw_brix")),
        (None, _, _) => Err(RowError::new(
            "`raw_brix` of a fermenting liquid needs the batch's `original_sg`, or a sample at pitching",
        )),
    }
}
