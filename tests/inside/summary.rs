//! The summary on a terminal.

use super::*;
use crate::show::ResultTable;

#[test]
fn the_summary_prints_short_and_aligned() {
    let mut probes = Answer::new("Which probes may be trusted today?");
    probes.say("8 probes with 9 curves.");
    let rows = [("ruff", "trust it", "5 checks"), ("oystercatcher", "do not trust it", "12 checks")];
    probes.table = ResultTable::new(&rows, 9)
        .text("probe", |row| row.0)
        .text("verdict", |row| row.1)
        .text("from", |row| row.2)
        .titled("");
    let [batches, yeasts, rows] = ["a", "b", "c"].map(Answer::new);
    let summary = Summary { season: "marsh: 3 batches".into(), batches, steps: Vec::new(), probes, yeasts, rows };
    let text = summary.to_string();
    assert_eq!(text.lines().next(), Some("marsh: 3 batches"));
    let lines: Vec<&str> = text.lines().skip_while(|line| !line.starts_with("Which")).take(5).collect();
    let expected = [
        "Which probes may be trusted today?",
        "  8 probes with 9 curves.",
        "  probe          verdict          from",
        "  ruff           trust it         5 checks",
        "  oystercatcher  do not trust it  12 checks",
    ];
    assert_eq!(lines, expected);
    assert!(text.contains("never permission to package"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
    let narrow = summary.text(34);
    assert!(narrow.lines().all(|line| line.chars().count() <= 34), "{narrow}");
    assert!(narrow.contains("do not trust it") && !narrow.contains("12 checks"), "{narrow}");
}

#[test]
fn sentences_break_between_words() {
    assert_eq!(wrapped("one two three", 8), ["one two", "three"]);
    assert_eq!(wrapped("unbreakable", 3), ["unbreakable"]);
}
