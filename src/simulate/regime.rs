//! The temperature regime of a batch: set-point, its steps, and the vessel's answer.

/// What makes the brewer change something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Trigger {
    /// When this share of the sugar is gone, at the next hour of work.
    Progress(f64),
    /// At this hour from pitching.
    Hour(f64),
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum RegimeChange {
    /// A new set temperature, C.
    Set(f64),
    /// Dry hops, whose enzymes can free this much maltose, g per 100 g of wort.
    DryHop(f64),
}

/// The regime of one batch.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Regime {
    /// Temperature of the wort at pitching, C.
    pub pitch_temp_c: f64,
    /// Set temperature from pitching, C.
    pub set_temp_c: f64,
    /// Changes in order; each waits for the one before it.
    pub changes: Vec<(Trigger, RegimeChange)>,
    /// Hour of the day at pitching, UTC.
    pub hour_of_day: f64,
    /// Temperature around the vessel, C, mean over the day.
    pub room_c: f64,
    /// Hours in which the vessel follows the room to a part in e.
    pub leak_h: f64,
}

/// Hours of the day in which somebody is there.
const WORK: std::ops::Range<f64> = 7.0..20.0;
/// Heat capacity, kJ per 100 g of wort and K.
const CAPACITY: f64 = 0.40;
const COOLING_C_PER_H: f64 = 1.1;
const HEATING_C_PER_H: f64 = 0.45;

impl Regime {
    /// Hour of the day, UTC, `hours` after pitching.
    pub fn clock(&self, hours: f64) -> f64 {
        (self.hour_of_day + hours).rem_euclid(24.0)
    }

    /// True when `trigger` acts at this hour with this share of the sugar gone.
    pub fn acts(&self, trigger: Trigger, hours: f64, progress: f64) -> bool {
        match trigger {
            Trigger::Progress(at) => progress >= at && WORK.contains(&self.clock(hours)),
            Trigger::Hour(at) => hours >= at - 1e-9,
        }
    }
}

/// The vessel's thermostat: cooler and heater, on or off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Vessel {
    /// Temperature of the liquid, C.
    pub temp_c: f64,
    cooling: bool,
    heating: bool,
}

impl Vessel {
    /// A vessel at a temperature.
    pub fn at(temp_c: f64) -> Self {
        Self { temp_c, cooling: false, heating: false }
    }

    /// The vessel after a step with `heat_kj` set free per 100 g of wort.
    pub fn step(mut self, regime: &Regime, set_c: f64, hours: f64, at_hours: f64, heat_kj: f64) -> Self {
        // Cooler and heater swing 0.25 C about the set-point.
        let above = self.temp_c - set_c;
        self.cooling = if self.cooling { above > -0.05 } else { above > 0.25 };
        self.heating = if self.heating { above < 0.05 } else { above < -0.35 };
        let day = (std::f64::consts::TAU * (regime.clock(at_hours) - 9.0) / 24.0).sin();
        let room = regime.room_c + 1.5 * day;
        let mut slope = (room - self.temp_c) / regime.leak_h;
        if self.cooling {
            slope -= COOLING_C_PER_H;
        }
        if self.heating {
            slope += HEATING_C_PER_H;
        }
        self.temp_c += hours * slope + heat_kj / CAPACITY;
        self
    }
}
