//! The results of the studies in a notebook: picture and numbers together.

use std::fmt::{self, Display};

use maud::{Markup, PreEscaped, html};
use polars::prelude::DataFrame;

use crate::calibration::{BathPlan, Builds, Calibration, Calibrations};
use crate::chart::Figure;
use crate::drift::Drift;
use crate::error::Result;
use crate::forecast::{Backtest, Forecasts};
use crate::kinetics::{BatchFit, Kinetics};
use crate::season::{RowAccount, Season};
use crate::strains::Strains;

use super::notebook::print;
use super::page::Show;
use super::table::Table;

/// A picture, or why it could not be drawn; nothing for a picture without panels.
pub(crate) fn picture(drawn: Result<Figure>) -> Markup {
    match drawn {
        Ok(figure) if figure.is_empty() => html! {},
        Ok(figure) => PreEscaped(figure.html()),
        Err(error) => html! { p { "This picture could not be drawn: " (error) } },
    }
}

/// A table, or why it could not be made.
fn table(made: Result<DataFrame>, title: &str) -> Markup {
    match made {
        Ok(frame) => PreEscaped(Table::new(frame).titled(title).html()),
        Err(error) => html! { p { "This table could not be made: " (error) } },
    }
}

/// Text as it stands on a terminal.
fn text(shown: &impl Display) -> Markup {
    html! { pre style="overflow-x:auto;font-size:.85em;margin:.4em 0" { (shown.to_string()) } }
}

macro_rules! notebook_display {
    ($($shown:ty),*) => {
        $(impl $shown {
            /// Shows it as the result of a notebook cell.
            pub fn evcxr_display(&self) {
                print(self);
            }
        })*
    };
}

macro_rules! show {
    ($($shown:ty: |$it:ident| $html:expr;)*) => {
        $(impl Show for $shown {
            fn html(&self) -> String {
                let $it = self;
                let parts: Vec<Markup> = $html;
                html! { div { @for part in parts { (part) } } }.into_string()
            }
        })*
        notebook_display!($($shown),*);
    };
}

show! {
    Calibration: |it| vec![picture(it.chart()), text(it)];
    Calibrations: |it| vec![picture(it.chart()), table(it.to_frame(), "Calibrations")];
    Drift: |it| vec![
        picture(it.fleet_chart()),
        picture(it.chart()),
        picture(it.limit_chart()),
        picture(it.kinds_chart()),
        table(it.probes_frame(), "Drift by probe"),
        table(it.shifts_frame(), "Sudden shifts"),
        table(it.kinds_frame(), "Kinds of drift"),
        table(it.fleet_frame(), "The fleet"),
    ];
    BatchFit: |it| vec![picture(it.chart()), picture(it.residual_chart()), text(it)];
    Kinetics: |it| vec![picture(it.chart()), table(it.to_frame(), "Fermentations")];
    Forecasts: |it| vec![picture(it.chart()), table(it.to_frame(), "Forecasts")];
    Backtest: |it| vec![picture(it.chart()), text(it)];
    Strains: |it| vec![
        picture(it.chart()),
        picture(it.contrast_chart()),
        picture(it.curve_chart()),
        picture(it.pair_of_traits_chart()),
        picture(it.power_chart()),
        table(it.to_frame(), "Means"),
        table(it.contrasts_frame(), "Differences"),
        table(it.repeatability_frame(), "Repeatability"),
        table(it.power_frame(), "Open pairs"),
    ];
    BathPlan: |it| vec![picture(it.chart()), text(it)];
    Builds: |it| vec![picture(it.chart()), table(it.to_frame(), "Builds"), text(it)];
    RowAccount: |it| vec![text(it)];
}

notebook_display!(Figure, Table, Season);

impl Show for Season {
    fn html(&self) -> String {
        html! { div { p { b { (contents(self)) } } (PreEscaped(self.account.html())) } }.into_string()
    }
}

impl fmt::Display for Season {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}\n{}", contents(self), self.account)
    }
}

/// How much there is of each table, in one sentence.
fn contents(season: &Season) -> String {
    let counts = [
        (season.readings.len(), "readings"),
        (season.references.len(), "references"),
        (season.batches.len(), "batches"),
        (season.probes.len(), "probes"),
        (season.events.len(), "events"),
    ];
    let parts: Vec<String> = counts.iter().map(|(n, what)| format!("{n} {what}")).collect();
    let latest = season.latest().map_or_else(String::new, |at| format!(", up to {at}"));
    format!("A season of {}{latest}.", parts.join(", "))
}
