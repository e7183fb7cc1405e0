//! Which shifts are said, and how.

use super::*;
use crate::drift::ShiftKind;
use crate::units::Instant;

#[test]
fn a_shift_that_may_be_none_is_not_said_and_of_several_probes_none_gets_the_size() {
    let season = crate::season::Season::default();
    let reader = &Reader::of(&crate::study::Study::of(season).run().unwrap());
    let at = Instant::parse("2031-01-29T12:00:00Z").unwrap();
    let shift = |value: f64, p_fleet: f64, others: &[&str]| Shift {
        probe: "dunlin".to_owned(),
        at,
        earliest: at,
        latest: at,
        shift_sg: Estimate::normal(value, 0.002, 0.9, "test").into(),
        kind: ShiftKind::Found,
        or_probes: others.iter().map(|probe| (*probe).to_owned()).collect(),
        p_probe: Some(p_fleet),
        p_fleet: Some(p_fleet),
    };
    for (value, p_fleet, others, shown) in [
        (0.008, 0.01, &[][..], Some("dunlin by +0.0080\u{a0}\u{b1}\u{a0}0.0020 about We 29 Jan")),
        (0.008, 0.3, &[], Some("dunlin by +0.0080\u{a0}\u{b1}\u{a0}0.0020 about We 29 Jan (perhaps by chance)")),
        (0.001, 0.3, &[], None),
        (0.001, 0.01, &[], None),
        (0.001, 0.3, &["knot"], None),
        (0.001, 0.01, &["knot", "ruff"], Some("dunlin or knot or ruff, and nothing tells which, about We 29 Jan")),
    ] {
        let shift = shift(value, p_fleet, others);
        let said = is_shown(&shift).then(|| shift_text(&shift, reader));
        assert_eq!(said.as_deref(), shown);
    }
}
