//! What goes wrong beyond noise and drift: what befalls a probe for hours, and what hands do wrong.

use std::fmt;

use crate::units::Instant;

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

impl TroubleTruth {
    /// An entry at an instant that is wrong by so much.
    pub(super) fn entry(trouble: Trouble, at: Instant, off_sg: f64) -> Self {
        Self { trouble, probe: None, batch: None, from: at, to: at, off_sg: Some(off_sg) }
    }
}
