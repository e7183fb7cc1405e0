//! Published fermentations and growth curves: every curve on every batch.

use std::path::{Path, PathBuf};

use heelwort::calibration::CalibrationSettings;
use heelwort::gravity::GravitySeries;
use heelwort::gravity::SeriesBuilder;
use heelwort::kinetics::{BatchFit, FermentationCurve, Kinetics, KineticsSettings, Trait};
use heelwort::kinetics::{SigmoidFit, SigmoidKind, SigmoidSettings, SigmoidTrait};
use heelwort::season::Season;
use rayon::prelude::*;

use crate::season::published_data::Published;

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/published").join(name)
}

fn series(set: Published) -> Vec<GravitySeries> {
    let season = Season::load(folder(set.folder())).unwrap();
    // Samples alone: there is no probe to calibrate.
    let none = CalibrationSettings::default().fit(&season).unwrap();
    SeriesBuilder::new(&season, &none, &none.gravity(&season).unwrap()).all()
}

fn fits(series: &[GravitySeries], curve: FermentationCurve, candidates: bool) -> Kinetics {
    KineticsSettings { curves: vec![curve], candidates, ..Default::default() }.fit_all(series).unwrap()
}

#[test]
fn every_curve_fits_every_batch() {
    for set in Published::ALL {
        let (series, mut failures) = (series(set), Vec::new());
        for curve in [
            FermentationCurve::Logistic4,
            FermentationCurve::Logistic5,
            FermentationCurve::Gompertz,
            FermentationCurve::LagExponential,
            FermentationCurve::Inhibited,
            FermentationCurve::Smooth,
        ] {
            for fit in &fits(&series, curve, false).batches {
                if fit.fitted.is_none() {
                    failures.push(format!("{} {curve:?}: {}", fit.batch, fit.why));
                }
                assert!(fit.rmse_sg.is_none_or(|rmse| rmse < 0.01), "{} {curve:?}: {:?}", fit.batch, fit.rmse_sg);
            }
        }
        assert!(failures.is_empty(), "{failures:?}");
    }
}

#[test]
fn candidates_are_compared_and_one_is_chosen() {
    let kinetics = fits(&series(Published::AgaveMust), FermentationCurve::Smooth, true);
    let frame = kinetics.candidates_frame().unwrap();
    assert_eq!(frame.height(), 13 * FermentationCurve::ALL.len());
    let mut forward = vec![(0, 0.0); FermentationCurve::ALL.len()];
    for fit in &kinetics.batches {
        assert_eq!(fit.candidates.iter().filter(|c| c.chosen).count(), 1, "{}", fit.batch);
        for (i, candidate) in fit.candidates.iter().enumerate() {
            assert!(candidate.rmse_sg.is_some() || !candidate.why.is_empty(), "{} {candidate:?}", fit.batch);
            if let Some(rmse) = candidate.forward_rmse_sg {
                forward[i].0 += 1;
                forward[i].1 += rmse * rmse;
            } else {
                assert!(!candidate.why.is_empty(), "{} {candidate:?}", fit.batch);
            }
        }
    }
    for (kind, (n, square)) in FermentationCurve::ALL.iter().zip(forward) {
        assert!(n >= 10, "{kind}: {n}");
        println!("{kind}: {n} batches foretold, root mean square error {:.5} SG", (square / f64::from(n)).sqrt());
    }
}

#[test]
fn the_second_tube_lags_the_first_at_half_way() {
    for curve in [FermentationCurve::Logistic4, FermentationCurve::Smooth] {
        let kinetics = fits(&series(Published::AgaveMust), curve, false);
        let mid = |batch: &str| -> heelwort::fit::Estimate {
            let fit: &BatchFit = kinetics.get(batch).unwrap();
            // Eight hours apart, the tubes end before all curves have nine tenths behind them.
            fit.finding(Trait::MidH).estimate().unwrap_or_else(|| panic!("{fit}")).clone()
        };
        let (first, second) = (mid("T1"), mid("T2"));
        let (later, se) = (second.value - first.value, first.se.hypot(second.se));
        println!("{curve:?}: T2 is {later:.2} h later than T1 at half-way, standard error {se:.2} h");
        // SOURCE.md, by straight lines between samples: 4.7 h.
        assert!((later - 4.7).abs() < 1.645 * se, "{curve:?}: {later} +- {se}");
    }
}

/// Hours and logarithms of the green value of one well, and what the authors found.
struct Well {
    strain: String,
    medium: String,
    hours: Vec<f64>,
    ln_green: Vec<f64>,
    rate_per_h: f64,
    lag_h: f64,
}

fn wells(media: &[&str]) -> Vec<Well> {
    let source = folder("yeast-24-strains-29-media").join("source");
    let mut published = csv::Reader::from_path(source.join("published.csv")).unwrap();
    let mut wells: Vec<Well> = published
        .records()
        .map(Result::unwrap)
        .filter(|r| media.is_empty() || media.contains(&&r[1]))
        .map(|r| Well {
            strain: r[0].to_owned(),
            medium: r[1].to_owned(),
            hours: Vec::new(),
            ln_green: Vec::new(),
            rate_per_h: r[2].parse().unwrap(),
            lag_h: r[3].parse().unwrap_or(f64::NAN),
        })
        .collect();
    let mut growth = csv::Reader::from_path(source.join("growth.csv")).unwrap();
    let names: Vec<String> = growth.headers().unwrap().iter().map(str::to_owned).collect();
    let rows: Vec<csv::StringRecord> = growth.records().map(Result::unwrap).collect();
    for well in &mut wells {
        let column = names.iter().position(|name| *name == well.medium).unwrap();
        for row in rows.iter().filter(|row| row[0] == well.strain) {
            if let Ok(green) = row[column].parse::<f64>() {
                well.hours.push(row[1].parse::<f64>().unwrap() / 60.0);
                well.ln_green.push(green.ln());
            }
        }
    }
    wells
}

/// The curve with the lowest AICc, or why none fits.
fn best(well: &Well, kinds: &[SigmoidKind]) -> Result<SigmoidFit, String> {
    let mut best: Option<SigmoidFit> = None;
    let mut why = String::new();
    for kind in kinds {
        match (SigmoidSettings { kind: *kind, ..Default::default() }).fit(&well.hours, &well.ln_green, None) {
            Ok(fit) if best.as_ref().is_none_or(|other| fit.aicc < other.aicc) => best = Some(fit),
            Ok(_) => {}
            Err(error) => why = error.to_string(),
        }
    }
    best.ok_or(why)
}

fn ranks(values: &[f64]) -> Vec<f64> {
    values
        .iter()
        .map(|v| {
            let below = values.iter().filter(|w| *w < v).count() as f64;
            let same = values.iter().filter(|w| *w == v).count() as f64;
            below + 0.5 * (same - 1.0)
        })
        .collect()
}

fn rank_correlation(a: &[f64], b: &[f64]) -> f64 {
    let (a, b) = (ranks(a), ranks(b));
    let mean = (a.len() as f64 - 1.0) / 2.0;
    let sum = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| (x - mean) * (y - mean)).sum::<f64>();
    sum(&a, &b) / (sum(&a, &a) * sum(&b, &b)).sqrt()
}

#[test]
fn growth_on_glucose_ranks_as_the_authors_have_it_and_stopped_growth_is_refused() {
    let kinds = [SigmoidKind::Gompertz];
    let glucose = wells(&["Glu_20"]);
    let found: Vec<SigmoidFit> = glucose.par_iter().map(|well| best(well, &kinds).unwrap()).collect();
    let rate: Vec<f64> = found.iter().map(|f| f.finding(SigmoidTrait::Rate).value().unwrap()).collect();
    let lag: Vec<f64> = found.iter().map(|f| f.finding(SigmoidTrait::Lag).value().unwrap()).collect();
    let (rates, lags): (Vec<f64>, Vec<f64>) = glucose.iter().map(|w| (w.rate_per_h, w.lag_h)).unzip();
    let (rate, lag) = (rank_correlation(&rate, &rates), rank_correlation(&lag, &lags));
    println!("Glu_20, 24 yeasts: rank correlation of the rate {rate:.2}, of the lag {lag:.2}");
    assert!(rate > 0.6 && lag > 0.6, "{rate} {lag}");
    let stopped = wells(&["Van_2"]);
    let stopped: Vec<Result<SigmoidFit, String>> = stopped.par_iter().map(|well| best(well, &kinds)).collect();
    let refused = stopped.iter().filter(|found| found.is_err()).count();
    println!("Van_2, where the authors' mean rate is 0.0009 1/h: {refused} of 24 refused");
    assert!(refused >= 12, "{refused}");
    for found in stopped.iter().flatten() {
        let rate = found.finding(SigmoidTrait::Rate);
        println!("  {rate}");
        assert!(rate.value().is_none_or(|rate| rate < 0.05), "{found}");
    }
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn all_yeasts_in_all_media() {
    let all = wells(&[]);
    let found: Vec<Result<SigmoidFit, String>> = all.par_iter().map(|well| best(well, &SigmoidKind::ALL)).collect();
    let mut media: Vec<&str> = all.iter().map(|w| w.medium.as_str()).collect();
    media.sort_unstable();
    media.dedup();
    let (mut rates, mut lags) = ((Vec::new(), Vec::new()), (Vec::new(), Vec::new()));
    for medium in media {
        let mut of = ((Vec::new(), Vec::new()), (Vec::new(), Vec::new()));
        let mut refused = 0;
        let mut why = "";
        for (well, found) in all.iter().zip(&found).filter(|(well, _)| well.medium == medium) {
            match found {
                Ok(found) => {
                    let value = |which| found.finding(which).value();
                    if let (Some(rate), Some(lag)) = (value(SigmoidTrait::Rate), value(SigmoidTrait::Lag)) {
                        of.0.0.push(rate);
                        of.0.1.push(well.rate_per_h);
                        if well.lag_h.is_finite() {
                            of.1.0.push(lag);
                            of.1.1.push(well.lag_h);
                        }
                    }
                }
                Err(reason) => {
                    refused += 1;
                    why = reason;
                }
            }
        }
        println!(
            "{medium:12} refused {refused:2}, rank correlation of rate {:+.2}, of lag {:+.2}  {why}",
            rank_correlation(&of.0.0, &of.0.1),
            rank_correlation(&of.1.0, &of.1.1)
        );
        rates.0.extend(of.0.0);
        rates.1.extend(of.0.1);
        lags.0.extend(of.1.0);
        lags.1.extend(of.1.1);
    }
    let (rate, lag) = (rank_correlation(&rates.0, &rates.1), rank_correlation(&lags.0, &lags.1));
    println!("{} of {} fitted: rank correlation of rate {rate:.3}, of lag {lag:.3}", rates.0.len(), all.len());
    assert!(rate > 0.6 && lag > 0.5, "{rate} {lag}");
}
