//! Samples drawn from batches.

use crate::error::Result;
use crate::liquid::{hydrometer_sg_in_beer, refractometer_sg, water_density_kg_m3};
use crate::season::Reference;

use super::calendar::{Calendar, Planned};
use super::instruments::Instrument;
use super::sensor::rounded;
use super::settings::SimulateSettings;
use super::stream::Stream;
use super::trouble::{Trouble, TroubleTruth};

/// Volume expansion of a hydrometer's glass, per K.
const GLASS_PER_K: f64 = 25e-6;
/// A batch is sampled so long after its pitching, h.
const PITCHED_H: f64 = 0.4;
/// What this brewhouse's refractometer shows per percent of extract, and of that per percent of ethanol: near, and not at,
/// the factors by which such readings are corrected.
const WORT_FACTOR: f64 = 1.03;
const BRIX_PER_ETHANOL: f64 = 0.44;

pub(super) fn samples(calendar: &Calendar, troubles: &mut Vec<TroubleTruth>) -> Result<Vec<Reference>> {
    let Calendar { settings, instruments, .. } = calendar;
    let mut out = Vec::new();
    for (index, batch) in calendar.batches.iter().enumerate() {
        let mut draw = Stream::new(settings.seed, "samples", index);
        let until_h = batch.until_h(calendar);
        let mut times = vec![PITCHED_H];
        // Up to three on the way, the last before cooling, one at packaging.
        for _ in 0..draw.below(4) {
            let day = batch.pitched_day + draw.uniform(0.15, 1.0) * batch.traits.finish_h / 24.0;
            times.push(24.0 * (calendar.next_hour(day, draw.uniform(8.0, 18.0)) - batch.pitched_day));
        }
        let warm_until = batch.cooling.map_or(batch.ended_h, |(at, _)| at);
        if draw.chance(0.85) {
            times.push(warm_until - draw.uniform(0.5, 4.0));
        }
        if draw.chance(0.3) {
            let day = batch.pitched_day + (warm_until - draw.uniform(30.0, 60.0)) / 24.0;
            times.push(24.0 * (calendar.next_hour(day, draw.uniform(8.0, 18.0)) - batch.pitched_day));
        }
        if draw.chance(0.4) && batch.cooling.is_some() {
            times.push(batch.ended_h - draw.uniform(0.3, 2.0));
        }
        times.retain(|&hours| hours > 0.0 && hours < until_h);
        times.sort_by(f64::total_cmp);
        let everyday = if draw.chance(0.75) { &instruments.hydrometer } else { &instruments.spare };
        // Raw readings are corrected with the original gravity as it is known to the brewer.
        let mut known_og = original_sg(calendar, index, batch).map(|(sg, _)| sg);
        for hours in times {
            let at = SampleMoment { calendar, batch, hours, known_og: known_og.unwrap_or(batch.traits.original_sg) };
            let mut taken = sample(&at, everyday, &mut draw)?;
            known_og = known_og.or(Some(taken.sg));
            if hours <= PITCHED_H
                && let Some(mut draw) = settings.befalls(Trouble::WortSampled, index, 0.5)
            {
                taken.at = taken.at.plus_hours(-draw.uniform(PITCHED_H, 8.0));
                let early = TroubleTruth::entry(Trouble::WortSampled, taken.at, 0.0);
                troubles.push(TroubleTruth { batch: Some(batch.id.clone()), ..early });
            }
            troubles.extend(blunder(calendar, (index, batch), hours, &mut taken));
            out.push(taken);
        }
    }
    Ok(out)
}

/// Spoils a sample that was written down as read, now and then.
fn blunder(
    calendar: &Calendar,
    (index, batch): (usize, &Planned),
    hours: f64,
    taken: &mut Reference,
) -> Option<TroubleTruth> {
    if taken.raw_sg.is_some() || taken.raw_brix.is_some() {
        return None;
    }
    let settings = &calendar.settings;
    let number = 100_000 * index + hours as usize;
    let before = taken.sg;
    let mut trouble = None;
    if let Some(mut draw) = settings.befalls(Trouble::Misread, number, 0.03) {
        let off = if draw.chance(0.5) { 0.010 } else { rounded(draw.uniform(0.004, 0.02), 0.0005) };
        taken.sg = rounded(taken.sg + off * if draw.chance(0.5) { 1.0 } else { -1.0 }, 0.0005);
        trouble = Some(Trouble::Misread);
    } else if settings.befalls(Trouble::Typo, number, 0.02).is_some() {
        taken.sg = rounded(transposed(taken.sg), 0.0001);
        trouble = Some(Trouble::Typo);
    } else if let Some(mut draw) = settings.befalls(Trouble::WrongBatch, number, 0.02) {
        let day = batch.pitched_day + hours / 24.0;
        let running = |other: &&Planned| {
            let hours = 24.0 * (day - other.pitched_day);
            other.id != batch.id && hours > 0.0 && hours < other.until_h(calendar)
        };
        let others: Vec<&Planned> = calendar.batches.iter().filter(running).collect();
        if let Some(other) = others.get(draw.below(others.len())) {
            taken.sg = rounded(other.real.sg_at(24.0 * (day - other.pitched_day)), 0.0005);
            trouble = Some(Trouble::WrongBatch);
        }
    } else if let Some(mut draw) = settings.befalls(Trouble::WrongDate, number, 0.02) {
        taken.at = taken.at.plus_days(if draw.chance(0.5) && hours > 25.0 { -1.0 } else { 1.0 });
        taken.known_at = taken.known_at.map(|known| known.max(taken.at));
        trouble = Some(Trouble::WrongDate);
    }
    let trouble = trouble?;
    let off_sg = match trouble {
        Trouble::WrongDate => {
            before - batch.real.sg_at(24.0 * (taken.at.days_since(calendar.start) - batch.pitched_day))
        }
        _ => taken.sg - before,
    };
    Some(TroubleTruth { batch: Some(batch.id.clone()), ..TroubleTruth::entry(trouble, taken.at, off_sg) })
}

/// The original gravity that is 0.010 wrong in the book, by batch: what is to be added.
pub(super) fn wrong_original(settings: &SimulateSettings, index: usize) -> f64 {
    let wrong = settings.befalls(Trouble::WrongOriginal, index, 0.06);
    wrong.map_or(0.0, |mut draw| if draw.chance(0.5) { 0.010 } else { -0.010 })
}

/// SG of the batch at pitching as the brewer wrote it down beside the samples, with its SD.
pub(super) fn original_sg(calendar: &Calendar, index: usize, batch: &Planned) -> Option<(f64, f64)> {
    let Calendar { settings, instruments, .. } = calendar;
    let mut draw = Stream::new(settings.seed, "original", index);
    let read = batch.traits.original_sg + instruments.hydrometer.error(&mut draw, settings.reference_scale);
    draw.chance(0.6).then_some((rounded(read + wrong_original(settings, index), 0.0005), 0.001))
}

/// The limit by a forced test of some batches, with its SD.
pub(super) fn limit_sg(settings: &SimulateSettings, index: usize, batch: &Planned) -> Option<(f64, f64)> {
    let mut draw = Stream::new(settings.seed, "forced", index);
    let read = batch.traits.limit_sg + settings.reference_scale * draw.bounded_normal(0.0008);
    draw.chance(0.35).then_some((rounded(read, 0.0005), 0.001))
}

/// A batch at the hour of a sample.
struct SampleMoment<'a> {
    calendar: &'a Calendar,
    batch: &'a Planned,
    hours: f64,
    known_og: f64,
}

fn sample(at: &SampleMoment, everyday: &Instrument, draw: &mut Stream) -> Result<Reference> {
    let &SampleMoment { calendar, batch, hours, known_og } = at;
    let (scale, instruments) = (calendar.settings.reference_scale, &calendar.instruments);
    let true_sg = batch.real.sg_at(hours);
    let at = calendar.instant(batch.pitched_day + hours / 24.0);
    let which = draw.uniform(0.0, 1.0);
    let mut out = Reference {
        batch: Some(batch.id.clone()),
        temp_c: Some(rounded(20.0 + draw.bounded_normal(1.5), 0.1)),
        ..Reference::new(at, true_sg)
    };
    let instrument = if which < 0.10 {
        &instruments.meter
    } else if which < 0.16 && hours > 12.0 {
        &instruments.refractometer
    } else {
        everyday
    };
    out.instrument = Some(instrument.name.clone());
    // A sample that still ferments keeps a little gas, which lifts a hydrometer.
    let gas = scale * draw.uniform(0.0, 0.0006) * (batch.real.rate_at(hours) / 0.015).min(1.0);
    let error = instrument.error(draw, scale);
    if instrument == &instruments.meter {
        out.method = Some("density_meter".to_owned());
        out.sg = rounded(true_sg + error, 0.0001);
        out.sg_sd = Some(0.0002);
        out.known_at = Some(at.plus_hours((24.0 * draw.uniform(1.0, 4.0)).round()));
    } else if instrument == &instruments.refractometer {
        out.method = Some("refractometer".to_owned());
        let (extract, ethanol) = batch.real.wort.percents(batch.real.fermented_at(hours));
        let brix = rounded(WORT_FACTOR * (extract + BRIX_PER_ETHANOL * ethanol) + error / 0.004, 0.1);
        out.raw_brix = Some(brix);
        out.sg = refractometer_sg(brix, known_og)?;
        out.sg_given = false;
    } else {
        out.method = Some("hydrometer".to_owned());
        let read = true_sg + error + gas;
        if draw.chance(0.15) && hours > 12.0 {
            // Read as drawn, not brought to the temperature of the scale.
            let temp_c = rounded(batch.real.temp_at(hours).max(4.0), 0.1);
            let density = batch.real.wort.density_kg_m3(batch.real.fermented_at(hours), temp_c)?;
            let scale_density = water_density_kg_m3(20.0)? / (1.0 + GLASS_PER_K * (temp_c - 20.0));
            let raw = rounded(density / scale_density + error + gas, 0.0005);
            out.raw_sg = Some(raw);
            out.temp_c = Some(temp_c);
            out.instrument_temp_c = Some(20.0);
            out.sg = hydrometer_sg_in_beer(raw, known_og, temp_c, 20.0)?;
            out.sg_given = false;
        } else {
            out.sg = rounded(read, 0.0005);
            out.sg_sd = draw.chance(0.3).then_some(0.001);
        }
    }
    Ok(out)
}

/// 1.012 for 1.021: the last two of three decimals change places.
fn transposed(sg: f64) -> f64 {
    let thousandths = (1000.0 * sg + 1e-6).floor() as i64;
    let (tens, ones) = (thousandths / 10 % 10, thousandths % 10);
    sg + (9 * (ones - tens)) as f64 / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_digits_change_places() {
        assert!((transposed(1.0215) - 1.0125).abs() < 1e-12 && (transposed(1.011) - 1.011).abs() < 1e-12);
    }
}
