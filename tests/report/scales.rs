//! The page on another scale, number by number beside the page in SG and degrees Celsius.
//!
//! Degrees Plato are looked up in the table of sucrose solutions of ICUMSA, not computed.

use heelwort::report;
use heelwort::study::{GravityScale, SeasonStudy, TemperatureScale};

use super::study;

const TABLE: &str = include_str!("../reference/physical/sugar_density_20C.csv");
fn page(study: &SeasonStudy) -> String {
    let home = tempfile::tempdir().unwrap();
    let out = report::write(study, &[], &home.path().join("report")).unwrap();
    std::fs::read_to_string(out.join("index.html")).unwrap()
}

fn plato(sg: f64) -> f64 {
    let rows = TABLE.lines().skip(1).map(|line| line.split(',').take(3).map(|cell| cell.parse().unwrap()).collect());
    let rows: Vec<Vec<f64>> = rows.collect();
    let after = rows.iter().position(|row| row[2] > sg).unwrap().max(1);
    let (a, b) = (&rows[after - 1], &rows[after]);
    a[0] + (sg - a[2]) / (b[2] - a[2]) * (b[0] - a[0])
}

/// A difference where beers end; the error of a gravity is turned where that gravity lies, up to a tenth less.
fn difference(sg: f64) -> f64 {
    sg * (plato(1.015) - plato(1.005)) / 0.010
}

/// A number with half of its last digit.
type Number = (f64, f64);

fn numbers(text: &str) -> Vec<Number> {
    let text = text.replace('\u{2212}', "-");
    let ends = |c: char| c.is_whitespace() || "(),;:%\u{d7}".contains(c);
    let words = text.split(ends).map(|word| word.trim_matches('.').trim_start_matches('+'));
    words.filter_map(|word| Some((word.parse().ok()?, half(word)))).collect()
}

fn half(word: &str) -> f64 {
    0.5 * 10f64.powi(-(word.split_once('.').map_or(0, |(_, decimals)| decimals.len()) as i32))
}

#[derive(Debug, Default)]
struct Counts {
    same: usize,
    gravities: usize,
    differences: usize,
    temperatures: usize,
    wrong: Vec<String>,
}

impl Counts {
    /// Finds what `there` is of `here`; a number that must be on another scale and is not fails.
    fn pair(&mut self, here: Number, there: Number, must: bool, told: &str) {
        let near = |wanted: f64, slope: f64| {
            (wanted - there.0).abs()
                <= slope * here.1 + there.1 + if wanted < 0.0 { 0.05 } else { 0.002 } * wanted.abs() + 1e-9
        };
        let is_gravity = (0.9..1.12).contains(&here.0) && near(plato(here.0), 262.0);
        if is_gravity {
            self.gravities += 1;
        } else if here.0.abs() < 0.2
            && here.0 != there.0
            && near(difference(here.0), 258.0 + 0.1 * difference(here.0).abs() / here.1)
        {
            self.differences += 1;
        } else if here.0 != there.0 && near(1.8 * here.0 + 32.0, 1.8) {
            self.temperatures += 1;
        } else {
            if !(here.0 == there.0 && (!must || here.0 == 0.0)) {
                self.wrong.push(format!("{here:?} became {there:?}: {told}"));
            }
            self.same += 1;
        }
    }

    fn texts(&mut self, here: &str, there: &str, must: bool) {
        let (a, b) = (numbers(here), numbers(there));
        assert_eq!(a.len(), b.len(), "{here} | {there}");
        a.into_iter().zip(b).for_each(|(a, b)| self.pair(a, b, must, &format!("{here} | {there}")));
    }

    /// Ticks of the upright axes: where a label stands says which number it is.
    fn ticks(&mut self, here: &str, there: &str) {
        let (a, b) = (runs(here), runs(there));
        assert_eq!(a.len(), b.len());
        for (a, b) in a.iter().zip(&b) {
            let (Some(first), Some(last)) = (a.first(), a.last().filter(|_| a.len() > 1)) else { continue };
            let per_unit = (last.1.0 - first.1.0) / (last.0 - first.0);
            for (y, number) in b {
                // Places are whole units of a quarter of a px.
                let shown = (first.1.0 + (y - first.0) * per_unit, per_unit.abs());
                if (shown.0 - number.0).abs() > 2.0 * shown.1 {
                    self.pair(shown, (number.0, 0.0), true, "a tick");
                }
            }
        }
    }
}

/// Labels (y, number) of each upright axis.
fn runs(html: &str) -> Vec<Vec<(f64, Number)>> {
    let mut runs: Vec<Vec<(f64, Number)>> = Vec::new();
    for svg in html.split("<svg").skip(1) {
        let mut above = f64::NEG_INFINITY;
        for text in svg.split("<text").skip(1).filter(|text| text.contains("text-anchor=\"end\"")) {
            let y: f64 = text.split("y=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
            let label = text.split('>').nth(1).unwrap().split('<').next().unwrap().trim().replace('\u{2212}', "-");
            let Ok(value) = label.parse() else { continue };
            if y > above {
                runs.push(Vec::new());
            }
            above = y;
            runs.last_mut().unwrap().push((y, (value, half(&label))));
        }
    }
    runs
}

/// What stands in an element, without its tags.
fn inside(html: &str) -> String {
    let pieces = html.split('<').enumerate();
    pieces.map(|(i, piece)| if i == 0 { piece } else { piece.split_once('>').map_or("", |(_, text)| text) }).collect()
}

fn elements<'a>(html: &'a str, name: &str) -> Vec<&'a str> {
    let (start, end) = (format!("<{name}"), format!("</{name}>"));
    let whole = html.split(&start).skip(1).filter(|rest| rest.starts_with([' ', '>']));
    whole.map(|rest| rest.split(&end).next().unwrap().split_once('>').unwrap().1).collect()
}

#[test]
fn every_number_of_the_page_is_that_of_the_page_in_sg_and_celsius() {
    let mut other = study().clone();
    (other.report.gravity, other.report.temperature) = (GravityScale::Plato, TemperatureScale::Fahrenheit);
    let (here, there) = (page(study()), page(&other));
    let mut counts = Counts::default();
    let (a, b) = (elements(&here, "table"), elements(&there, "table"));
    assert_eq!(a.len(), b.len());
    for (a, b) in a.iter().zip(&b) {
        let (heads, new_heads) = (elements(a, "th"), elements(b, "th"));
        for (row, new_row) in elements(a, "tr").iter().zip(elements(b, "tr")) {
            for (i, (cell, new_cell)) in elements(row, "td").iter().zip(elements(new_row, "td")).enumerate() {
                let unit = |head: &str| elements(head, "span").first().map_or(String::new(), |unit| inside(unit));
                let (unit, new_unit) = (unit(heads[i]), unit(new_heads[i]));
                assert_eq!(unit.contains("SG"), new_unit.contains("\u{b0}P"), "{unit} {new_unit}");
                counts.texts(&inside(cell), &inside(new_cell), unit.contains("SG"));
            }
        }
    }
    for name in ["p", "li", "figcaption"] {
        for (a, b) in elements(&here, name).iter().zip(elements(&there, name)) {
            counts.texts(&inside(a), &inside(b), false);
        }
    }
    counts.ticks(&here, &there);
    assert!(counts.wrong.is_empty(), "{:#?}", counts.wrong);
    assert!(counts.gravities > 100 && counts.differences > 100 && counts.temperatures > 10, "{counts:?}");
    // What is left in SG are gravities at which something is stated.
    for unit in
        ["SG per 30", "SG per day", "SG/day", "SG at 20", "SG of the bath", "curve, SG", "error, SG", "residual, SG"]
    {
        assert!(here.contains(unit) && !there.contains(unit), "{unit}");
    }
}

#[test]
fn a_page_of_commas_says_what_the_page_of_points_says() {
    let mut other = study().clone();
    other.report.decimal_comma = true;
    let (here, there) = (page(study()), page(&other));
    let decimals = |text: &str, mark: char| {
        let letters: Vec<char> = text.chars().collect();
        let is_one = |three: &&[char; 3]| three[1] == mark && three[0].is_ascii_digit() && three[2].is_ascii_digit();
        letters.array_windows().filter(is_one).count()
    };
    let mut all = 0;
    for (a, b) in elements(&here, "section").iter().zip(elements(&there, "section")) {
        let (a, b, quotes_files) = (inside(a), inside(b), a.contains("id=\"rows\""));
        all += decimals(&b, ',');
        let expected = if quotes_files { [decimals(&a, '.'), 0] } else { [0, decimals(&a, '.')] };
        assert_eq!([decimals(&b, '.'), decimals(&b, ',') - decimals(&a, ',')], expected, "{b}");
    }
    assert!(all > 500, "{all}");
}
