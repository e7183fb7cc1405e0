//! Seasons with known truth, from a process that no fitted curve equals.
//!
//! [`SimulateSettings`] is checked, run, and gives a [`Simulated`]: a season as a user would have loaded it, and its
//! [`Truth`]. [`Simulated::write`] leaves both in a folder, the log with its late and repeated rows.
//!
//! | part | what it does | what the studies do not know of |
//! | --- | --- | --- |
//! | fermentation | three sugars taken up in order, yeast that wakes, grows and settles, heat, a thermostat: differential equations in the structure of Engasser and others (1981), Gee and Ramirez (1988) and de Andres-Toro and others (1998), with rates set anew | no closed curve is its solution |
//! | gravity | mass balance and Tabarie's principle | the studies go by Balling's relation |
//! | float | [`crate::float`]'s hydrostatics of a hull with a neck and a taper, the meniscus' pull, a shell and contents that grow with warmth | a plain cylinder is what calibration knows |
//! | sensor | white and autocorrelated noise, zero, turn with temperature, a slow and slightly wrong thermometer, clinging gas, foam, lumps, rounding | gas lifts one way only |
//! | history | growing deposits, a zero that turns and walks, cell swaps, knocks, sudden deposits | those that are not written down |
//! | baths and samples | one error a bath, a gain of the day's balance, a bias for each instrument, water from the tap | the stated values |
//! | troubles, if asked for | foam, walls, bubbles and hops on a probe; entries that are wrong; unwritten swaps; clocks; probes out of the beer | all of them |
//! | log | failures of the receiver, frozen spells, lost, late and repeated rows, washing | - |
//!
//! Left out: the density of dissolved carbon dioxide, evaporation, stratified temperature, yeast that
//! ferments dextrins, wild fermentation. Amounts and rates are chosen to be usual in a small brewery and are not
//! measured; where a number has a source, it is named at the number.

mod ageing;
mod bench;
mod body;
mod brew;
mod calendar;
mod episode;
mod fermentation;
mod fleet;
mod hull_outline;
mod instruments;
mod log;
mod regime;
mod run;
mod samples;
mod sensor;
mod settings;
mod strain;
mod stream;
mod tidy;
mod trouble;
mod true_values;
mod truth;
mod truth_table;
mod wort;
mod written_files;
mod yeast;

pub use run::Simulated;
pub use settings::SimulateSettings;
pub use trouble::{Trouble, TroubleTruth};
pub use truth::{
    BatchEnd, BatchTruth, CurveTruth, ErrorTruth, GravityTruth, ProbeTruth, ShiftTruth, StrainTruth, Truth,
};
