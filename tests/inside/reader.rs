//! Times and numbers as the reader wants them.

use super::*;

fn reader(zone: &str, plato: bool, fahrenheit: bool) -> Reader {
    Reader { scales: Scales { zone: jiff::tz::TimeZone::get(zone).unwrap(), plato, fahrenheit }, comma: false }
}

#[test]
fn times_are_those_of_the_readers_clock() {
    let at = Instant::parse("2031-03-05T23:30:00Z").unwrap();
    let here = reader("UTC", false, false);
    assert_eq!((here.day(at).as_str(), here.hour(at).as_str()), ("We 5 Mar", "Th 6 Mar 00:00"));
    let there = reader("Europe/Oslo", false, false);
    assert_eq!(crate::chart::minute(at, &there.scales.zone), "Th 6 Mar 2031 00:30");
}

#[test]
fn gravities_and_temperatures_are_on_the_readers_scales() {
    let e = Estimate { value: 1.048, se: 0.001, lower: 1.047, upper: 1.049, level: 0.9, method: "t".into() };
    let here = reader("UTC", false, false);
    let there = reader("UTC", true, true);
    assert_eq!(here.gravity(&e), "gravity 1.0480\u{a0}\u{b1}\u{a0}0.0010");
    // SG 1.048 is 11.9 degrees Plato, and 0.001 is a quarter of one.
    assert!(there.gravity(&e).starts_with("gravity 11.9"), "{:?}", there.gravity(&e));
    assert_eq!(there.temperature(20.0), "68.0\u{a0}\u{b0}F");
    let off = Estimate { value: -0.0130, se: 0.0005, ..e };
    assert_eq!(here.off(&off, false), "0.0130\u{a0}\u{b1}\u{a0}0.0005");
    assert!(there.off(&off, false).starts_with("3.31"), "{}", there.off(&off, false));
    assert_eq!(
        (here.scales.limit(0.002).as_str(), there.scales.limit(0.002).as_str()),
        ("0.002\u{a0}SG", "0.5\u{a0}\u{b0}P")
    );
    assert_eq!(here.off(&off, true), "\u{2212}0.0130\u{a0}\u{b1}\u{a0}0.0005");
}

#[test]
fn decimals_stand_behind_a_comma_and_dates_names_and_attributes_keep_their_points() {
    let points = reader("UTC", false, false);
    let commas = Reader { comma: true, ..points.clone() };
    let text = "ale-2.0 of 10.07.2031, v1.2: SG 1.0480 \u{b1} 0.0007 (90 %: -0.5 to 3.25). No 7.";
    let said = "ale-2.0 of 10.07.2031, v1.2: SG 1,0480 \u{b1} 0,0007 (90 %: -0,5 to 3,25). No 7.";
    assert_eq!((points.text(text).as_str(), commas.text(text).as_str()), (text, said));
    let piece = "<p style=\"margin:1.2em\" aria-label=\"to 1.05\">1.0.1 is &lt; 0.001</p>";
    let shown = "<p style=\"margin:1.2em\" aria-label=\"to 1,05\">1.0.1 is &lt; 0,001</p>";
    assert_eq!(points.markup(PreEscaped(piece.to_owned())).0, piece);
    assert_eq!(commas.markup(PreEscaped(piece.to_owned())).0, shown);
}
