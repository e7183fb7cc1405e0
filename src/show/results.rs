//! The results of the studies in a notebook: picture and numbers together.

use std::fmt::Display;

use maud::{Markup, PreEscaped, html};
use polars::prelude::DataFrame;

use crate::calibration::{Calibration, Calibrations};
use crate::chart::Figure;
use crate::drift::Drift;
use crate::error::Result;
use crate::season::RowAccount;

use super::page::Show;
use super::table::Table;

/// A picture, or why it could not be drawn.
fn picture(drawn: Result<Figure>) -> Markup {
    match drawn {
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

macro_rules! show {
    ($($shown:ty: |$it:ident| $html:expr;)*) => {
        $(impl Show for $shown {
            fn html(&self) -> String {
                let $it = self;
                let parts: Vec<Markup> = $html;
                html! { div { @for part in parts { (part) } } }.into_string()
            }

            fn text(&self) -> String {
                self.to_string()
            }
        })*
    };
}

show! {
    Calibration: |it| vec![picture(it.chart()), text(it)];
    Calibrations: |it| vec![picture(it.chart()), table(it.to_frame(), "Calibrations")];
    Drift: |it| vec![
        picture(it.fleet_chart()),
        picture(it.chart()),
        table(it.probes_frame(), "Drift by probe"),
        table(it.fleet_frame(), "The fleet"),
    ];
    RowAccount: |it| vec![picture(it.chart()), text(it)];
}
