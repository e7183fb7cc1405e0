//! Twenty-four yeasts by others, three wells each in the same medium, against the facts of `SOURCE.md`.

use std::path::Path;

use heelwort::kinetics::Trait;
use heelwort::strains::{StrainSettings, Strains};

use super::{Brewed, season};
use crate::answers::near;

const RATE: Trait = Trait::MaxRateSgPerDay;
/// A rate on its own scale: the unit is nothing to the comparison.
const PLAIN_RATE: Trait = Trait::Attenuation;

/// Each well as a batch, each plate as a vessel, with errors that are next to nothing: the source gives none.
fn compared(traits: &[Trait]) -> Strains {
    let path = "datasets/published/yeast-24-strains-29-media/source/published_phenotypes.csv";
    let mut rows = csv::Reader::from_path(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).unwrap();
    let names = rows.headers().unwrap().clone();
    let place = |name: &str| names.iter().position(|other| other == name).unwrap();
    let columns = ["strain", "condition", "mumax1_per_h", "lag_h"].map(place);
    let mut batches = Vec::new();
    for (index, row) in rows.records().enumerate() {
        let row = row.unwrap();
        let [strain, condition, rate, lag] = columns.map(|column| &row[column]);
        if condition == "Glu_20" {
            let (rate, lag): (f64, f64) = (rate.parse().unwrap(), lag.parse().unwrap());
            let traits = [(RATE, rate, 1e-6), (PLAIN_RATE, rate, 1e-6), (Trait::LagH, lag, 1e-5)];
            let mut batch = Brewed::new(index, strain, &traits);
            batch.row.vessel = Some(format!("plate of {strain}"));
            batches.push(batch);
        }
    }
    assert_eq!(batches.len(), 72);
    let (season, kinetics) = season(&batches);
    StrainSettings { traits: traits.to_vec(), ..Default::default() }.run(&season, &kinetics).unwrap()
}

/// Strains from the lowest mean to the highest, with it.
fn order(found: &Strains, which: Trait) -> Vec<(&str, f64)> {
    let of = found.means.iter().filter(|mean| mean.which == which);
    let mut means: Vec<(&str, f64)> = of.map(|mean| (mean.strain.as_str(), mean.mean.value().unwrap())).collect();
    means.sort_by(|a, b| a.1.total_cmp(&b.1));
    means
}

#[test]
fn yeasts_stand_in_the_published_order() {
    let found = compared(&[RATE, Trait::LagH]);
    let rates = order(&found, RATE);
    let names: Vec<&str> = rates.iter().map(|(name, _)| *name).collect();
    assert_eq!(names.len(), 24);
    assert_eq!((&names[..3], &names[22..]), (&["S288C", "PE2", "LBCM109"][..], &["LBCM37", "LBCM1017"][..]));
    assert_eq!(names[17], "ETRED");
    // The source's means are arithmetic, ours geometric: a thousandth apart where wells spread by 4 %.
    for (place, published) in [(0, 0.1043), (1, 0.1082), (2, 0.1153), (17, 0.1393), (22, 0.1595), (23, 0.1670)] {
        near(rates[place].1, published, 2e-3);
    }
    let lags = order(&found, Trait::LagH);
    assert_eq!((lags[0].0, lags[23].0), ("ETRED", "LBCM1013"));
    near(lags[0].1, 3.69, 2e-3);
    near(lags[23].1, 7.82, 2e-3);
    // The largest difference stands first and is found.
    let first = found.contrasts.iter().find(|pair| pair.which == RATE).unwrap();
    let e = first.difference.estimate().unwrap();
    assert_eq!((first.a.as_str(), first.b.as_str()), ("LBCM1017", "S288C"));
    assert!(e.lower > 0.0);
    assert_eq!(found.contrasts.len(), 2 * 24 * 23 / 2);
}

#[test]
fn wells_and_strains_spread_as_published() {
    let found = compared(&[PLAIN_RATE]);
    let within = found.spreads.iter().find(|row| row.strain.is_none()).unwrap().sd.value().unwrap();
    near(within, 0.00451, 1e-3);
    let means = order(&found, PLAIN_RATE);
    let middle = means.iter().map(|(_, mean)| mean).sum::<f64>() / 24.0;
    let spread = means.iter().map(|(_, mean)| (mean - middle).powi(2)).sum::<f64>() / 23.0;
    near((spread - within * within / 3.0).sqrt(), 0.01458, 1e-3);
    // One spread serves all: an interval of all pairs by J. W. Tukey's range of 24 means on 48 degrees of freedom, 5.4510
    // (scipy.stats.studentized_range 1.17).
    let e = found.contrasts[0].difference.estimate().unwrap();
    near(e.se, within * (2.0_f64 / 3.0).sqrt(), 1e-6);
    near((e.upper - e.value) / e.se, 5.451_005 / 2.0_f64.sqrt(), 1e-3);
}

#[test]
fn a_strain_and_its_plate_go_together() {
    let found = compared(&[RATE]);
    let note = "ompared together with their vessel, which no other strain had: CENPK7D, ETRED, \
                LBCM1001, LBCM1003, LBCM1008, LBCM1013 and 18 more";
    assert_eq!(found.how(RATE).unwrap().notes, [format!("c{note}")]);
    assert!(found.notes(&[RATE]).contains(&format!("C{note}.")));
}
