//! Readings of delimited text, many lines side by side: the fast way for lines without a single doubt.
//!
//! A block of lines is taken only as a whole, with the same readers of times and numbers. Any other block goes row by row
//! instead, where each slip gets its line and reason.

use std::str::from_utf8;

use rayon::prelude::{IntoParallelRefIterator, ParallelIterator};

use crate::season::binding::{Binding, Bound, Origin};
use crate::season::flags::Flags;
use crate::season::raw::RawReading;
use crate::season::table::SeasonTable;

use super::columns::is_plain;
use super::delimited::{Lines, is_blank};
use super::{Delimited, MAX_ROW};

/// Bytes of a block, about: a slip costs the rows around it little.
const BLOCK: usize = 1 << 18;
/// Blocks that are read side by side before their rows are taken.
const SIDE_BY_SIDE: usize = 64;

/// A reading with its line, and whether its time had no offset.
type PlainLine<'a> = (u64, RawReading<'a>, bool);

/// Gives the rows of a file to `each` in blocks: as readings, or, where a row is in doubt, as lines.
pub(crate) fn each_block<'a>(
    source: &Delimited<'a>,
    binding: &Binding,
    mut each: impl FnMut(Result<Vec<PlainLine<'a>>, Lines<'a>>),
) {
    let is_constant = |bound: &Bound| matches!(bound.origin, Origin::Constant(_));
    // A quoted text may hold lines and delimiters.
    if binding.table != SeasonTable::Readings || binding.columns.iter().any(is_constant) || source.has_quotes() {
        return each(Err(source.lines.clone()));
    }
    for blocks in source.lines.clone().blocks(BLOCK).chunks(SIDE_BY_SIDE) {
        let read: Vec<_> = blocks.par_iter().map(|lines| plain(source, binding, lines.clone())).collect();
        read.into_iter().zip(blocks).for_each(|(plain, lines)| each(plain.ok_or_else(|| lines.clone())));
    }
}

/// The readings of a block of lines; none where one is in doubt.
fn plain<'a>(source: &Delimited<'a>, binding: &Binding, lines: Lines<'a>) -> Option<Vec<PlainLine<'a>>> {
    let mut rows: Vec<PlainLine<'a>> = Vec::new();
    let mut fields: Vec<&'a str> = Vec::with_capacity(source.header.len());
    for (line, _, text) in lines.filter(|(_, _, text)| !is_blank(text)) {
        let text = from_utf8(text).ok().filter(|text| text.len() <= MAX_ROW && !text.as_bytes().contains(&0))?;
        fields.clear();
        fields.extend(text.split(char::from(source.delimiter)).map(str::trim));
        let [at, probe, tilt_deg, temp_c, batch, supply_v, flags] = binding.columns.as_slice() else { return None };
        let cell = |bound: &Bound| match bound.origin {
            Origin::Field(field) => fields.get(field).copied(),
            _ => Some(""),
        };
        let number = |bound: &Bound| {
            let number = binding.mapping.number(cell(bound)?).ok()?;
            bound.unit.convert(number).ok().filter(|number| number.is_finite())
        };
        let at = binding.mapping.times.read(cell(at)?).filter(|at| at.flags.is_empty() && at.later.is_none())?;
        let (probe, batch) = (cell(probe)?, Some(cell(batch)?).filter(|batch| !batch.is_empty()));
        // Logs repeat one id for long stretches.
        let is_new = rows.last().is_none_or(|(_, last, _)| (last.probe, last.batch) != (probe, batch));
        let is_in_doubt = is_new && !(is_plain(probe) && batch.is_none_or(is_plain));
        if is_in_doubt || fields.len() != source.header.len() || !cell(flags)?.is_empty() {
            return None;
        }
        let supply_v = if cell(supply_v)?.is_empty() { None } else { Some(number(supply_v)?) };
        let (tilt_deg, temp_c, flags) = (number(tilt_deg)?, number(temp_c)?, Flags::NONE);
        rows.push((line, RawReading { at: at.at, probe, tilt_deg, temp_c, batch, supply_v, flags }, at.is_local));
    }
    Some(rows)
}
