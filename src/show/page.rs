//! What shows itself.

use std::fmt;

use crate::chart::Figure;

/// Something that shows as HTML, and as plain text by its `Display`.
pub(crate) trait Show: fmt::Display {
    /// A fragment of HTML with inline attributes only; every text of the user is escaped.
    fn html(&self) -> String;
}

impl Show for Figure {
    fn html(&self) -> String {
        Figure::html(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::Summary;
    use crate::simulate::SimulateSettings;
    use crate::study::Settings;

    #[test]
    fn results_are_closed_and_bring_no_style_sheet() {
        let settings = SimulateSettings { batches: 6, probes: 3, reading_minutes: 120.0, ..Default::default() };
        let mut season = settings.run().unwrap().season;
        for batch in &mut season.batches {
            batch.strain.push_str("<script>alert('x')</script>\"&");
        }
        let study = Settings::default().study(season).unwrap();
        let html = [
            study.season.html(),
            Summary::of(&study).html(),
            study.calibrations().unwrap().html(),
            study.drift().unwrap().html(),
            study.kinetics().unwrap().html(),
            study.strains().unwrap().html(),
        ]
        .concat();
        assert!(html.contains("&lt;script&gt;alert(") && !html.contains("<script"));
        for tag in ["div", "table", "tr", "td", "th", "svg", "text", "p"] {
            let opened = html.matches(&format!("<{tag}>")).count() + html.matches(&format!("<{tag} ")).count();
            assert_eq!(opened, html.matches(&format!("</{tag}>")).count(), "<{tag}>");
        }
        assert!(!html.contains("<style") && !html.contains(" class=") && !html.contains(" id="));
    }
}
