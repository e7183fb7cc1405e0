//! Sudden lasting shifts of a probe inside a batch, from its readings alone.
//!
//! What can be told: a jump within an hour or two that lasts for at least twelve, against what the beer does meanwhile. The
//! beer's rate wanders as fermentations do and faster where it ferments faster; each probe wanders for hours by gas, foam and
//! handling, follows temperature a little, and may have been moved where an event is written down or a sample was drawn. A
//! single high or low hour is left out, and a jump that is undone within a day and a half is none. Where several probes are in
//! the beer, a jump of all at once is the beer's.
//!
//! What cannot: a shift while the probe is out of the beer, one that grows over many hours, and one in the first or last hours
//! of a batch. Those are sought in the pairs, probes beside each other among them.

mod batch_model;
mod bins;
mod filter;
mod search;

use crate::calibration::Calibrations;
use crate::error::Result;
use crate::season::Season;
use crate::units::Instant;

use crate::drift::model::NormalMixture;
use crate::drift::results::BinPoint;
use crate::drift::settings::DriftSettings;
use bins::{WatchedBatch, watched};
use search::{SearchSettings, search};

/// Hours on each side of a shift whose medians are kept for pictures.
const AROUND_H: f64 = 48.0;

/// A shift that the readings of a batch show.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct ReadShift {
    pub probe: String,
    pub batch: String,
    pub at: Instant,
    pub between: (Instant, Instant),
    /// Gravity around it, SG.
    pub sg: f64,
    /// Its size at that gravity.
    pub size: NormalMixture,
    /// Levels on both sides.
    pub around: Vec<BinPoint>,
    pub p_probe: f64,
    pub p_fleet: f64,
}

/// The shifts that readings show, by probe and time.
pub(in crate::drift) fn find_in_readings(
    season: &Season,
    calibrations: &Calibrations,
    settings: &DriftSettings,
) -> Result<Vec<ReadShift>> {
    if settings.shift_alarm <= 0.0 {
        return Ok(Vec::new());
    }
    let all = watched(season, calibrations, settings)?;
    let question =
        SearchSettings { alarm: settings.shift_alarm, sd: settings.change_sd_sg, level: settings.common.level };
    let mut found: Vec<ReadShift> = search(&all, question)
        .into_iter()
        .filter_map(|jump| {
            let batch = all.get(jump.batch)?;
            let mut near = batch.medians.iter().filter(|l| l.probe == jump.probe && l.hours <= jump.hours);
            Some(ReadShift {
                probe: batch.probes.get(jump.probe)?.clone(),
                batch: batch.batch.clone(),
                at: batch.pitched_at.plus_hours(jump.hours),
                between: (batch.pitched_at.plus_hours(jump.between.0), batch.pitched_at.plus_hours(jump.between.1)),
                sg: near.next_back()?.sg,
                around: around(batch, jump.probe, jump.hours),
                size: NormalMixture(jump.size),
                p_probe: jump.p_probe,
                p_fleet: jump.p_fleet,
            })
        })
        .filter(|read| read.size.estimate(settings.common.level, "").is_ok_and(|e| e.lower * e.upper > 0.0))
        .collect();
    found.sort_by(|a, b| (&a.probe, a.at).cmp(&(&b.probe, b.at)));
    Ok(found)
}

/// The medians near a jump.
fn around(batch: &WatchedBatch, probe: usize, hours: f64) -> Vec<BinPoint> {
    let near = batch.medians.iter().filter(|median| (median.hours - hours).abs() <= AROUND_H);
    near.map(|l| BinPoint { at: batch.pitched_at.plus_hours(l.hours), sg: l.sg, own: l.probe == probe }).collect()
}
