//! The report of whole seasons: what stands on the page and in the folder.

mod folder;
mod notebook;
mod page;
mod scales;

use std::sync::OnceLock;

use heelwort::season::Season;
use heelwort::simulate::SimulateSettings;
use heelwort::study::{SeasonStudy, Study};

/// A name that would run if it were not escaped.
const HOSTILE: &str = "<script>alert('x')</script>\"&";

/// A small simulated season, with strains and vessels that a page must escape.
fn season() -> Season {
    let settings =
        SimulateSettings { seed: 11, batches: 10, probes: 3, strains: 2, reading_minutes: 60.0, ..Default::default() };
    let mut season = settings.run().unwrap().season;
    for batch in &mut season.batches {
        batch.strain = format!("{} {HOSTILE}", batch.strain);
        batch.vessel = Some(HOSTILE.to_owned());
    }
    season
}

fn run(season: Season) -> SeasonStudy {
    Study::of(season).name(HOSTILE).run().unwrap()
}

/// The study of [`season`], made once.
fn study() -> &'static SeasonStudy {
    static STUDY: OnceLock<SeasonStudy> = OnceLock::new();
    STUDY.get_or_init(|| run(season()))
}

/// Fails when text of the user stands unescaped, or when HTML is left open.
fn check_html(html: &str) {
    assert!(!html.contains("<script"), "a script got in");
    assert!(html.contains("&lt;script&gt;alert("), "the hostile name is gone, so nothing was checked");
    for tag in ["div", "section", "table", "tr", "td", "th", "svg", "text", "figure", "details", "p", "ul", "li"] {
        let opened = html.matches(&format!("<{tag}>")).count() + html.matches(&format!("<{tag} ")).count();
        assert_eq!(opened, html.matches(&format!("</{tag}>")).count(), "<{tag}>");
    }
}
