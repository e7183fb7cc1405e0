//! Yeast in wort: the differential equations of a fermentation.
//!
//! The structure is that of two published models put together:
//!
//! - Engasser, Marc, Moll and Duteurtre (1981), in the form of Gee and Ramirez (1988, 1994): glucose, maltose and
//!   maltotriose are taken up by Michaelis-Menten rates, maltose held back by glucose, maltotriose by both; growth
//!   follows uptake and is held back by the growth already done, `Kx / (Kx + (X - X0)^2)`; each sugar gives its heat.
//! - de Andres-Toro and others (1998): yeast in lag, active (suspended) and settled.
//!
//! ```text
//! uG = vG(T) G/(kG + G)
//! uM = vM(T) M/(kM + M) iG/(iG + G)
//! uN = vN(T) N/(kN + N) iG/(iG + G) iM/(iM + M)
//! W  = (A + a S) c(T) / (1 + (E/iE)^2)                      yeast at work
//! dG = -uG W      dM = -uM W + kH(T) H      dN = -uN W      dH = -kH(T) H
//! dL1 = -l(T) L1     dL2 = l(T) (L1 - L2)
//! dA = l(T) L2 + y (uG + uM + uN) W Kx/(Kx + B^2) - s A     dS = s A - d S
//! s  = s0(T) / (1 + ((G + M)/g)^2) + s1 (1 - c(T))
//! ```
//!
//! `B` is the growth done, `E` ethanol, `H` what the enzymes of dry hops can still free as maltose, `c(T)` falls from 1
//! to 0 about the strain's stop temperature. Rates are Arrhenius about 20 C. The published rates belong to single yeasts
//! at 8 to 16 C and stall when warmer; they were set anew here so that all-malt worts of SG 1.035 to 1.075 at 10 to 25 C
//! come to rest within 2 to 14 days after a lag of 6 to 24 h (lagers at 10 C up to 45 h), with maltotriose as a slow
//! tail: no number below is a measured one. Amounts are g per 100 g of original wort, yeast likewise (dry).

use crate::units::arrhenius_pace;

use super::strain::YeastStrain;

/// Temperature of the rates below, C.
const RATES_C: f64 = 20.0;
const UPTAKE: [f64; 3] = [0.80, 0.60, 0.14];
/// Activation energies, kJ/mol: glucose, maltose, maltotriose.
const ENERGY_KJ: [f64; 3] = [70.0, 50.0, 44.0];
const HALF: [f64; 3] = [0.20, 0.15, 0.50];
const HELD_BY_GLUCOSE: f64 = 0.12;
const HELD_BY_MALTOSE: f64 = 0.35;
const GROWTH_YIELD: f64 = 0.22;
const GROWTH_LIMIT: f64 = 0.0024;
const LAG_PER_H: f64 = 0.40;
const LAG_ENERGY_KJ: f64 = 60.0;
const ETHANOL_HOLD: f64 = 8.5;
const SETTLED_AT_WORK: f64 = 0.03;
const DEATH_PER_H: f64 = 0.006;
const SETTLING_SUGAR: f64 = 0.8;
const COLD_SETTLING_PER_H: f64 = 0.06;
const HOP_PER_H: f64 = 0.025;
/// Heat of fermentation, kJ/g of glucose, maltose, maltotriose (91.2, 226.3, 361.3 kJ/mol, Gee and Ramirez).
pub(super) const HEAT_KJ_PER_G: [f64; 3] = [91.2 / 180.16, 226.3 / 342.30, 361.3 / 504.44];

/// What is in the vessel, g per 100 g of original wort.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct State {
    /// Glucose, maltose, usable maltotriose.
    pub sugars: [f64; 3],
    /// What hops will still free.
    pub hop: f64,
    /// Yeast in the two stages of the lag.
    pub lag: [f64; 2],
    /// Suspended yeast.
    pub active: f64,
    /// Settled yeast.
    pub settled: f64,
    /// Growth so far.
    pub grown: f64,
    /// Sugar fermented so far.
    pub fermented: f64,
}

impl State {
    /// Wort just pitched.
    pub fn pitched(sugars: [f64; 3], yeast: f64) -> Self {
        Self { sugars, lag: [0.97 * yeast, 0.0], active: 0.03 * yeast, ..Self::default() }
    }

    fn add(&self, slope: &Self, step: f64) -> Self {
        let plus = |a: f64, b: f64| (a + step * b).max(0.0);
        Self {
            sugars: std::array::from_fn(|i| plus(self.sugars[i], slope.sugars[i])),
            hop: plus(self.hop, slope.hop),
            lag: std::array::from_fn(|i| plus(self.lag[i], slope.lag[i])),
            active: plus(self.active, slope.active),
            settled: plus(self.settled, slope.settled),
            grown: plus(self.grown, slope.grown),
            fermented: plus(self.fermented, slope.fermented),
        }
    }
}

/// The yeast of one batch: its strain and how this lot differs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Yeast {
    pub strain: YeastStrain,
    /// Factor of this batch on uptake.
    pub vigour: f64,
    /// Factor of this batch on the time in lag.
    pub lag: f64,
    /// Factor of this wort on growth.
    pub nutrients: f64,
    /// Ethanol made per sugar fermented, g/g.
    pub ethanol_yield: f64,
    /// Sugar fermented at which the yeast drops out for good, if it does.
    pub drops_at: Option<f64>,
}

/// The rates at one temperature.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rates {
    uptake: [f64; 3],
    lag: f64,
    hop: f64,
    settling: f64,
    cold: f64,
}

impl Yeast {
    /// The rates at a temperature.
    pub fn rates(&self, temp_c: f64) -> Rates {
        let strain = &self.strain;
        let pace = |energy_kj: f64| arrhenius_pace(energy_kj, temp_c, RATES_C);
        let uptake = |i: usize| UPTAKE[i] * strain.speed * self.vigour * pace(ENERGY_KJ[i] * strain.warmth);
        Rates {
            uptake: std::array::from_fn(uptake),
            lag: LAG_PER_H / (strain.lag * self.lag) * pace(LAG_ENERGY_KJ * strain.warmth),
            hop: HOP_PER_H * pace(50.0),
            settling: strain.settling_per_h * pace(15.0),
            cold: 1.0 / (1.0 + ((temp_c - strain.stop_temp_c) / 0.7).exp()),
        }
    }

    fn slope(&self, state: &State, rates: &Rates) -> State {
        let [glucose, maltose, maltotriose] = state.sugars;
        let ethanol = self.ethanol_yield * state.fermented;
        let work = (state.active + SETTLED_AT_WORK * state.settled) * (1.0 - rates.cold)
            / (1.0 + (ethanol / ETHANOL_HOLD).powi(2));
        let free_of_glucose = HELD_BY_GLUCOSE / (HELD_BY_GLUCOSE + glucose);
        let free_of_maltose = HELD_BY_MALTOSE / (HELD_BY_MALTOSE + maltose);
        let taken = [
            rates.uptake[0] * glucose / (HALF[0] + glucose) * work,
            rates.uptake[1] * maltose / (HALF[1] + maltose) * free_of_glucose * work,
            rates.uptake[2] * maltotriose / (HALF[2] + maltotriose) * free_of_glucose * free_of_maltose * work,
        ];
        let fermented: f64 = taken.iter().sum();
        let limit = GROWTH_LIMIT * self.nutrients;
        let growth = GROWTH_YIELD * fermented * limit / (limit + state.grown * state.grown);
        let waking = [rates.lag * state.lag[0], rates.lag * state.lag[1]];
        let mut settling =
            rates.settling / (1.0 + ((glucose + maltose) / SETTLING_SUGAR).powi(2)) + COLD_SETTLING_PER_H * rates.cold;
        let mut dying = DEATH_PER_H;
        if self.drops_at.is_some_and(|at| state.fermented > at) {
            settling += 0.15;
            dying += 0.05;
        }
        let freed = rates.hop * state.hop;
        State {
            sugars: [-taken[0], freed - taken[1], -taken[2]],
            hop: -freed,
            lag: [-waking[0], waking[0] - waking[1]],
            active: waking[1] + growth - settling * state.active,
            settled: settling * state.active - dying * state.settled,
            grown: growth,
            fermented,
        }
    }

    /// One step of the classical fourth-order Runge-Kutta method at constant temperature; also gives the heat, kJ per
    /// 100 g of wort.
    pub fn step(&self, state: &State, temp_c: f64, hours: f64) -> (State, f64) {
        let rates = self.rates(temp_c);
        let k1 = self.slope(state, &rates);
        let k2 = self.slope(&state.add(&k1, hours / 2.0), &rates);
        let k3 = self.slope(&state.add(&k2, hours / 2.0), &rates);
        let k4 = self.slope(&state.add(&k3, hours), &rates);
        let next = state.add(&k1, hours / 6.0).add(&k2, hours / 3.0).add(&k3, hours / 3.0).add(&k4, hours / 6.0);
        let freed = state.hop - next.hop;
        let heat = (0..3)
            .map(|i| HEAT_KJ_PER_G[i] * (state.sugars[i] - next.sugars[i] + if i == 1 { freed } else { 0.0 }))
            .sum();
        (next, heat)
    }
}
