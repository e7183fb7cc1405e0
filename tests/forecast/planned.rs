//! What is planned has not come, and what fails for one batch stops no other.

use heelwort::forecast::{BacktestStatus, ForecastSettings};
use heelwort::gravity::{ErrorKnot, GravitySeries, KnownErrors};
use heelwort::kinetics::KineticsSettings;
use heelwort::prelude::{Settings, SimulateSettings};
use heelwort::season::PlanStep;

use crate::process::{Process, batches_of, brewery};

#[test]
fn a_cooling_ahead_of_a_running_batch_is_no_outcome() {
    let mut brewed = brewery(Some(Process::Sugars), 4, 1, 300);
    // The last batch runs: its curve is known, its rest not seen, and it is to be cooled two days later.
    let running = brewed.last_mut().unwrap();
    let last_h = running.truth.time_of_progress_h(0.97);
    let now = running.series.pitched_at.plus_hours(last_h);
    running.series = running.series.as_of(now).unwrap();
    running.series.ended_hours = None;
    running.series.cooled_hours = Some(last_h + 48.0);
    let (batches, name) = (batches_of(&brewed), brewed[3].series.batch.clone());
    let series: Vec<GravitySeries> = brewed.into_iter().map(|brew| brew.series).collect();
    let settings = ForecastSettings { stages: vec![0.55], ..ForecastSettings::default() };
    let kinetics = KineticsSettings::default().fit_all(&series).unwrap();
    let of = |hours: f64| {
        let mut forecaster = settings.forecaster(&batches, &kinetics, &series).unwrap();
        let rows = forecaster.backtest(now.plus_hours(hours)).rows;
        assert!(rows.len() >= 3, "{}", rows.len());
        rows.into_iter().find(|row| row.forecast.batch == name).map(|row| row.status)
    };
    assert_eq!(of(0.0), None);
    assert_eq!(of(72.0), Some(BacktestStatus::CutByCooling));
}

#[test]
fn a_batch_that_cannot_be_forecast_says_why_and_the_others_are_forecast() {
    let brewed = brewery(Some(Process::Sugars), 4, 1, 300);
    let batches = batches_of(&brewed);
    let mut series: Vec<GravitySeries> = brewed.into_iter().map(|brew| brew.series).collect();
    series[1].known =
        Some(KnownErrors::new(vec![ErrorKnot { probe: 0, sg: 1.03 }], vec![f64::NAN], vec![vec![f64::NAN]]));
    let settings = ForecastSettings { stages: vec![0.55], ..ForecastSettings::default() };
    let kinetics = KineticsSettings::default().fit_all(&series).unwrap();
    let mut forecaster = settings.forecaster(&batches, &kinetics, &series).unwrap();
    assert!(!forecaster.backtest(series[3].pitched_at.plus_days(60.0)).rows.is_empty());
    let asked: Vec<_> = series.iter().map(|s| (s.batch.clone(), s.pitched_at.plus_days(3.0))).collect();
    let rows = forecaster.forecasts(&asked).rows;
    for (i, row) in rows.iter().enumerate() {
        assert_eq!(row.finish.is_none(), i == 1, "{row}");
    }
    assert!(rows[1].why.contains("known errors of the probes"), "{}", rows[1].why);
}

#[test]
fn two_temperatures_planned_for_one_moment_are_refused_and_said() {
    let settings =
        SimulateSettings { batches: 1, probes: 1, span_days: 20.0, reading_minutes: 240.0, ..Default::default() };
    let simulated = settings.run().unwrap();
    let now = simulated.season.batches[0].pitched_at.plus_hours(simulated.truth.batches[0].mid_h);
    let mut season = simulated.season.as_of(now);
    let step = |hours: f64, temp_c: f64| PlanStep {
        batch: season.batches[0].batch.clone(),
        at: now.plus_hours(hours),
        temp_c,
    };
    let plans = [vec![step(24.0, 20.0), step(48.0, 22.0)], vec![step(24.0, 20.0), step(24.0, 22.0)]];
    for (plan, refused) in plans.into_iter().zip([false, true]) {
        season.plan = plan;
        let study = Settings::default().study(season.clone()).unwrap();
        let forecasts = study.forecasts().unwrap();
        assert_eq!(forecasts.outlooks.is_empty(), refused);
        assert_eq!(forecasts.rows[0].why.contains("`as planned`: it has two temperatures at"), refused);
    }
}
