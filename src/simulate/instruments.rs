//! The brewhouse's own instruments: each has a bias that all its readings share.

use super::stream::Stream;

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Instrument {
    pub name: String,
    pub bias_sg: f64,
    /// Standard deviation of one reading about that, SG.
    pub repeat_sg: f64,
}

impl Instrument {
    /// Error of one reading, SG.
    pub fn error(&self, draw: &mut Stream, scale: f64) -> f64 {
        self.bias_sg + scale * draw.bounded_normal(self.repeat_sg)
    }
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Instruments {
    /// The hydrometer of every day.
    pub hydrometer: Instrument,
    /// An older one.
    pub spare: Instrument,
    /// A density meter at the island's laboratory, which answers later.
    pub meter: Instrument,
    pub refractometer: Instrument,
}

impl Instruments {
    /// Draws the biases: SD 0.0005 and 0.0009 for the hydrometers, 0.0001 and 0.0008 for the others.
    pub fn draw(seed: u64, scale: f64) -> Self {
        let mut draw = Stream::new(seed, "instruments", 0);
        let mut make = |name: &str, bias_sd: f64, repeat_sg: f64| Instrument {
            name: name.to_owned(),
            bias_sg: scale * draw.bounded_normal(bias_sd),
            repeat_sg,
        };
        Self {
            hydrometer: make("hydrometer-a", 0.0005, 0.0005),
            spare: make("hydrometer-b", 0.0009, 0.0006),
            meter: make("lab-meter", 0.0001, 0.0001),
            refractometer: make("refractometer-a", 0.0008, 0.0006),
        }
    }
}
