//! Probes that are put in late or taken out early, while their log goes on.

use crate::error::Result;
use crate::liquid::water_density_kg_m3;

use super::body::Surroundings;
use super::fleet::SimulatedProbe;
use super::log::LogRow;
use super::sensor::rounded;
use super::stream::Stream;

/// Has some rows of a probe in a batch show rinsing water or the bench. The first and the last hour of that.
pub(super) fn take_out(
    draw: &mut Stream,
    unit: &SimulatedProbe,
    day: f64,
    rows: &mut [LogRow],
) -> Result<Option<(f64, f64)>> {
    let (Some(first), Some(last)) = (rows.first().map(|row| row.at), rows.last().map(|row| row.at)) else {
        return Ok(None);
    };
    let whole_h = last.hours_since(first);
    let (from_h, to_h, is_air) = if draw.chance(0.6) {
        (0.0, draw.uniform(1.0, 20.0), draw.chance(0.4))
    } else {
        (whole_h - draw.uniform(0.1, 6.0), whole_h, true)
    };
    let still = Surroundings::bath_at_20_c(water_density_kg_m3(20.0)?);
    let in_water = unit.body.tilt_deg(&unit.ageing.total(day), &still, 30.0) + unit.sensor.zero_deg;
    let lying = draw.uniform(80.0, 88.0);
    for row in rows.iter_mut().filter(|row| (from_h..=to_h).contains(&row.at.hours_since(first))) {
        let tilt = if is_air { lying } else { in_water };
        row.tilt_deg = rounded(tilt + draw.normal(if is_air { 0.3 } else { 0.05 }), 0.01);
        row.temp_c = rounded(20.0 + draw.normal(0.2), 0.1);
        (row.sg, row.density_kg_m3) = (None, None);
    }
    Ok(Some((from_h, to_h.min(whole_h))))
}
