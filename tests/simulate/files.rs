//! What is written loads as what was simulated, and the stored season is what its command makes.

use std::path::Path;

use heelwort::season::Season;
use heelwort::simulate::{SimulateSettings, Simulated};

fn small(seed: u64) -> Simulated {
    SimulateSettings { seed, batches: 7, probes: 4, span_days: 40.0, reading_minutes: 30.0, ..Default::default() }
        .run()
        .unwrap()
}

#[test]
fn one_seed_gives_one_season() {
    assert_eq!(small(5), small(5));
    assert_ne!(small(5).season, small(6).season);
}

#[test]
fn another_probe_changes_no_fermentation_and_another_batch_no_probe() {
    let run = |batches, probes| {
        SimulateSettings { seed: 9, batches, probes, reading_minutes: 240.0, ..Default::default() }.run().unwrap()
    };
    let (fewer, more) = (run(12, 6), run(12, 9));
    for (a, b) in fewer.truth.batches.iter().zip(&more.truth.batches) {
        assert_eq!((a.original_sg, a.terminal_sg, &a.strain), (b.original_sg, b.terminal_sg, &b.strain));
    }
    let longer = run(20, 6);
    for (a, b) in fewer.truth.probes.iter().zip(&longer.truth.probes) {
        assert_eq!((&a.probe, a.total_mass_g, a.e_mm), (&b.probe, b.total_mass_g, b.e_mm));
    }
}

#[test]
fn what_is_written_loads_as_what_was_simulated() {
    let simulated = small(3);
    let dir = tempfile::tempdir().unwrap();
    simulated.write(dir.path()).unwrap();
    let loaded = Season::load(dir.path()).unwrap();
    let season = &simulated.season;
    assert_eq!(loaded.batches, season.batches);
    assert_eq!(loaded.probes, season.probes);
    assert_eq!(loaded.events, season.events);
    assert_eq!(loaded.plan, season.plan);
    assert_eq!(loaded.references.len(), season.references.len());
    for (a, b) in loaded.references.iter().zip(&season.references) {
        assert!((a.sg - b.sg).abs() < 1e-12, "{a:?} {b:?}");
        assert_eq!((a.at, &a.probe, &a.batch, &a.bath, a.tilt_deg), (b.at, &b.probe, &b.batch, &b.bath, b.tilt_deg));
    }
    let (read, made) = (&loaded.readings, &season.readings);
    assert_eq!((&read.at, &read.probe_ids, &read.probe), (&made.at, &made.probe_ids, &made.probe));
    assert_eq!((&read.tilt_deg, &read.temp_c), (&made.tilt_deg, &made.temp_c));
    let batch = |r: &heelwort::season::Readings, i: usize| r.get(i).unwrap().batch.map(str::to_owned);
    for i in 0..read.len() {
        assert_eq!(batch(read, i), batch(made, i), "row {i} at {}", read.at[i]);
        assert_eq!(read.flags[i], made.flags[i], "row {i} at {}: {} {}", read.at[i], read.flags[i], made.flags[i]);
    }
    // Rows that came twice are the only rejected ones.
    let account = &loaded.account;
    assert!(account.unmatched.is_empty() && account.unknown_columns.is_empty());
    assert!(account.rejected.iter().all(|r| r.file == "readings.csv.gz"));
    assert!(!account.rejected.is_empty());
}

#[test]
fn a_folder_that_holds_something_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("mine.csv"), "x").unwrap();
    let message = small(3).write(dir.path()).unwrap_err().to_string();
    assert!(message.contains("not empty"), "{message}");
}

#[test]
fn a_setting_out_of_range_is_named() {
    let settings = SimulateSettings { reading_minutes: 0.0, ..Default::default() };
    let message = settings.run().unwrap_err().to_string();
    assert!(message.contains("reading_minutes") && message.contains("1 to 720"), "{message}");
}

#[test]
fn the_truth_stands_beside_every_reading() {
    let simulated = small(4);
    let (readings, gravity) = (&simulated.season.readings, &simulated.truth.gravity);
    assert_eq!((gravity.sg.len(), gravity.density_kg_m3.len()), (readings.len(), readings.len()));
    for i in 0..readings.len() {
        if readings.batch[i].is_some() {
            assert!((1.0..1.09).contains(&gravity.sg[i].unwrap()));
        }
    }
}

/// The settings that made the season in `datasets/tern-island`, as its README tells.
fn stored() -> SimulateSettings {
    SimulateSettings { seed: 4, ..Default::default() }
}

#[test]
fn the_stored_season_loads_and_is_what_its_readme_says() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/tern-island");
    let season = Season::load(&dir).unwrap();
    assert_eq!((season.batches.len(), season.probes.len()), (36, 10));
    let mut strains: Vec<&str> = season.batches.iter().map(|batch| batch.strain.as_str()).collect();
    strains.sort_unstable();
    strains.dedup();
    assert_eq!(strains.len(), 6);
    assert!(season.running().len() >= 3);
    let first = season.references.first().unwrap().at;
    assert!(season.latest().unwrap().days_since(first) > 122.0);
    let bytes: u64 = ["", "truth"]
        .iter()
        .flat_map(|folder| std::fs::read_dir(dir.join(folder)).unwrap())
        .map(|entry| entry.unwrap().metadata().unwrap())
        .filter(std::fs::Metadata::is_file)
        .map(|file| file.len())
        .sum();
    assert!(bytes < 6_000_000, "{bytes}");
}

#[test]
fn the_stored_season_is_what_its_command_makes() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/tern-island");
    let loaded = Season::load(&dir).unwrap();
    let simulated = stored().run().unwrap();
    let written = tempfile::tempdir().unwrap();
    simulated.write(written.path()).unwrap();
    for file in ["batches", "curves", "errors", "probes", "shifts", "strains"] {
        let read = |dir: &Path| std::fs::read_to_string(dir.join("truth").join(format!("{file}.csv"))).unwrap();
        let (kept, made) = (read(&dir), read(written.path()));
        assert_eq!(kept.lines().next(), made.lines().next(), "columns of truth/{file}.csv");
        assert_eq!(kept.lines().count(), made.lines().count(), "rows of truth/{file}.csv");
        let number = |text: &str| text.parse::<f64>().ok();
        for (a, b) in kept.split([',', '\n']).zip(made.split([',', '\n'])) {
            let near = number(a).zip(number(b)).is_some_and(|(a, b)| (a - b).abs() <= 1e-6 * a.abs().max(1e-3));
            assert!(a == b || near, "truth/{file}.csv: {a} {b}");
        }
    }
    let made = simulated.season;
    assert_eq!(loaded.batches, made.batches);
    assert_eq!(loaded.probes, made.probes);
    assert_eq!(loaded.readings.at, made.readings.at);
    // Another system's exponentials may differ in the last bit, which can turn a rounding.
    let pairs = loaded.readings.tilt_deg.iter().zip(&made.readings.tilt_deg);
    assert!(pairs.clone().all(|(a, b)| (a - b).abs() < 0.011));
    assert!(pairs.filter(|(a, b)| a != b).count() < 50);
}
