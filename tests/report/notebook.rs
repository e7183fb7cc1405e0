//! Results as a notebook shows them.

use heelwort::calibration::{Builds, Calibration, Calibrations};
use heelwort::chart::Figure;
use heelwort::drift::Drift;
use heelwort::forecast::{Backtest, Forecasts};
use heelwort::kinetics::{BatchFit, Kinetics};
use heelwort::report::Summary;
use heelwort::season::{RowAccount, Season};
use heelwort::show::Table;
use heelwort::strains::Strains;
use heelwort::study::SeasonStudy;

use super::study;

/// The kernel calls this very method on the last expression of a cell; without it the user sees `Debug`.
#[test]
fn every_result_shows_itself() {
    let _: fn(&Calibration) = Calibration::evcxr_display;
    let _: fn(&Calibrations) = Calibrations::evcxr_display;
    let _: fn(&Drift) = Drift::evcxr_display;
    let _: fn(&BatchFit) = BatchFit::evcxr_display;
    let _: fn(&Kinetics) = Kinetics::evcxr_display;
    let _: fn(&Forecasts) = Forecasts::evcxr_display;
    let _: fn(&Backtest) = Backtest::evcxr_display;
    let _: fn(&Strains) = Strains::evcxr_display;
    let _: fn(&Builds) = Builds::evcxr_display;
    let _: fn(&Season) = Season::evcxr_display;
    let _: fn(&RowAccount) = RowAccount::evcxr_display;
    let _: fn(&SeasonStudy) = SeasonStudy::evcxr_display;
    let _: fn(&Summary) = Summary::evcxr_display;
    let _: fn(&Figure) = Figure::evcxr_display;
    let _: fn(&Table) = Table::evcxr_display;
}

#[test]
fn a_picture_saves_as_a_document_of_its_own() {
    let home = tempfile::tempdir().unwrap();
    let path = home.path().join("drift.svg");
    let figure = study().drift.done().unwrap().chart().unwrap();
    figure.save(&path).unwrap();
    let svg = std::fs::read_to_string(&path).unwrap();
    assert!(svg.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\""));
    assert_eq!(svg.matches("<svg").count(), svg.matches("</svg>").count());
    assert_eq!(svg.matches("<svg").count(), 1 + figure.html().matches("<svg").count());
    let message = figure.save(home.path().join("no/such/folder.svg")).unwrap_err().to_string();
    assert!(message.contains("folder.svg"), "{message}");
}
