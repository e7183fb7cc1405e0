//! How a probe changes over a season, in mass, centre of gravity and sensor zero.

use super::settings::SimulateSettings;
use super::stream::Stream;
use super::trouble::Trouble;

/// What has come upon a probe since it was built: mass with its moments, and a turn of the sensor.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct ProbeChange {
    pub mass_g: f64,
    /// Mass times place across the axis, g mm.
    pub across_g_mm: f64,
    /// Mass times height above the nose, g mm.
    pub along_g_mm: f64,
    /// Zero of the sensor, degrees.
    pub zero_deg: f64,
}

impl ProbeChange {
    /// A mass at a place.
    pub fn mass(mass_g: f64, across_mm: f64, along_mm: f64) -> Self {
        Self { mass_g, across_g_mm: mass_g * across_mm, along_g_mm: mass_g * along_mm, zero_deg: 0.0 }
    }

    /// Both together.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self {
            mass_g: self.mass_g + other.mass_g,
            across_g_mm: self.across_g_mm + other.across_g_mm,
            along_g_mm: self.along_g_mm + other.along_g_mm,
            zero_deg: self.zero_deg + other.zero_deg,
        }
    }

    fn times(self, factor: f64) -> Self {
        Self {
            mass_g: self.mass_g * factor,
            across_g_mm: self.across_g_mm * factor,
            along_g_mm: self.along_g_mm * factor,
            zero_deg: self.zero_deg * factor,
        }
    }
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct SuddenChange {
    /// Days from the start of the season.
    pub day: f64,
    /// `cell_swap`, `knocked` or `deposit`.
    pub kind: &'static str,
    pub recorded: bool,
    /// Mass of the new cell over that of the old, g, for a swap.
    pub cell_g: f64,
    pub change: ProbeChange,
}

/// The history of one probe.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ageing {
    /// Gradual change at the start of each day.
    daily: Vec<ProbeChange>,
    /// Sudden changes in order of time.
    pub shifts: Vec<SuddenChange>,
}

impl Ageing {
    /// Draws the history of probe `index` over `days`, for a float of this length and radius, mm, and mass, g.
    ///
    /// Gradual: a deposit that grows at a rate of its own (mean 0.04, SD 0.05 g in 30 d, none negative), somewhere on the lower
    /// two thirds of the shell; the sensor's zero turns at a rate of its own (SD 0.10 degrees in 30 d) and walks at random
    /// (SD 0.05 degrees in 7 d). Sudden: about one in 140 d.
    pub fn draw(settings: &SimulateSettings, index: usize, days: f64, size: (f64, f64, f64)) -> Self {
        let (length_mm, radius_mm, _) = size;
        let mut draw = Stream::new(settings.seed, "ageing", index);
        let scale = settings.drift_scale;
        let grams_per_day = (0.04 + draw.bounded_normal(0.05)).max(0.0) / 30.0;
        let height = length_mm * draw.uniform(0.05, 0.65);
        let across = 0.3 * radius_mm * draw.bounded_normal(0.5);
        let turn_per_day = draw.bounded_normal(0.10) / 30.0;
        let walk_deg = 0.05 / 7f64.sqrt();
        let mut daily = vec![ProbeChange::default()];
        let mut now = ProbeChange::default();
        let mut step = Stream::new(settings.seed, "zero walk", index);
        for _ in 0..days.ceil() as usize + 2 {
            // Deposits come in beer and not on the shelf: some days more, some none.
            let grown = grams_per_day * step.exponential(1.0);
            now = now.plus(ProbeChange::mass(scale * grown, across, height));
            now.zero_deg += scale * (turn_per_day + step.normal(walk_deg));
            daily.push(now);
        }
        let mut shifts = draw_shifts(settings, index, days, size);
        if settings.troubles.contains(&Trouble::UnwrittenSwap) {
            shifts.extend(unwritten_swaps(settings, index, days, length_mm));
        }
        shifts.sort_by(|a, b| a.day.total_cmp(&b.day));
        Self { daily, shifts }
    }

    /// Gradual change by `day`.
    pub fn gradual(&self, day: f64) -> ProbeChange {
        let day = day.max(0.0);
        let left = (day as usize).min(self.daily.len().saturating_sub(2));
        match self.daily.get(left..left + 2) {
            Some(&[a, b]) => a.times(1.0 - (day - left as f64)).plus(b.times(day - left as f64)),
            _ => self.daily.last().copied().unwrap_or_default(),
        }
    }

    /// The whole change by `day`, shifts included.
    pub fn total(&self, day: f64) -> ProbeChange {
        self.shifts.iter().filter(|shift| shift.day <= day).fold(self.gradual(day), |sum, shift| sum.plus(shift.change))
    }
}

/// Swaps of the cell by another that is 0.2 to 0.5 g heavier or lighter, one in 150 days, that nobody writes down.
fn unwritten_swaps(settings: &SimulateSettings, index: usize, days: f64, length_mm: f64) -> Vec<SuddenChange> {
    let mut draw = Stream::new(settings.seed, Trouble::UnwrittenSwap.name(), index);
    let mut shifts = Vec::new();
    let mut day = 4.0 + draw.exponential(150.0);
    while day < days {
        let cell_g = draw.uniform(0.2, 0.5) * if draw.chance(0.5) { 1.0 } else { -1.0 };
        let change = ProbeChange::mass(cell_g, 2.0, 0.33 * length_mm);
        shifts.push(SuddenChange { day, kind: "cell_swap", recorded: false, cell_g, change });
        day += draw.exponential(150.0);
    }
    shifts
}

fn draw_shifts(
    settings: &SimulateSettings,
    index: usize,
    days: f64,
    (length_mm, radius_mm, mass_g): (f64, f64, f64),
) -> Vec<SuddenChange> {
    let mut draw = Stream::new(settings.seed, "shifts", index);
    let mut shifts = Vec::new();
    let mut day = 4.0;
    loop {
        let wait = draw.exponential(140.0);
        if settings.shift_scale <= 0.0 {
            return shifts;
        }
        day += wait / settings.shift_scale;
        if day > days {
            return shifts;
        }
        let which = draw.uniform(0.0, 1.0);
        shifts.push(if which < 0.4 {
            // Another cell of the same kind: its mass differs, and it does not sit quite where the old one sat.
            let cell_g = draw.bounded_normal(0.25);
            let (up, out) = (44.0 * draw.bounded_normal(0.25), 44.0 * draw.bounded_normal(0.12));
            let mut change = ProbeChange::mass(cell_g, 2.0, 0.33 * length_mm);
            change.along_g_mm += up;
            change.across_g_mm += out;
            SuddenChange { day, kind: "cell_swap", recorded: draw.chance(0.9), cell_g, change }
        } else if which < 0.75 {
            let change = ProbeChange {
                across_g_mm: mass_g * draw.bounded_normal(0.05),
                along_g_mm: mass_g * draw.bounded_normal(0.10),
                zero_deg: draw.bounded_normal(0.5),
                ..ProbeChange::default()
            };
            SuddenChange { day, kind: "knocked", recorded: draw.chance(0.5), cell_g: 0.0, change }
        } else {
            let height = length_mm * draw.uniform(0.0, 0.5);
            let change = ProbeChange::mass(draw.uniform(0.08, 0.30), radius_mm * draw.uniform(-0.7, 0.7), height);
            SuddenChange { day, kind: "deposit", recorded: false, cell_g: 0.0, change }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_probe_changes_as_the_scales_say() {
        let still = SimulateSettings { drift_scale: 0.0, shift_scale: 0.0, ..SimulateSettings::default() };
        let ageing = Ageing::draw(&still, 3, 100.0, (130.0, 18.0, 100.0));
        assert_eq!(ageing.total(99.5), ProbeChange::default());
        let lively = SimulateSettings { shift_scale: 5.0, ..SimulateSettings::default() };
        let ageing = Ageing::draw(&lively, 3, 100.0, (130.0, 18.0, 100.0));
        assert!(!ageing.shifts.is_empty());
        let at = ageing.shifts[0].day;
        assert!(ageing.total(at - 1e-9) != ageing.total(at));
        assert!(ageing.gradual(60.0).mass_g >= ageing.gradual(30.0).mass_g);
    }
}
