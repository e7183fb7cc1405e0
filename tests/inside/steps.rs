//! Steps of one kind are one line.

use super::*;

#[test]
fn the_same_thing_for_several_is_one_line_with_the_reason_of_each() {
    let all = [
        todo("Calibrate #", "godwit", "it reads 0.0135 low"),
        todo("Check # in water", "knot", "the error is not known"),
        todo("Calibrate #", "lapwing", "no curve"),
        todo("Check # in water", "ruff", "the error is not known"),
        todo("Calibrate #", "", "Mix these baths."),
    ];
    let step = Step::of("Calibrate #", &all);
    assert_eq!(step.what, "Calibrate godwit and lapwing");
    assert_eq!(step.why, ["godwit reads 0.0135 low.", "lapwing: no curve.", "Mix these baths."]);
    let check = Step::of("Check # in water", &all);
    assert_eq!(check.text(), "Check knot and ruff in water. The error is not known.");
    assert_eq!(Step::of("Calibrate #", &all[..1]).text(), "Calibrate godwit. It reads 0.0135 low.");
}

#[test]
fn a_fleet_makes_no_longer_line_and_the_terminal_shows_the_first_reasons() {
    let all: Vec<Todo> =
        (0..60).map(|i| todo("Calibrate #", format!("probe-{i}"), format!("it reads 0.{i:02} low"))).collect();
    let step = Step::of("Calibrate #", &all);
    assert!(step.what.len() < 100 && step.what.ends_with("and 52 more"), "{}", step.what);
    assert_eq!(step.why.len(), 60);
    assert!(step.text().ends_with("probe-11 reads 0.11 low. The page has 48 more."), "{}", step.text());
}
