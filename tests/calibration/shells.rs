//! Shells that expand unlike what is written of them: what a probe reads as its beer is cooled, against the truth.

use heelwort::calibration::CalibrationSettings;
use heelwort::float::ShellExpansion;
use heelwort::simulate::{SimulateSettings, Simulated, Trouble};

/// A probe in a beer that was cooled: how much more its gravity changed than the beer's, with the shell as seen and as written.
struct Cooled {
    seen_sg: f64,
    written_sg: f64,
    /// Standard error by the shell's SD.
    se: f64,
    remarked: bool,
}

fn cooled(simulated: &Simulated) -> Vec<Cooled> {
    let (season, truth) = (&simulated.season, &simulated.truth);
    let calibrations = CalibrationSettings::default().fit(season).unwrap();
    let gravity = calibrations.gravity(season).unwrap();
    let mut all = Vec::new();
    for batch in &truth.batches {
        let Some(at) = batch.cooled_at else { continue };
        let Some(index) = season.readings.batch_index(&batch.batch) else { continue };
        for row in &season.probes {
            let Some(curve) = calibrations.first(&row.probe) else { continue };
            // Medians of error and temperature in a span of hours from the start of the cooling.
            let level = |from: f64, to: f64| {
                let rows = season.readings.of_probe_between(&row.probe, at.plus_hours(from), at.plus_hours(to));
                let ours = rows.filter(|i| season.readings.batch[*i] == Some(index));
                let read =
                    |i: usize| Some((gravity.uncorrected[i]?.sg - truth.gravity.sg[i]?, season.readings.temp_c[i]));
                let (mut errors, mut temps): (Vec<f64>, Vec<f64>) = ours.filter_map(read).unzip();
                errors.sort_by(f64::total_cmp);
                temps.sort_by(f64::total_cmp);
                (errors.len() > 8).then(|| (errors[errors.len() / 2], temps[temps.len() / 2]))
            };
            let (Some(warm), Some(cold)) = (level(-24.0, -1.0), level(40.0, 90.0)) else { continue };
            let written = ShellExpansion::parse(row.shell.as_deref().unwrap()).unwrap();
            let (by_expansion, seen_sg) = (3.0 * (cold.1 - warm.1), cold.0 - warm.0);
            all.push(Cooled {
                seen_sg,
                written_sg: seen_sg + by_expansion * (curve.shell.linear_per_k - written.linear_per_k),
                se: by_expansion * curve.shell.sd_per_k,
                remarked: curve.remarks.iter().any(|remark| remark.contains("cooled at rest")),
            });
        }
    }
    all
}

/// A typical size that a few beers which were moved as they were cooled do not change.
fn typical(of: impl Iterator<Item = f64>) -> f64 {
    let mut sizes: Vec<f64> = of.map(f64::abs).collect();
    sizes.sort_by(f64::total_cmp);
    1.4826 * sizes[sizes.len() / 2]
}

#[test]
fn cooled_beers_keep_their_gravity_whatever_the_shell() {
    for (troubles, best) in [(vec![Trouble::UnlikeShell], 0.65), (vec![], 0.9)] {
        let season = |seed: u64| {
            let troubles = troubles.clone();
            SimulateSettings { seed, batches: 16, probes: 5, reading_minutes: 60.0, troubles, ..Default::default() }
        };
        let all: Vec<Cooled> = (8800..8806).flat_map(|seed| cooled(&season(seed).run().unwrap())).collect();
        let (seen, written) = (typical(all.iter().map(|o| o.seen_sg)), typical(all.iter().map(|o| o.written_sg)));
        // The immersion's own part comes on top of what the shell leaves open.
        let z = |one: &Cooled| one.seen_sg / one.se.hypot(0.0004);
        let mean_z = all.iter().map(|one| z(one).clamp(-4.0, 4.0)).sum::<f64>() / all.len() as f64;
        let held = all.iter().filter(|one| z(one).abs() < 1.645).count() as f64 / all.len() as f64;
        let n = all.len();
        println!(
            "{troubles:?}: {n} coolings, off by {written:.5} as written, {seen:.5} as seen, z {mean_z:.2}, held {held:.2}"
        );
        assert!(n > 60 && seen < best * written && mean_z.abs() < 0.5 && (0.8..0.98).contains(&held));
        let remarked: Vec<&Cooled> = all.iter().filter(|one| one.remarked).collect();
        assert!(remarked.iter().all(|one| (one.written_sg - one.seen_sg).abs() > 0.0006));
        assert!(if troubles.is_empty() { 20 * remarked.len() <= n } else { 10 * remarked.len() >= n });
    }
}
