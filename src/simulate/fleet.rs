//! The probes of a season: float, sensor and history of each.

use crate::error::Result;
use crate::liquid::sucrose_bath_density_kg_m3;
use crate::season::{EndShape, Probe};
use crate::units::Instant;

use super::ageing::{Ageing, ProbeChange};
use super::body::Body;
use super::calendar::Calendar;
use super::sensor::{Sensor, rounded};
use super::settings::SimulateSettings;
use super::stream::Stream;
use super::trouble::Trouble;

/// Shore birds, one a probe; a second round gets a number.
const BIRDS: [&str; 16] = [
    "avocet",
    "curlew",
    "dunlin",
    "godwit",
    "knot",
    "lapwing",
    "oystercatcher",
    "phalarope",
    "plover",
    "redshank",
    "ruff",
    "sanderling",
    "snipe",
    "stint",
    "turnstone",
    "whimbrel",
];

/// Shells: name in the table of probes and range of true linear expansion, per K.
const SHELLS: [(&str, f64, f64); 3] = [("pet", 3.0e-5, 6.0e-5), ("pp", 7.0e-5, 1.0e-4), ("pe", 1.1e-4, 1.7e-4)];

#[derive(Debug, Clone)]
pub(super) struct SimulatedProbe {
    /// Its row in the table of probes.
    pub row: Probe,
    pub body: Body,
    pub sensor: Sensor,
    pub ageing: Ageing,
}

impl SimulatedProbe {
    /// Probe number `index`; its sudden changes are moved to when they can happen on this calendar.
    pub fn draw(settings: &SimulateSettings, index: usize, calendar: &Calendar) -> Result<Self> {
        let mut draw = Stream::new(settings.seed, "probe", index);
        // Two shells in three are drink-bottle blanks.
        let (shell, low, high) = SHELLS[[0, 0, 0, 0, 1, 2][draw.below(6)]];
        let expansion_per_k = draw.uniform(low, high);
        let mut body = Body::draw(&mut draw, expansion_per_k)?;
        if let Some(mut draw) = settings.befalls(Trouble::UnlikeShell, index, 0.33) {
            body.expansion_per_k = draw.uniform(1.5e-5, 2.0e-4);
        }
        let sensor = Sensor::draw(&mut draw, settings.noise_scale, settings.bubble_scale);
        let size = (body.length_mm, body.radius_mm, body.mass_g);
        let mut ageing = Ageing::draw(settings, index, calendar.end_day + 1.0, size);
        for shift in &mut ageing.shifts {
            // Cells are swapped, and most knocks happen, when a probe is out of the beer.
            if shift.kind == "cell_swap" || shift.recorded {
                shift.day = next_idle(calendar, index, shift.day);
            }
        }
        ageing.shifts.retain(|shift| shift.day < calendar.end_day);
        ageing.shifts.sort_by(|a, b| a.day.total_cmp(&b.day));
        let row = draw_row(&mut draw, index, calendar, &body, (shell, expansion_per_k));
        Ok(Self { row, body, sensor, ageing })
    }

    /// Tilt as the sensor would give it, without noise, in a still sugar bath of 20 C, on `day`.
    pub fn bath_tilt_deg(&self, change: &ProbeChange, sg: f64) -> Result<f64> {
        let density = sucrose_bath_density_kg_m3(sg, 20.0)?;
        Ok(self.body.bath_tilt_deg(change, density) + self.sensor.zero_deg + change.zero_deg)
    }

    /// SG that the probe's own curve of an earlier state shows, at SG 1.020 and 20 C, less 1.020.
    pub fn error_sg(&self, then: &ProbeChange, now: &ProbeChange) -> Result<f64> {
        let tilt = self.bath_tilt_deg(now, 1.020)?;
        let density = self.body.bath_density_kg_m3(then, tilt - self.sensor.zero_deg - then.zero_deg);
        // The same bath read twice: densities of sugar baths at 20 C are in the ratio of their SG.
        Ok(density / sucrose_bath_density_kg_m3(1.020, 20.0)? * 1.020 - 1.020)
    }
}

fn next_idle(calendar: &Calendar, probe: usize, day: f64) -> f64 {
    calendar
        .of_probe(probe)
        .map(|batch| (batch.pitched_day - 0.1, batch.pitched_day + batch.ended_h / 24.0 + 0.12))
        .find(|&(from, to)| (from..to).contains(&day))
        .map_or(day, |(_, to)| to)
}

fn draw_row(draw: &mut Stream, index: usize, calendar: &Calendar, body: &Body, shell: (&str, f64)) -> Probe {
    let bird = BIRDS[index % BIRDS.len()];
    let round = index / BIRDS.len();
    let weighed = draw.chance(0.9);
    let measured = draw.chance(0.85);
    let built = calendar.next_hour(-draw.uniform(20.0, 300.0), 0.0);
    let bottom = if (body.bottom_mm - body.radius_mm).abs() < 1e-9 {
        EndShape::Hemisphere
    } else {
        EndShape::SemiEllipsoidMm(rounded(body.bottom_mm + draw.bounded_normal(0.3), 0.1))
    };
    let cell_g = rounded(44.0 + draw.bounded_normal(0.8), 0.1);
    let named = draw.chance(0.8);
    Probe {
        probe: if round == 0 { bird.to_owned() } else { format!("{bird}-{}", round + 1) },
        built_on: Some(Instant::from_micros(calendar.instant(built).micros())),
        total_mass_g: weighed.then_some(rounded(body.mass_g + draw.bounded_normal(0.1), 0.1)),
        cell_mass_g: weighed.then_some(cell_g),
        diameter_mm: Some(rounded(2.0 * body.radius_mm + draw.bounded_normal(0.1), 0.1)),
        length_mm: measured.then_some(rounded(body.length_mm + draw.bounded_normal(0.5), 1.0)),
        bottom: measured.then_some(bottom),
        top: measured.then_some(EndShape::Flat),
        shell: Some(if named { shell.0.to_owned() } else { format!("{:.1e}", shell.1) }),
        note: None,
    }
}
