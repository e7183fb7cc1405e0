//! The bins of a gravity series: the points that are fitted.
//!
//! Readings of one probe are averaged in bins of [`KineticsSettings::bin_h`] hours: a mean time and a mean gravity,
//! which loses nothing of a curve that is straight within a bin. A reading far from the running median of its
//! neighbours gets no weight in its bin and the flag `outlier`; it is kept in every table.

use crate::gravity::{GravitySeries, SeriesSample};
use crate::season::Flags;

use super::clock::{Clock, usable_until_h};
use super::point::{BatchPoint, PointSource, median};
use super::second_batch::{Rise, rise};
use super::settings::KineticsSettings;

assumed! {
    /// A reading further than this many robust standard deviations from its neighbours' running median is an outlier.
    const OUTLIER_SDS: f64 = 5.0, "SD";
    /// By how much beer falls while it is cooled, and changes in the cold, SD.
    const COLD_SD_SG: f64 = 0.001, "SG";
    /// A sample taken so long before pitching, at most, is of the wort as it was pitched.
    const WORT_H: f64 = 24.0, "h";
    /// Readings on each side that make the running median.
    const NEIGHBOURS: usize = 6, "readings";
}

/// Readings with their places in the series.
type Readings = Vec<(usize, BatchPoint)>;

/// A moment before, hours.
const BEFORE_H: f64 = 1e-6;

/// The points of one batch, in order of time, and what was left out.
#[derive(Debug, Clone, Default)]
pub(crate) struct BinnedSeries {
    pub points: Vec<BatchPoint>,
    /// Entries of the series that each point was made of; none for a sample.
    pub members: Vec<Vec<usize>>,
    /// Readings and samples behind the points.
    pub n: usize,
    pub flags: Vec<(usize, Flags)>,
    /// Instruments of the samples, in the order of [`PointSource::Sample`].
    pub instruments: Vec<Option<String>>,
    /// What was left out for reasons that its reader should know, in words.
    pub notes: Vec<String>,
}

/// Bins the readings and adds the samples and the measured original gravity. Bins are widened so that a probe gives no more
/// than `most` points.
pub(crate) fn bins(series: &GravitySeries, settings: &KineticsSettings, most: f64) -> BinnedSeries {
    let mut binned = BinnedSeries::default();
    let until = usable_until_h(series);
    let mut rises: Vec<Option<f64>> = Vec::new();
    let usable: Vec<Readings> = (0..series.probes.len())
        .map(|probe| {
            let (mut used, cold) = binned.usable(series, probe as u32, until);
            binned.flag_outlying(series, &cold);
            let rise = rise(&used.iter().map(|(_, point)| *point).collect::<Vec<_>>());
            if !used.is_empty() {
                rises.push(rise.map(|rise| rise.hours));
            }
            if let Some(rise) = &rise {
                used.drain(rise.from..).for_each(|(i, _)| binned.flag(series, i, Flags::OUTSIDE_BATCH));
                binned.note(series, rise, series.probes.get(probe).map_or("a probe", |of| of.probe.as_str()));
            }
            used
        })
        .collect();
    let last_h = usable.iter().filter_map(|used| used.last()).map(|(_, point)| point.hours).fold(0.0, f64::max);
    let width = settings.bin_h.max(last_h / most);
    let mut found: Vec<(BatchPoint, Vec<usize>)> = Vec::new();
    for (probe, used) in usable.into_iter().enumerate() {
        let good = binned.flag_outlying(series, &used);
        binned.n += used.len();
        for part in split(&good, series) {
            add_bins(part, width, PointSource::Probe(probe), &mut found);
        }
    }
    // Where every probe shows another batch, the samples from then on are of that too.
    let other = rises.into_iter().collect::<Option<Vec<f64>>>().and_then(|hours| hours.into_iter().reduce(f64::min));
    binned.add_samples(series, settings, other.map_or(until, |other| until.min(other - BEFORE_H)), &mut found);
    found.sort_by(|(a, _), (b, _)| a.hours.total_cmp(&b.hours));
    (binned.points, binned.members) = found.into_iter().unzip();
    binned
}

/// The readings of one probe before, between and after what was done to the batch: a step there makes no outliers and is in
/// no bin.
fn split<'a>(
    readings: &'a [(usize, BatchPoint)],
    series: &GravitySeries,
) -> impl Iterator<Item = &'a [(usize, BatchPoint)]> {
    let passed = |point: &BatchPoint| series.disturbed.partition_point(|of| of.hours <= point.hours);
    readings.chunk_by(move |(_, a), (_, b)| passed(a) == passed(b))
}

fn reading(series: &GravitySeries, i: usize) -> Option<BatchPoint> {
    let sds = (*series.own_sd.get(i)?, *series.shared_sd.get(i)?);
    let point = BatchPoint::new(*series.hours.get(i)?, *series.sg.get(i)?, sds, PointSource::Probe(0));
    let finite = point.sg.is_finite() && point.own_sd.is_finite() && point.shared_sd.is_finite();
    (finite && point.own_sd >= 0.0 && point.shared_sd >= 0.0).then_some(point)
}

impl BinnedSeries {
    /// The readings of one probe that show fermentation, and those in the cold; all others are flagged.
    fn usable(&mut self, series: &GravitySeries, probe: u32, until: f64) -> (Readings, Readings) {
        let (mut used, mut cold) = (Vec::new(), Vec::new());
        for (i, &hours) in series.hours.iter().enumerate() {
            if series.probe.get(i) != Some(&probe) {
                continue;
            }
            if hours < 0.0 || series.ended_hours.is_some_and(|end| hours > end) {
                self.flag(series, i, Flags::OUTSIDE_BATCH);
            } else if hours > until {
                self.flag(series, i, Flags::COOLED);
                cold.extend(reading(series, i).map(|reading| (i, reading)));
            } else {
                used.extend(reading(series, i).map(|reading| (i, reading)));
            }
        }
        (used, cold)
    }

    /// Flags outliers among readings of one probe; the others.
    fn flag_outlying(&mut self, series: &GravitySeries, readings: &[(usize, BatchPoint)]) -> Readings {
        let outlying: Vec<bool> = split(readings, series).flat_map(outlying).collect();
        let (out, good): (Vec<_>, Vec<_>) = readings.iter().zip(outlying).partition(|(_, outlying)| *outlying);
        out.into_iter().for_each(|((i, _), _)| self.flag(series, *i, Flags::OUTLIER));
        good.into_iter().map(|(reading, _)| *reading).collect()
    }

    /// Flags the readings behind a point.
    pub fn flag_point(&mut self, series: &GravitySeries, point: usize, reason: Flags) {
        for i in self.members.get(point).cloned().unwrap_or_default() {
            self.flag(series, i, reason);
        }
    }

    /// Puts the points on a clock.
    pub fn set_clock(&mut self, clock: &Clock) {
        for point in &mut self.points {
            (point.clock_h, point.pace) = clock.at(point.hours);
        }
    }

    fn note(&mut self, series: &GravitySeries, rise: &Rise, of: &str) {
        let at = series.pitched_at.plus_hours(rise.hours);
        self.notes.push(format!(
            "the gravity by {of} rises by {:.3} at hour {:.0} ({at}): another batch, added sugar or a moved probe; what it read from then on is left out",
            rise.by_sg, rise.hours
        ));
    }

    fn flag(&mut self, series: &GravitySeries, i: usize, reason: Flags) {
        if let Some(&row) = series.rows.get(i) {
            self.flags.push((row, reason));
        }
    }

    fn add_samples(
        &mut self,
        series: &GravitySeries,
        settings: &KineticsSettings,
        until: f64,
        found: &mut Vec<(BatchPoint, Vec<usize>)>,
    ) {
        if let Some((sg, sd)) = series.original_sg.filter(|(sg, sd)| sg.is_finite() && *sd > 0.0) {
            // The instrument of the measured original gravity is not written down: it stands by itself.
            found.push((self.sample((0.0, sg), settings.apart(sd), None), Vec::new()));
        }
        // Samples alone: two batches under one name show in them.
        let alone = series.hours.is_empty();
        let of =
            |sample: &SeriesSample| BatchPoint::new(sample.hours, sample.sg, (sample.sd, 0.0), PointSource::Sample(0));
        let samples: Vec<BatchPoint> = series.samples.iter().map(of).filter(|p| p.sg.is_finite()).collect();
        let rise = rise(&samples).filter(|_| alone);
        if let Some(rise) = &rise {
            self.note(series, rise, "samples");
        }
        let until = rise.map_or(until, |rise| until.min(rise.hours - BEFORE_H));
        for sample in &series.samples {
            let good = sample.sg.is_finite() && sample.sd > 0.0 && sample.sd.is_finite();
            // The same number written down in both tables is one measurement.
            let again = series.original_sg.is_some_and(|(sg, _)| (sg - sample.sg).abs() < 1e-6) && sample.hours < 2.0;
            // What is sampled in the cold is what the beer had fallen to as it was cooled, and a little less.
            let is_in = series.ended_hours.is_none_or(|end| sample.hours <= end);
            let is_cold = is_in && sample.hours > until && series.cooled_hours == Some(until);
            // Wort stays as it is until yeast is in it.
            let hours = if (-*WORT_H..0.0).contains(&sample.hours) { 0.0 } else { sample.hours };
            if good && !again && (is_cold || (0.0..=until).contains(&hours)) {
                let name = sample.instrument.as_ref();
                let known = series.known.as_ref().zip(name).and_then(|(known, name)| known.instrument(name));
                let (own, bias) = match known {
                    Some((_, prior_sd)) => ((sample.sd.powi(2) - prior_sd.powi(2)).max(0.0).sqrt(), 0.0),
                    None => settings.apart(sample.sd),
                };
                let own = if is_cold { own.hypot(*COLD_SD_SG) } else { own };
                found.push((self.sample((hours.min(until), sample.sg), (own, bias), name), Vec::new()));
            }
        }
    }

    /// A sample at hours and SG, with the SDs of its own error and of its instrument's bias where that is not known from elsewhere.
    fn sample(&mut self, (hours, sg): (f64, f64), sds: (f64, f64), instrument: Option<&String>) -> BatchPoint {
        let known = instrument.and_then(|name| self.instruments.iter().position(|i| i.as_ref() == Some(name)));
        let index = known.unwrap_or_else(|| {
            self.instruments.push(instrument.cloned());
            self.instruments.len() - 1
        });
        self.n += 1;
        BatchPoint::new(hours, sg, sds, PointSource::Sample(index))
    }
}

impl KineticsSettings {
    /// The SD of a sample in two: of its own error, and of the bias of its instrument.
    fn apart(&self, sd: f64) -> (f64, f64) {
        ((1.0 - self.instrument_share).sqrt() * sd, self.instrument_share.sqrt() * sd)
    }
}

/// Which readings stand far from the running median of their neighbours: foam, knocks, a probe held by a bubble.
fn outlying(readings: &[(usize, BatchPoint)]) -> Vec<bool> {
    let sg: Vec<f64> = readings.iter().map(|(_, point)| point.sg).collect();
    let hours: Vec<f64> = readings.iter().map(|(_, point)| point.hours).collect();
    let off: Vec<f64> = (0..sg.len()).map(|i| local_departure(&hours, &sg, i)).collect();
    let mut sizes: Vec<f64> = off.iter().map(|off| off.abs()).collect();
    let scale = median(&mut sizes) * 1.4826;
    readings
        .iter()
        .zip(&off)
        .map(|((_, point), off)| off.abs() > *OUTLIER_SDS * scale.max(point.own_sd).max(1e-5))
        .collect()
}

/// Reading `i` minus the level its neighbours give for its time: the median of the neighbours after their trend, the
/// slope between the medians of the two sides, is taken off.
fn local_departure(hours: &[f64], sg: &[f64], i: usize) -> f64 {
    let side = (*NEIGHBOURS).min(i).min(sg.len() - 1 - i);
    if side < 2 {
        return 0.0;
    }
    let middle = |values: &[f64]| median(&mut values.to_vec());
    let (before, after) = (i - side..i, i + 1..i + 1 + side);
    let (y0, y1) = (middle(&sg[before.clone()]), middle(&sg[after.clone()]));
    let (t0, t1) = (middle(&hours[before]), middle(&hours[after]));
    let level = if t1 > t0 { y0 + (y1 - y0) * (hours[i] - t0) / (t1 - t0) } else { 0.5 * (y0 + y1) };
    sg[i] - level
}

/// Means of neighbouring readings: bins of `width` hours, or every reading by itself where it is 0.
fn add_bins(
    readings: &[(usize, BatchPoint)],
    width: f64,
    source: PointSource,
    found: &mut Vec<(BatchPoint, Vec<usize>)>,
) {
    let index = |point: &BatchPoint| if width > 0.0 { (point.hours / width).floor() } else { point.hours };
    for group in readings.chunk_by(|(_, a), (_, b)| index(a).total_cmp(&index(b)).is_eq()) {
        let mean =
            |value: fn(&BatchPoint) -> f64| group.iter().map(|(_, p)| value(p)).sum::<f64>() / group.len() as f64;
        let own_sd = (mean(|p| p.own_sd * p.own_sd) / group.len() as f64).sqrt();
        let point = BatchPoint::new(mean(|p| p.hours), mean(|p| p.sg), (own_sd, mean(|p| p.shared_sd)), source);
        found.push((point, group.iter().map(|(i, _)| *i).collect()));
    }
}
