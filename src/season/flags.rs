//! Reasons for which a reading is kept but marked.

use std::fmt;

/// A set of reasons. Prints as names split by `;`, in the order of [`Flags::ALL`].
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Flags(u32);

macro_rules! flags {
    ($($(#[$doc:meta])* $constant:ident = $bit:literal, $name:literal;)*) => {
        impl Flags {
            $($(#[$doc])* pub const $constant: Flags = Flags(1 << $bit);)*
            /// Every flag with its name in the tables.
            pub const ALL: &'static [(Flags, &'static str)] = &[$((Flags::$constant, $name)),*];
        }
    };
}

flags! {
    /// Tilt outside 0 to 90 degrees: the probe was out of the beer, or is being cleaned.
    TILT_RANGE = 0, "tilt_range";
    /// Temperature outside -5 to 45 C: out of the beer, or a cleaning.
    TEMP_RANGE = 1, "temp_range";
    /// Stands in its file after a later reading of the same probe.
    LATE = 2, "late";
    /// The logger's clock jumped here.
    CLOCK_JUMP = 3, "clock_jump";
    /// The local time occurs twice at the end of summer time; the first was taken unless the order says otherwise.
    LOCAL_TIME_TWICE = 4, "local_time_twice";
    /// The local time never occurs, at the start of summer time; read with the offset before the change.
    LOCAL_TIME_NEVER = 5, "local_time_never";
    /// The sensor repeats one value.
    FROZEN = 6, "frozen";
    /// The probe is not in the table of probes.
    UNKNOWN_PROBE = 7, "unknown_probe";
    /// The batch is not in the table of batches.
    UNKNOWN_BATCH = 8, "unknown_batch";
    /// Taken before the probe's first calibration, which is used all the same.
    BEFORE_CALIBRATION = 9, "before_calibration";
    /// After a change of cell, shell or board, and before the next calibration.
    CALIBRATION_STALE = 10, "calibration_stale";
    /// Beyond the baths of the curve.
    EXTRAPOLATED = 11, "extrapolated";
    /// The probe has no curve: no gravity.
    NO_CALIBRATION = 12, "no_calibration";
    /// The fit of the batch finds this reading far off its curve; it is kept with less weight.
    OUTLIER = 13, "outlier";
    /// The batch is being cooled or has been: left out of the fermentation fit.
    COOLED = 14, "cooled";
    /// Before the pitching or after the end of its batch, or of a probe that was in no beer; a sample dated outside its
    /// batch. Left out of all fits.
    OUTSIDE_BATCH = 15, "outside_batch";
    /// A value that the row can do without could not be read and was left empty.
    VALUE_UNREADABLE = 16, "value_unreadable";
    /// Something held, loaded or lifted the probe for hours (foam, the wall, bubbles): left out of the fermentation fit.
    DISTURBED = 17, "disturbed";
    /// All samples of the batch contradict the readings of this probe there: perhaps it is another one.
    CONTRADICTED = 18, "contradicted";
    /// The log has another probe's name here: two of them had changed places, and have their own again.
    EXCHANGED = 19, "exchanged";
}

impl Flags {
    /// No reason.
    pub const NONE: Self = Self(0);

    /// The probe was in no beer.
    pub(crate) const NO_BEER: Self = Self::TILT_RANGE.with(Self::TEMP_RANGE).with(Self::OUTSIDE_BATCH);

    /// True when no reason is set.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// True when any reason of `other` is set.
    pub const fn intersects(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }

    /// Both sets together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// This set without the reasons of `other`.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Reads names split by `;`; none when one of them is not a flag.
    pub fn parse(names: &str) -> Option<Self> {
        names.split(';').map(str::trim).filter(|name| !name.is_empty()).try_fold(Self::NONE, |set, name| {
            Self::ALL.iter().find(|(_, n)| *n == name).map(|(flag, _)| set.with(*flag))
        })
    }

    /// The names of the reasons in this set.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        Self::ALL.iter().filter(move |(flag, _)| self.intersects(*flag)).map(|(_, name)| *name)
    }

    /// Those reasons that a written season has to carry, as they show only in the file as it stood: its order, its local
    /// times, its unreadable values, its names.
    pub(crate) const fn of_the_file(self) -> Self {
        let times = Self::LATE.with(Self::CLOCK_JUMP).with(Self::LOCAL_TIME_TWICE).with(Self::LOCAL_TIME_NEVER);
        Self(self.0 & times.with(Self::VALUE_UNREADABLE).with(Self::EXCHANGED).0)
    }

    /// Adds the reasons of `other`.
    pub const fn insert(&mut self, other: Self) {
        self.0 |= other.0;
    }
}

impl fmt::Display for Flags {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.names().collect::<Vec<_>>().join(";"))
    }
}
