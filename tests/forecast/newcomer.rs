//! The first batch of a newcomer: one probe, no past batch.

use heelwort::forecast::ForecastSettings;
use heelwort::kinetics::KineticsSettings;
use heelwort::simulate::SimulateSettings;

const BATCHES: u64 = 60;

/// Of forecasts made at one moment of each batch.
#[derive(Debug, Default)]
struct Looked {
    covered: f64,
    z: f64,
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn the_intervals_of_a_first_batch_hold_its_rest() {
    let mut looked: [Looked; 3] = Default::default();
    let (mut said, mut came) = (Vec::new(), Vec::new());
    for seed in 9300..9300 + BATCHES {
        let simulated = SimulateSettings { seed, batches: 2, probes: 1, ..Default::default() }.run().unwrap();
        let truth = &simulated.truth.batches[0];
        let mut series = crate::kinetics::chain::series_of(&simulated);
        series.retain(|of| of.batch == truth.batch);
        // What the season's later references tell of the probe is not known at the moments looked at.
        series.iter_mut().for_each(|of| of.known = None);
        let batches: Vec<_> = simulated.season.batches.iter().filter(|of| of.batch == truth.batch).cloned().collect();
        let pitched_at = series[0].pitched_at;
        let settings = ForecastSettings::default();
        let kinetics = KineticsSettings::default().fit_all(&series).unwrap();
        let mut forecaster = settings.forecaster(&batches, &kinetics, &series).unwrap();
        let end_h = series[0].cooled_hours.unwrap_or(f64::INFINITY).min(*series[0].hours.last().unwrap());
        let by_truth = [truth.mid_h, truth.t90_h, truth.finish_h - 18.0];
        let daily = (2..=(end_h / 24.0) as u32).map(|day| 24.0 * f64::from(day));
        let asked = by_truth.into_iter().chain(daily).map(|hours| (truth.batch.clone(), pitched_at.plus_hours(hours)));
        for (i, row) in forecaster.forecasts(&asked.collect::<Vec<_>>()).rows.into_iter().enumerate() {
            assert!(row.p_ready.is_none_or(|p| p <= 0.5) && row.why.contains("nothing has been learnt yet"), "{row}");
            let Some(looked) = looked.get_mut(i) else {
                said.push(row.p_finished.unwrap());
                came.push(f64::from(u8::from(truth.finish_at <= row.as_of)));
                continue;
            };
            let q = row.finish.unwrap();
            let side = if truth.finish_at > q.p50 { q.p95.hours_since(q.p50) } else { q.p50.hours_since(q.p05) };
            looked.covered += f64::from(u8::from(q.p05 <= truth.finish_at && truth.finish_at <= q.p95));
            looked.z += (1.645 * truth.finish_at.hours_since(q.p50) / side).clamp(-5.0, 5.0);
        }
    }
    let n = BATCHES as f64;
    for (one, at) in looked.iter().zip(["the middle", "nine tenths", "18 h before rest"]) {
        let (share, z) = (one.covered / n, one.z / n);
        assert!((0.82..=0.98).contains(&share), "{at}: {share:.3} of {n}, wanted 0.90 +- 2 SE");
        assert!(z.abs() <= 0.3, "{at}: mean z {z:.2}");
    }
    let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len() as f64;
    let away = mean(&said) - mean(&came);
    assert!(away.abs() <= 0.05, "at rest: said {away:.3} more often than it came");
}
