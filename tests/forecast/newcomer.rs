//! The first batch of a newcomer: one probe, no past batch.

use heelwort::forecast::ForecastSettings;
use heelwort::kinetics::KineticsSettings;
use heelwort::simulate::SimulateSettings;

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn the_intervals_of_a_first_batch_hold_its_rest() {
    let (mut covered, mut z) = (Vec::new(), Vec::new());
    for seed in 400..460 {
        let simulated = SimulateSettings { seed, batches: 2, probes: 1, ..Default::default() }.run().unwrap();
        let truth = &simulated.truth.batches[0];
        let series: Vec<_> =
            crate::kinetics::chain::series_of(&simulated).into_iter().filter(|of| of.batch == truth.batch).collect();
        let batches: Vec<_> = simulated.season.batches.iter().filter(|of| of.batch == truth.batch).cloned().collect();
        let Some(pitched_at) = series.first().map(|of| of.pitched_at) else { continue };
        let settings = ForecastSettings::default();
        let kinetics = KineticsSettings { candidates: false, ..Default::default() }.fit_all(&series).unwrap();

        let mut forecaster = settings.forecaster(&batches, &kinetics, &series).unwrap();
        let asked: Vec<_> = [truth.mid_h, truth.t90_h, truth.finish_h - 18.0]
            .map(|hours| (truth.batch.clone(), pitched_at.plus_hours(hours)))
            .into();
        for row in forecaster.forecasts(&asked).rows {
            let q = row.finish.unwrap();
            let side = if truth.finish_at > q.p50 { q.p95.hours_since(q.p50) } else { q.p50.hours_since(q.p05) };
            covered.push(q.p05 <= truth.finish_at && truth.finish_at <= q.p95);
            z.push((1.645 * truth.finish_at.hours_since(q.p50) / side).clamp(-5.0, 5.0));
            assert!(row.p_ready.is_none_or(|p| p <= 0.5), "{row}");
        }
    }
    let n = covered.len() as f64;
    let share = covered.iter().filter(|hit| **hit).count() as f64 / n;
    let mean = z.iter().sum::<f64>() / n;
    // Three looks at a batch are one batch.
    let allowed = 2.5 * (0.9 * 0.1 / (n / 3.0)).sqrt();
    assert!((share - 0.9).abs() <= allowed, "{share:.3} of {n}, allowed 0.90 +- {allowed:.3}");
    assert!(mean.abs() <= 2.5 / (n / 3.0).sqrt(), "mean z {mean:.2}");
}
