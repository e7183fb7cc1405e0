//! What to move where, in words.

use crate::fit::Estimate;

use super::result::Build;
use super::settings::BuildSettings;

/// Says how it rests and moves and, where that is far from the wanted tilts, what to move where; ends with what else is
/// unusual.
pub(super) fn advice(build: &Build, settings: &BuildSettings) -> String {
    let mut said = vec![resting(build, settings)];
    if let Some(top) = build.top_wets_at_sg.value() {
        said.push(format!("Its top gets wet from SG {top:.3} up, where only the curve of the hull holds."));
    }
    let (light, heavy) = settings.cell_mass_g;
    if let Some(cell) = build.cell_mass_g.filter(|cell| !(light..=heavy).contains(cell)) {
        said.push(format!(
            "Its cell weighs {cell:.1} g; {light:.0} to {heavy:.0} g is usual (common practice; no reference)."
        ));
    }
    said.join(" ")
}

fn resting(build: &Build, settings: &BuildSettings) -> String {
    let (water, band) = (settings.water_tilt_deg, settings.water_band_deg);
    let (strong, strong_band) = (settings.strong_tilt_deg, settings.strong_band_deg);
    let Some(in_water) = build.water_tilt_deg.value() else {
        return "Its tilt in water is not known: float it in water.".to_owned();
    };
    let now = format!("It rests at {in_water:.1} degrees in water");
    let Some(in_strong) = build.tilt_at_1100_deg.value() else {
        return format!("{now}.");
    };
    let mut now = format!("{now} and at {in_strong:.1} at SG 1.100");
    if let Some((weak, middle)) = build.deg_per_0010_at_1010.value().zip(build.deg_per_0010_at_1050.value()) {
        now.push_str(&format!(
            ". A change of 0.010 SG turns it by {weak:.1} degrees at SG 1.010 and by {middle:.1} at SG 1.050"
        ));
    }
    if (in_water - water).abs() <= band && (in_strong - strong).abs() <= strong_band {
        return format!("{now}.");
    }
    let (Some(across), Some(up)) = (build.cg_move_across_mm.estimate(), build.cg_move_up_mm.estimate()) else {
        let why = build.cg_move_across_mm.why().or(build.cg_move_up_mm.why()).unwrap_or("it is not known why");
        return format!("{now}. What to move cannot be said: {why}.");
    };
    let whole = format!("its centre of gravity has to go {} and {}", sideways(across, 1.0), upward(up, 1.0));
    let cell = build.cell_mass_g.filter(|cell| *cell > 0.0).map(|cell| {
        let lever = build.total_mass_g / cell;
        format!(": the cell ({cell:.1} g) {} and {}", sideways(across, lever), upward(up, lever))
    });
    format!(
        "{now}. For {water:.0} degrees in water and {strong:.0} at SG 1.100, as is common practice, {whole}{}. Calibrate afresh after it.",
        cell.unwrap_or_default()
    )
}

fn sideways(by_mm: &Estimate, lever: f64) -> String {
    let towards = if by_mm.value >= 0.0 { "towards the heavy side" } else { "away from the heavy side" };
    format!("{} {towards}", distance(by_mm, lever))
}

fn upward(by_mm: &Estimate, lever: f64) -> String {
    let towards = if by_mm.value >= 0.0 { "up, away from the nose" } else { "down, towards the nose" };
    format!("{} {towards}", distance(by_mm, lever))
}

fn distance(by_mm: &Estimate, lever: f64) -> String {
    format!("{:.2} \u{b1} {:.2} mm", (lever * by_mm.value).abs(), lever * by_mm.se)
}
