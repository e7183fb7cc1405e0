//! From the baths of a probe of known shape and mass to its centre of gravity, and from there to how it rests.

use ndarray::{Array2, array};

use crate::calibration::fit_data::SCALE_DF;
use crate::error::{Error, Result};
use crate::fit::linear::{LinearFit, LinearSettings};
use crate::fit::root::brent;
use crate::fit::{Estimate, Finding};
use crate::float::{End, Hull, Shape};
use crate::liquid::WATER_20C_KG_M3;

use super::result::N;
use super::settings::BuildSettings;

/// Length given to a probe whose length is not known: so long that its top stays dry.
const ENDLESS_M: f64 = 1.0;
/// SG at which the effect of added mass is told.
const AT_SG: f64 = 1.020;
/// Highest SG up to which a wet top is looked for.
const TOP_SG: (f64, f64) = (0.98, 1.14);
/// SG of the strong wort for which a tilt is wanted.
const STRONG_SG: f64 = 1.100;

/// Why a probe has no centre of gravity whose baths no body of its mass and size can have.
pub(super) const CONTRADICTED: &str = "its mass, its size and its baths cannot all be right";

/// Outside of a probe, as measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Outside {
    pub(super) mass_kg: f64,
    pub(super) radius_m: f64,
    pub(super) length_m: Option<f64>,
    pub(super) bottom: End,
    pub(super) top: End,
}

impl Outside {
    fn shape(&self) -> Result<Shape> {
        Shape::new(self.radius_m, self.length_m.unwrap_or(ENDLESS_M), self.bottom, self.top)
    }
}

/// One bath: tilt and density, brought to the temperature of the shell, with their standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rested {
    pub(super) tilt_deg: f64,
    pub(super) tilt_sd_deg: f64,
    pub(super) density_kg_m3: f64,
    pub(super) density_sd_kg_m3: f64,
}

/// The centre of gravity with its covariance.
#[derive(Debug, Clone)]
struct Centre {
    hull: Hull,
    /// Of offset and height, m2.
    covariance: Array2<f64>,
    df: f64,
}

/// How a probe rests: the quantities of [`quantities`] with their errors.
#[derive(Debug, Clone)]
pub(super) struct Rests {
    pub(super) hull: Hull,
    pub(super) found: [Finding; N],
}

/// Fits the centre of gravity to the baths and derives the quantities, with the errors of the baths, the balance and the
/// calliper (delta method by differences).
///
/// The stated errors of the baths are worth twelve degrees of freedom beside the residuals.
pub(super) fn rests(outside: &Outside, baths: &[Rested], settings: &BuildSettings) -> Result<Rests> {
    let centre = centre(outside, baths)?;
    let best = quantities(outside, &centre.hull, settings);
    let moved = |offset: f64, height: f64| {
        let (cg_offset_m, cg_height_m) = (centre.hull.cg_offset_m + offset, centre.hull.cg_height_m + height);
        quantities(outside, &Hull { cg_offset_m, cg_height_m, ..centre.hull.clone() }, settings)
    };
    let remeasured =
        |outside: Outside| self::centre(&outside, baths).map(|centre| quantities(&outside, &centre.hull, settings));
    const STEP_M: f64 = 1e-7;
    let by_offset = slopes(&best, &moved(STEP_M, 0.0), STEP_M);
    let by_height = slopes(&best, &moved(0.0, STEP_M), STEP_M);
    let (mass_sd, radius_sd) =
        (settings.common.instruments.mass_sd_g / 1000.0, settings.common.instruments.diameter_sd_mm / 2000.0);
    let heavier = Outside { mass_kg: outside.mass_kg + 1e-5, ..*outside };
    let wider = Outside { radius_m: outside.radius_m + 1e-6, ..*outside };
    let by_mass = slopes(&best, &remeasured(heavier)?, 1e-5);
    let by_radius = slopes(&best, &remeasured(wider)?, 1e-6);
    let found = std::array::from_fn(|i| {
        let slope = |slopes: &[f64; N]| slopes.get(i).copied().unwrap_or(f64::NAN);
        let by_centre = array![slope(&by_offset), slope(&by_height)];
        let from_baths = by_centre.dot(&centre.covariance.dot(&by_centre));
        let measured = (slope(&by_mass) * mass_sd).powi(2) + (slope(&by_radius) * radius_sd).powi(2);
        let value = best.get(i).cloned().unwrap_or(Err("not asked for".to_owned()));
        let se = (from_baths.max(0.0) + measured).sqrt();
        let (df, level) = (centre.df, settings.common.level);
        value
            .and_then(|value| {
                Estimate::student_t(value, se, df, level, "weighted line, delta, t").map_err(|why| why.to_string())
            })
            .map_or_else(Finding::missing, Finding::Estimated)
    });
    Ok(Rests { hull: centre.hull, found })
}

/// A quantity, or why it cannot be had.
type Told = std::result::Result<f64, String>;

/// The quantities told of a build, in the order of its table: tilts at SG 1.000, 1.050 and 1.100, degrees; degrees
/// per 0.010 of SG at 1.010 and 1.050; SG at which the top gets wet; SG per gram at the nose;
/// the centre of gravity off the axis and above the nose, mm; how far it has to go across and up for the wanted tilts, mm.
fn quantities(outside: &Outside, hull: &Hull, settings: &BuildSettings) -> [Told; N] {
    let told = |result: Result<f64>| result.map_err(|why| why.to_string());
    let tilt = |sg: f64| hull.tilt_deg(sg * WATER_20C_KG_M3);
    let per_0010 = |sg: f64| Ok(0.010 * WATER_20C_KG_M3 / hull.gradient(tilt(sg)?)?.by_tilt_deg);
    let rests = [(settings.water_tilt_deg, WATER_20C_KG_M3), (settings.strong_tilt_deg, STRONG_SG * WATER_20C_KG_M3)];
    let wanted = Hull::through(hull.profile.clone(), hull.mass_kg, rests).map_err(|why| why.to_string());
    let away =
        |of: fn(&Hull) -> f64| wanted.as_ref().map(|wanted| 1000.0 * (of(wanted) - of(hull))).map_err(String::clone);
    [
        told(tilt(1.0)),
        told(tilt(1.050)),
        told(tilt(STRONG_SG)),
        told(per_0010(1.010)),
        told(per_0010(1.050)),
        top_wets_at_sg(outside, hull),
        told(sg_per_gram_at_nose(hull)),
        Ok(1000.0 * hull.cg_offset_m),
        Ok(1000.0 * hull.cg_height_m),
        away(|hull| hull.cg_offset_m),
        away(|hull| hull.cg_height_m),
    ]
}

/// How much SG the old curve reads more for each gram added at the nose, at SG 1.020.
///
/// The mass makes the liquid of a given tilt denser by the hull's gradient in mass and centre of gravity; the reading
/// falls by as much.
fn sg_per_gram_at_nose(hull: &Hull) -> Result<f64> {
    let gradient = hull.gradient(hull.tilt_deg(AT_SG * WATER_20C_KG_M3)?)?;
    let moved = gradient.by_cg_offset_m * hull.cg_offset_m + gradient.by_cg_height_m * hull.cg_height_m;
    Ok(-0.001 * (gradient.by_mass_kg - moved / hull.mass_kg) / WATER_20C_KG_M3)
}

/// The lowest SG at which the high edge of the water plane reaches the top.
fn top_wets_at_sg(outside: &Outside, hull: &Hull) -> Told {
    let length = outside.length_m.ok_or("the length is not known")?;
    let wall_ends = length - outside.top.height_m(outside.radius_m);
    let over = |sg: f64| {
        let rest = hull.tilt_deg(sg * WATER_20C_KG_M3).and_then(|tilt| hull.rest(tilt));
        rest.map_or(f64::NAN, |r| r.waterline_m + outside.radius_m * r.tilt_deg.to_radians().tan() - wall_ends)
    };
    let (low, high) = TOP_SG;
    if over(low) >= 0.0 {
        return Err(format!("the top is wet at SG {low:.3} already"));
    }
    const STEPS: u32 = 16;
    let sg = |i: u32| low + (high - low) * f64::from(i) / f64::from(STEPS);
    let Some(wet) = (1..=STEPS).find(|&i| over(sg(i)) >= 0.0) else {
        return Err(format!("the top stays dry up to SG {high:.3}"));
    };
    brent("the SG of a wet top", over, sg(wet - 1), sg(wet), 1e-9).map_err(|why| why.to_string())
}

/// The centre of gravity by weighted linear regression of the rests, `x_B + t z_B = e + z_g t` for a known hull and mass.
fn centre(outside: &Outside, baths: &[Rested]) -> Result<Centre> {
    let profile = outside.shape()?.profile();
    let place = |bath: &Rested| Hull::line_point(&profile, outside.mass_kg, bath.tilt_deg, bath.density_kg_m3);
    let (tangents, arms): (Vec<f64>, Vec<f64>) =
        baths.iter().map(place).collect::<Result<Vec<_>>>()?.into_iter().unzip();
    let line = |sd: &[f64]| LinearSettings::default().fit(&[("t", &tangents)], &arms, Some(sd));
    let hull = |fit: &LinearFit| -> Result<Hull> {
        let (cg_offset_m, cg_height_m) = (fit.value("intercept")?, fit.value("t")?);
        // A probe rises with the density; one that would have to lean to its light side is not the one that was weighed.
        if cg_offset_m <= 0.0 {
            return Err(Error::not_estimable("the centre of gravity", CONTRADICTED));
        }
        Ok(Hull::new(profile.clone(), outside.mass_kg, cg_offset_m, cg_height_m))
    };
    let mut fit = line(&vec![1.0; baths.len()])?;
    // An error in density or tilt becomes one in y by the gradient of the hull, which the first round does not know yet.
    for _ in 0..2 {
        let hull = hull(&fit)?;
        let in_arm = |bath: &Rested| {
            let gradient = hull.gradient(bath.tilt_deg)?;
            let in_density = bath.density_sd_kg_m3.hypot(gradient.by_tilt_deg * bath.tilt_sd_deg);
            Ok(in_density / gradient.by_cg_offset_m.abs())
        };
        fit = line(&baths.iter().map(in_arm).collect::<Result<Vec<f64>>>()?)?;
    }
    let df = *SCALE_DF + baths.len() as f64 - 2.0;
    let scale = (*SCALE_DF + fit.sum_of_squares) / df;
    Ok(Centre { hull: hull(&fit)?, covariance: fit.covariance * scale, df })
}

fn slopes(at: &[Told; N], moved: &[Told; N], step: f64) -> [f64; N] {
    std::array::from_fn(|i| match (at.get(i), moved.get(i)) {
        (Some(Ok(at)), Some(Ok(moved))) => (moved - at) / step,
        _ => f64::NAN,
    })
}
