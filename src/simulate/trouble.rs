//! What goes wrong beyond noise and drift: what befalls a probe for hours, and what hands do wrong.

use crate::units::Instant;

use super::truth_table::truth_table;

named! {
    /// A kind of trouble. Shares and sizes are chosen to be usual, not measured.
    pub enum Trouble {
        /// Foam loads a probe for 6 to 30 hours and slides off at once: one probe in three.
        FoamLoad = "foam_load",
        /// Foam on one side turns a probe by 1.5 to 5 degrees, grows over hours and goes down as slowly, 8 to 40 hours in all: one
        /// probe in four.
        FoamCrust = "foam_crust",
        /// A probe leans on the wall for 3 to 30 hours, one time in four the last of its batch: one in seven.
        Leaning = "leaning",
        /// A patch of bubbles lifts a probe for 1 to 10 hours: one in five.
        BubblePatch = "bubble_patch",
        /// Hops cling to a probe from dry hopping to the end.
        HopMatter = "hop_matter",
        /// The scale of a hydrometer is misread: 3 in 100 samples.
        Misread = "misread",
        /// Two digits of a sample change places: 2 in 100.
        Typo = "typo",
        /// A sample is of another batch: 2 in 100.
        WrongBatch = "wrong_batch",
        /// A sample is dated a day off: 2 in 100.
        WrongDate = "wrong_date",
        /// The wort is sampled up to 8 hours before its pitching, and not after it: every other batch.
        WortSampled = "wort_sampled",
        /// A pitching is dated a day late: one batch in 25.
        LatePitching = "late_pitching",
        /// The original gravity is written down 0.010 off: one batch in 16.
        WrongOriginal = "wrong_original",
        /// The sugar of a bath is weighed a tenth wrong: one bath in 25.
        BathMass = "bath_mass",
        /// Two probes that run at the same time change names in the log, at once or some days later: one batch in 16.
        SwappedProbes = "swapped_probes",
        /// Swaps of a cell that nobody writes down, by 0.2 to 0.5 g: one a probe in 150 days.
        UnwrittenSwap = "unwritten_swap",
        /// The clock of a probe jumps by 1 to 12 hours for the rest of a batch: one in 16.
        ClockJump = "clock_jump",
        /// A probe lies in water or on the bench for its first 1 to 20 hours, or its last 6, while its log goes on: one in seven.
        OutOfBeer = "out_of_beer",
        /// A shell expands by 1.5e-5 to 2e-4 per K, whatever its row says: one probe in three.
        UnlikeShell = "unlike_shell",
    }
}

truth_table! {
    /// One trouble that happened.
    pub struct TroubleTruth {
        /// Its kind.
        trouble: Trouble,
        /// The probe, where it befell one.
        probe: Option<String>,
        /// The batch, where it was in one.
        batch: Option<String>,
        /// When it began, or the instant that the wrong entry bears.
        from: Instant,
        /// When it ended.
        to: Instant,
        /// By how much an entry is wrong, SG.
        off_sg: Option<f64>,
    }
}

impl TroubleTruth {
    /// An entry at an instant that is wrong by so much.
    pub(super) fn entry(trouble: Trouble, at: Instant, off_sg: f64) -> Self {
        Self { trouble, probe: None, batch: None, from: at, to: at, off_sg: Some(off_sg) }
    }
}
