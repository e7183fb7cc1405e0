//! Days at the bench: calibrations and checks in baths.

use crate::error::Result;
use crate::liquid::sucrose_bath_density_kg_m3;
use crate::season::{Event, Reference};

use super::body::Surroundings;
use super::calendar::Calendar;
use super::fleet::SimulatedProbe;
use super::log::LogRow;
use super::sensor::rounded;
use super::stream::Stream;
use super::trouble::{Trouble, TroubleTruth};

/// Minutes that a probe stands in one bath, and from one bath to the next.
const STAND_MIN: f64 = 40.0;
const NEXT_MIN: f64 = 50.0;
/// Minutes between readings while the brewer stands by.
const READING_MIN: f64 = 5.0;

/// One bath as it was made.
#[derive(Debug, Clone)]
struct BenchBath {
    name: String,
    method: &'static str,
    instrument: Option<String>,
    stated_sg: f64,
    stated_sd: Option<f64>,
    true_sg: f64,
    temp_c: f64,
}

#[derive(Debug, Clone)]
pub(super) struct BenchDay {
    /// Day of its first bath.
    pub day: f64,
    pub probes: Vec<usize>,
    /// Whether it gives a curve: water and at least three more.
    pub calibrates: bool,
    baths: Vec<BenchBath>,
}

/// What the bench adds to a season.
#[derive(Debug, Clone, Default)]
pub(super) struct Benched {
    /// The sessions in order of time.
    pub sessions: Vec<BenchDay>,
    pub references: Vec<Reference>,
    pub rows: Vec<LogRow>,
    pub events: Vec<Event>,
    /// Baths that were weighed wrong.
    pub troubles: Vec<TroubleTruth>,
}

impl BenchDay {
    /// Day of the last bath of the session.
    pub fn last_day(&self) -> f64 {
        self.day + (self.baths.len().saturating_sub(1) as f64 * NEXT_MIN + 25.0) / 1440.0
    }
}

/// Every day at the bench: all probes at the start, then whoever is free and due, every half of `check_days`.
pub(super) fn bench(calendar: &Calendar, fleet: &[SimulatedProbe]) -> Result<Benched> {
    let (settings, mut out) = (&calendar.settings, Benched::default());
    let mut last_bath = vec![0.0; fleet.len()];
    let mut last_curve = vec![0.0; fleet.len()];
    let mut index = 0;
    let mut day = calendar.next_hour(0.0, 8.0);
    let mut due: Vec<usize> = (0..fleet.len()).collect();
    while day < calendar.end_day - 0.5 {
        let mut draw = Stream::new(settings.seed, "bench", index);
        let mut whole = Vec::new();
        let mut check = Vec::new();
        for probe in due {
            let swapped = fleet.get(probe).is_some_and(|unit| {
                unit.ageing.shifts.iter().any(|s| {
                    s.kind == "cell_swap"
                        && s.recorded
                        && s.day < day
                        && last_curve.get(probe).is_some_and(|&c| c < s.day)
                })
            });
            let again = index == 0 || draw.chance(if swapped { 0.75 } else { 0.04 });
            if again { &mut whole } else { &mut check }.push(probe);
            let lasts = last_bath.get_mut(probe).into_iter().chain(last_curve.get_mut(probe).filter(|_| again));
            lasts.for_each(|last| *last = day);
        }
        for (probes, calibrates) in [(whole, true), (check, false)] {
            if !probes.is_empty() {
                let baths = make_baths(calendar, &mut draw, day, calibrates, &mut out.troubles);
                let session = BenchDay { day, baths, probes, calibrates };
                session.hold(&mut draw, calendar, fleet, &mut out)?;
                out.sessions.push(session);
            }
        }
        index += 1;
        day = calendar.next_hour(day + settings.check_days * draw.uniform(0.35, 0.65), draw.uniform(8.0, 10.0));
        due = (0..fleet.len())
            .filter(|&probe| {
                let waited = last_bath.get(probe).is_some_and(|&last| day - last > 0.7 * settings.check_days);
                waited && calendar.is_idle(probe, day, day + 0.4)
            })
            .collect();
    }
    out.sessions.retain(|session| session.day < calendar.end_day);
    Ok(out)
}

fn make_baths(
    calendar: &Calendar,
    draw: &mut Stream,
    day: f64,
    calibrates: bool,
    troubles: &mut Vec<TroubleTruth>,
) -> Vec<BenchBath> {
    let Calendar { settings, instruments, .. } = calendar;
    let scale = settings.reference_scale;
    // One balance and one bag of sugar a day: their error is common to its baths.
    let gain = scale * draw.bounded_normal(0.003);
    let wanted: Vec<f64> = if calibrates {
        let count = 5 + draw.below(3);
        let (from, to) = (draw.uniform(1.008, 1.016), draw.uniform(1.078, 1.098));
        (0..count).map(|i| from + (to - from) * i as f64 / (count - 1) as f64).collect()
    } else if draw.chance(0.5) {
        vec![draw.uniform(1.040, 1.062)]
    } else {
        Vec::new()
    };
    let by_hydrometer = draw.chance(0.25);
    let tap = draw.chance(0.25);
    let date = calendar.instant(day).to_string();
    let date = date.get(5..10).unwrap_or_default().replace('-', "");
    let kind = if calibrates { "cal" } else { "check" };
    let room_c = 20.0 + draw.bounded_normal(0.8);
    let mut baths = vec![BenchBath {
        name: format!("{date}-{kind}-water"),
        method: "water",
        instrument: None,
        stated_sg: 1.0,
        stated_sd: None,
        // Water from the tap holds salts.
        true_sg: 1.0 + scale * if tap { draw.uniform(0.0002, 0.0006) } else { draw.uniform(0.0, 0.000_05) },
        temp_c: room_c + draw.bounded_normal(0.3),
    }];
    for sg in wanted {
        let nominal = rounded(sg, 0.001);
        let number = 1000 * (day * 24.0) as usize + 10 * baths.len() + usize::from(calibrates);
        let weighed = settings
            .befalls(Trouble::BathMass, number, 0.04)
            .map_or(1.0, |mut draw| if draw.chance(0.5) { 0.9 } else { 1.1 });
        let true_sg = 1.0 + (nominal - 1.0) * (1.0 + gain) * weighed + scale * draw.bounded_normal(0.0003);
        if (weighed - 1.0f64).abs() > 1e-9 && !by_hydrometer {
            troubles.push(TroubleTruth::entry(Trouble::BathMass, calendar.instant(day), nominal - true_sg));
        }
        let (method, instrument, stated_sg, stated_sd) = if by_hydrometer {
            let read = rounded(true_sg + instruments.hydrometer.error(draw, scale), 0.0005);
            ("hydrometer", Some(instruments.hydrometer.name.clone()), read, Some(0.0008))
        } else {
            ("weighed", None, nominal, None)
        };
        baths.push(BenchBath {
            name: format!("{date}-{kind}-{:.0}", 1000.0 * nominal),
            method,
            instrument,
            stated_sg,
            stated_sd,
            true_sg,
            temp_c: room_c + draw.bounded_normal(0.4),
        });
    }
    baths
}

impl BenchDay {
    /// Stands every probe in every bath; probe `p` begins with bath `p`, so that no two need one bath in the same minute
    /// where baths are enough.
    fn hold(&self, draw: &mut Stream, calendar: &Calendar, fleet: &[SimulatedProbe], out: &mut Benched) -> Result<()> {
        for (turn, &index) in self.probes.iter().enumerate() {
            let Some(unit) = fleet.get(index) else { continue };
            // Some probes write a log at the bench, of others the tilt is noted by hand, of others both.
            let how = draw.below(3);
            for slot in 0..self.baths.len() {
                let Some(bath) = self.baths.get((slot + turn) % self.baths.len()) else { continue };
                let start = self.day + slot as f64 * NEXT_MIN / 1440.0;
                let (tilts, mut rows) = stand((index, unit), bath, start, draw, calendar)?;
                if how != 1 {
                    out.rows.append(&mut rows);
                }
                let settled = tilts.get(2..).unwrap_or_default();
                let n = settled.len().max(1) as f64;
                let mean = settled.iter().sum::<f64>() / n;
                let sd = (settled.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0)).sqrt();
                let noted = how != 0;
                out.references.push(Reference {
                    probe: Some(unit.row.probe.clone()),
                    bath: Some(bath.name.clone()),
                    method: Some(bath.method.to_owned()),
                    instrument: bath.instrument.clone(),
                    tilt_deg: noted.then_some(rounded(mean, 0.01)),
                    // With the sensor's noise set to nothing the tilts repeat and have no spread to note.
                    tilt_sd_deg: (noted && sd > 0.005).then_some(rounded(sd, 0.01)),
                    temp_c: Some(rounded(bath.temp_c, 0.1)),
                    sg_sd: bath.stated_sd,
                    ..Reference::new(calendar.instant(start + 25.0 / 1440.0), bath.stated_sg)
                });
            }
            if draw.chance(0.12) && self.day > 1.0 {
                let mass_g = unit.body.mass_g + unit.ageing.total(self.day).mass_g + draw.bounded_normal(0.1);
                out.events.push(Event {
                    probe: Some(unit.row.probe.clone()),
                    total_mass_g: Some(rounded(mass_g, 0.1)),
                    ..Event::new(calendar.instant(self.last_day() + 0.05), "reweighed")
                });
            }
        }
        Ok(())
    }
}

/// Tilts of a probe in a bath, and the rows that a log would have.
fn stand(
    (probe, unit): (usize, &SimulatedProbe),
    bath: &BenchBath,
    start: f64,
    draw: &mut Stream,
    calendar: &Calendar,
) -> Result<(Vec<f64>, Vec<LogRow>)> {
    let density_kg_m3 = sucrose_bath_density_kg_m3(bath.true_sg, bath.temp_c)?;
    let around = Surroundings {
        density_kg_m3,
        temp_c: bath.temp_c,
        // Contact angles differ from one placing to the next.
        pull_n_m: 0.072 * draw.uniform(0.3, 0.7),
        gas_ml: 0.0,
        foam_g: 0.0,
    };
    let change = unit.ageing.total(start);
    let sensor = &unit.sensor;
    let still = unit.body.tilt_deg(&change, &around, 40.0) + sensor.zero_deg + change.zero_deg;
    // Half of the slow noise goes with the placing, whatever the cadence.
    let placing = 0.5 * sensor.slow_deg * draw.normal(1.0);
    let (mut tilts, mut rows) = (Vec::new(), Vec::new());
    for i in 0..(STAND_MIN / READING_MIN) as usize {
        let minutes = 3.0 + READING_MIN * i as f64;
        let tilt = still
            + placing
            + sensor.zero_deg_per_k * (bath.temp_c - 20.0)
            + (1.0 + 0.5 * draw.uniform(0.0, 1.0)) * sensor.white_deg * draw.normal(1.0);
        let temp = sensor.temperature(bath.temp_c);
        tilts.push(tilt);
        let shown = LogRow::new(calendar.instant(start + minutes / 1440.0), probe, tilt, temp);
        rows.push(LogRow { sg: Some(bath.true_sg), density_kg_m3: Some(density_kg_m3), ..shown });
    }
    Ok((tilts, rows))
}
