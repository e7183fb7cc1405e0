//! The simulated float against hydrostatics.

use super::*;
use crate::float::Hull;

fn bodies() -> impl Iterator<Item = Body> {
    (0..40).map(|i| Body::draw(&mut Stream::new(11, "body", i), 5e-5).unwrap())
}

#[test]
fn probes_rest_where_good_probes_do() {
    for body in bodies() {
        let water = body.bath_tilt_deg(&ProbeChange::default(), 998.2);
        let strong = body.bath_tilt_deg(&ProbeChange::default(), 1098.0);
        assert!((21.0..29.0).contains(&water) && (58.0..70.0).contains(&strong), "{water} {strong}");
        assert!((50.0..160.0).contains(&body.mass_g), "{} g", body.mass_g);
    }
}

#[test]
fn the_table_agrees_with_the_hull_itself() {
    let profile = hull(18.0, 140.0, 18.0, 0.2, Some((0.7, 12.0))).unwrap();
    let mass_kg = 1000.0 * profile.wet(0.66 * 0.140, 1e-3).volume;
    let mut body = bodies().next().unwrap();
    (body.radius_mm, body.length_mm, body.bottom_mm, body.mass_g) = (18.0, 140.0, 18.0, 1e3 * mass_kg);
    body.volumes_m3 = (mass_kg / DENSITIES.1, (mass_kg + 0.003) / DENSITIES.0);
    (body.e_mm, body.z_g_mm) = (1.5, 52.0);
    body.fill_table(&profile);
    let around = Surroundings::bath_at_20_c(1000.0);
    let mut exact = Hull::new(profile, mass_kg, 1e-3 * body.e_mm, 1e-3 * body.z_g_mm);
    exact.meniscus_kg = 2.0 * PI * 0.018 * around.pull_n_m / GRAVITY;
    for density in [998.2, 1010.0, 1030.0, 1055.0, 1080.0, 1098.0] {
        let gap = body.bath_tilt_deg(&ProbeChange::default(), density) - exact.tilt_deg(density).unwrap();
        assert!(gap.abs() < 0.02, "{density}: {gap}");
    }
}

#[test]
fn changes_shift_the_reading_as_hydrostatics_says() {
    // Of the physics of such floats: 1 g at the centre of gravity -0.009 to -0.011, at the nose about twice that, a rise
    // of the centre of gravity by 0.1 mm +0.0015 to +0.0025, across by 0.1 mm +0.0035 at 29 degrees,
    // more where it stands more upright.
    for body in bodies() {
        let shift = |change: ProbeChange| {
            let tilt = body.bath_tilt_deg(&change, 1010.0);
            (body.bath_density_kg_m3(&ProbeChange::default(), tilt) - 1010.0) / 998.2
        };
        let at_cg = shift(ProbeChange::mass(0.5, body.e_mm, body.z_g_mm)) / 0.5;
        // In proportion to the mass of the float: 100 g in the rule above.
        assert!((-0.0115..-0.0085).contains(&(at_cg * body.mass_g / 100.0)), "{at_cg} {}", body.mass_g);
        let nose = shift(ProbeChange::mass(0.5, 0.0, 0.0)) / 0.5;
        assert!((1.5..2.5).contains(&(nose / at_cg)), "{nose} {at_cg}");
        let up = shift(ProbeChange { along_g_mm: 0.1 * body.mass_g, ..ProbeChange::default() });
        assert!((0.0012..0.0030).contains(&up), "{up}");
        let across = shift(ProbeChange { across_g_mm: 0.1 * body.mass_g, ..ProbeChange::default() });
        assert!((0.0025..0.0055).contains(&across), "{across}");
    }
}

#[test]
fn warmth_gas_and_foam_act_in_their_directions() {
    for body in bodies() {
        let still = Surroundings::bath_at_20_c(1020.0);
        let tilt = |around: Surroundings| body.tilt_deg(&ProbeChange::default(), &around, 30.0);
        let base = tilt(still);
        assert!(tilt(Surroundings { temp_c: 30.0, ..still }) > base);
        assert!(tilt(Surroundings { gas_ml: 0.1, ..still }) > base);
        let pulled = body.bath_density_kg_m3(
            &ProbeChange::default(),
            tilt(Surroundings { pull_n_m: 0.6 * still.pull_n_m, ..still }),
        );
        // The pull acts at the water line, where mass hardly matters.
        assert!((pulled - 1020.0).abs() < 1.0, "{pulled}");
    }
}
