//! Synthetic floats with known truth: a general hull, weighed and measured as a builder would, put into baths.

use heelwort::Instant;
use heelwort::float::{End, Hull, Shape};
use heelwort::liquid::WATER_20C_KG_M3;
use heelwort::season::{EndShape, Probe, Reference, Season};
use rand::{Rng, RngExt};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use crate::blank;

/// The two floats of the hydrostatics note: long (the top stays dry) and short (the top wets in strong wort).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Float {
    Long,
    Short,
}

/// What the builder knows and how well the baths are made.
#[derive(Debug, Clone)]
pub struct Case {
    pub float: Float,
    pub baths: Vec<f64>,
    pub tilt_sd_deg: f64,
    pub bath_sd: f64,
    pub weighed: bool,
    pub length_known: bool,
}

pub fn normal(rng: &mut impl Rng, sd: f64) -> f64 {
    Normal::new(0.0, sd).unwrap().sample(rng)
}

/// A float of this kind: water tilt 21 to 29 degrees, 58 to 70 degrees at SG 1.100, radius and length varied.
pub fn hull(float: Float, rng: &mut ChaCha8Rng) -> (Hull, Shape) {
    loop {
        let (mass, length) = match float {
            Float::Long => (0.100, 0.140),
            Float::Short => (0.110, 0.130),
        };
        let radius = 0.018 * (1.0 + normal(rng, 0.01));
        let shape = Shape::new(radius, length * (1.0 + normal(rng, 0.01)), End::Hemisphere, End::Flat).unwrap();
        let water = rng.random_range(21.0..29.0);
        let strong = rng.random_range(58.0..70.0);
        let rests = [(water, WATER_20C_KG_M3), (strong, 1.1 * WATER_20C_KG_M3)];
        let Ok(hull) = Hull::through(shape.profile(), mass * (1.0 + normal(rng, 0.01)), rests) else { continue };
        let rises = (10..=75).all(|tilt| hull.density_kg_m3(f64::from(tilt)).is_ok());
        if rises {
            return (hull, shape);
        }
    }
}

/// One probe in its baths, as a season.
pub fn season(case: &Case, hull: &Hull, shape: &Shape, rng: &mut ChaCha8Rng) -> Season {
    let at = Instant::parse("2031-03-01T10:00:00Z").unwrap();
    let references = case
        .baths
        .iter()
        .enumerate()
        .map(|(i, &sg)| {
            let water = sg == 1.0;
            let known = if water { 1.0 } else { sg + normal(rng, case.bath_sd) };
            let tilt = hull.tilt_deg(sg * WATER_20C_KG_M3).unwrap() + normal(rng, case.tilt_sd_deg);
            bath(at.plus_hours(i as f64), known, tilt, case.tilt_sd_deg, if water { 0.0001 } else { case.bath_sd })
        })
        .collect();
    let probe = Probe {
        total_mass_g: case.weighed.then(|| 1000.0 * hull.mass_kg + normal(rng, 0.1)),
        diameter_mm: case.weighed.then(|| 2000.0 * shape.radius_m() + normal(rng, 0.1)),
        length_mm: case.length_known.then(|| 1000.0 * shape.length_m()),
        bottom: Some(EndShape::Hemisphere),
        top: Some(EndShape::Flat),
        ..blank::probe("knot")
    };
    Season { references, probes: vec![probe], ..Season::default() }
}

/// A bath with the probe's tilt written beside it.
pub fn bath(at: Instant, sg: f64, tilt_deg: f64, tilt_sd_deg: f64, sg_sd: f64) -> Reference {
    Reference {
        probe: Some("knot".into()),
        bath: Some(format!("{sg:.5}")),
        method: Some(if sg == 1.0 { "water" } else { "weighed" }.into()),
        sg_sd: Some(sg_sd),
        ..blank::reference(at, sg, tilt_deg, tilt_sd_deg)
    }
}
