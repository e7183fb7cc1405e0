//! What goes wrong beyond noise and drift: what befalls a probe for hours, and what hands do wrong.

use std::fmt;

use crate::units::Instant;

use super::ageing::ProbeChange;
use super::calendar::Planned;
use super::regime::RegimeChange;
use super::settings::SimulateSettings;
use super::stream::Stream;

/// A kind of trouble. Shares and sizes are chosen to be usual, not measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trouble {
    /// Foam loads a probe for 6 to 30 hours and slides off at once: one probe in three.
    FoamLoad,
    /// A probe leans on the wall for 3 to 30 hours: one in seven.
    Leaning,
    /// A patch of bubbles lifts a probe for 1 to 10 hours: one in five.
    BubblePatch,
    /// Hops cling to a probe from dry hopping to the end.
    HopMatter,
    /// The scale of a hydrometer is misread: 3 in 100 samples.
    Misread,
    /// Two digits of a sample change places: 2 in 100.
    Typo,
    /// A sample is of another batch: 2 in 100.
    WrongBatch,
    /// A sample is dated a day off: 2 in 100.
    WrongDate,
    /// The original gravity is written down 0.010 off: one batch in 16.
    WrongOriginal,
    /// The sugar of a bath is weighed a tenth wrong: one bath in 25.
    BathMass,
    /// Two probes that run at the same time change names in the log: one batch in 16.
    SwappedProbes,
    /// Swaps of a cell that nobody writes down, by 0.2 to 0.5 g: one a probe in 150 days.
    UnwrittenSwap,
    /// The clock of a probe jumps by 1 to 12 hours for the rest of a batch: one in 16.
    ClockJump,
}

impl Trouble {
    /// All kinds.
    pub const ALL: [Self; 13] = [
        Self::FoamLoad,
        Self::Leaning,
        Self::BubblePatch,
        Self::HopMatter,
        Self::Misread,
        Self::Typo,
        Self::WrongBatch,
        Self::WrongDate,
        Self::WrongOriginal,
        Self::BathMass,
        Self::SwappedProbes,
        Self::UnwrittenSwap,
        Self::ClockJump,
    ];

    /// Its name on the command line and in the truth.
    pub fn name(self) -> &'static str {
        match self {
            Self::FoamLoad => "foam_load",
            Self::Leaning => "leaning",
            Self::BubblePatch => "bubble_patch",
            Self::HopMatter => "hop_matter",
            Self::Misread => "misread",
            Self::Typo => "typo",
            Self::WrongBatch => "wrong_batch",
            Self::WrongDate => "wrong_date",
            Self::WrongOriginal => "wrong_original",
            Self::BathMass => "bath_mass",
            Self::SwappedProbes => "swapped_probes",
            Self::UnwrittenSwap => "unwritten_swap",
            Self::ClockJump => "clock_jump",
        }
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// One trouble that happened.
#[derive(Debug, Clone, PartialEq)]
pub struct TroubleTruth {
    /// Its kind.
    pub trouble: Trouble,
    /// The probe, where it befell one.
    pub probe: Option<String>,
    /// The batch, where it was in one.
    pub batch: Option<String>,
    /// When it began, or the instant that the wrong entry bears.
    pub from: Instant,
    /// When it ended.
    pub to: Instant,
    /// By how much an entry is wrong, SG.
    pub off_sg: Option<f64>,
}

/// What befalls a probe in a batch for some hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Episode {
    pub trouble: Trouble,
    pub from_h: f64,
    pub to_h: f64,
    /// In the unit of its kind: g, degrees, mL or g.
    size: f64,
}

/// What episodes do to a probe at a moment.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct EpisodeLoad {
    pub foam_g: f64,
    pub lean_deg: f64,
    pub gas_ml: f64,
    pub change: ProbeChange,
}

/// The episodes of a probe in a batch of which data reach to `until_h`.
pub(super) fn episodes(settings: &SimulateSettings, batch: &Planned, probe: usize, until_h: f64) -> Vec<Episode> {
    let mut found = Vec::new();
    for &trouble in &settings.troubles {
        let mut draw = Stream::new(settings.seed, &format!("{trouble} in {}", batch.id), probe);
        let mid_h = batch.traits.mid_h;
        let episode = match trouble {
            Trouble::FoamLoad if draw.chance(0.33) => {
                let from_h = mid_h * draw.uniform(0.4, 1.3);
                Episode { trouble, from_h, to_h: from_h + draw.uniform(6.0, 30.0), size: draw.uniform(0.4, 2.5) }
            }
            Trouble::Leaning if draw.chance(0.15) => {
                let from_h = until_h * draw.uniform(0.05, 0.9);
                let push = draw.uniform(1.0, 6.0) * if draw.chance(0.7) { 1.0 } else { -1.0 };
                Episode { trouble, from_h, to_h: from_h + draw.uniform(3.0, 30.0), size: push }
            }
            Trouble::BubblePatch if draw.chance(0.2) => {
                let from_h = mid_h * draw.uniform(0.5, 2.0);
                Episode { trouble, from_h, to_h: from_h + draw.uniform(1.0, 10.0), size: draw.uniform(0.1, 0.5) }
            }
            Trouble::HopMatter => {
                let hopped = batch.real.made.iter().find(|made| matches!(made.change, RegimeChange::DryHop(_)));
                let Some(hopped) = hopped else { continue };
                let size = draw.uniform(0.03, 0.25);
                Episode { trouble, from_h: hopped.hours + 0.5, to_h: until_h, size }
            }
            _ => continue,
        };
        if episode.from_h < until_h {
            found.push(Episode { to_h: episode.to_h.min(until_h), ..episode });
        }
    }
    found
}

/// What they do at this hour. Foam grows evenly, the others are there at once.
pub(super) fn load(episodes: &[Episode], hours: f64) -> EpisodeLoad {
    let mut load = EpisodeLoad::default();
    for Episode { trouble, from_h, to_h, size } in episodes.iter().filter(|e| (e.from_h..e.to_h).contains(&hours)) {
        match trouble {
            Trouble::FoamLoad => load.foam_g += size * (hours - from_h) / (to_h - from_h),
            Trouble::Leaning => load.lean_deg += size,
            Trouble::BubblePatch => load.gas_ml += size,
            // Near the water line, some 90 mm above the nose.
            _ => load.change = load.change.plus(ProbeChange::mass(*size, 8.0, 90.0)),
        }
    }
    load
}

/// Whether the kind is on and befalls number `index`, with the stream of its other draws.
pub(super) fn befalls(settings: &SimulateSettings, trouble: Trouble, index: usize, share: f64) -> Option<Stream> {
    let mut draw = Stream::new(settings.seed, trouble.name(), index);
    (settings.troubles.contains(&trouble) && draw.chance(share)).then_some(draw)
}

/// 1.012 for 1.021: the last two of three decimals change places.
pub(super) fn transposed(sg: f64) -> f64 {
    let thousandths = (1000.0 * sg).round() as i64;
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

    #[test]
    fn foam_grows_and_slides_off() {
        let one = Episode { trouble: Trouble::FoamLoad, from_h: 10.0, to_h: 20.0, size: 0.4 };
        let at = |hours| load(&[one], hours).foam_g;
        assert!(at(9.9) == 0.0 && at(20.0) == 0.0 && (at(19.0) - 0.36).abs() < 1e-12);
    }
}
