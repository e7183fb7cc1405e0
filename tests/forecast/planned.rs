//! What is planned has not come, and what fails for one batch stops no other.

use heelwort::forecast::{BacktestStatus, ForecastSettings};
use heelwort::gravity::{ErrorKnot, GravitySeries, KnownErrors};
use heelwort::kinetics::KineticsSettings;

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
