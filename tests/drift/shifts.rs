//! Are sudden shifts found where there are some?

use super::fleet::Fleet;
use super::season::{seasons, share, told};

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn power_against_shifts_of_several_sizes() {
    let mut last = 0.0;
    for (k, planted_sg) in [0.001, 0.002, 0.003, 0.004, 0.005, 0.006].into_iter().enumerate() {
        let all = seasons(&Fleet { planted_sg, ..Fleet::default() }, 8, 60 + k as u64, 1000);
        println!("shift of {planted_sg} on every second probe, {} seasons:", all.len());
        let found = share(&all, |s| s.found, |s| s.planted);
        told("found", found);
        told("size in its interval (90 %) where found", share(&all, |s| s.size_covered, |s| s.found.max(1e-9)));
        told("day in its interval (90 %) where found", share(&all, |s| s.date_covered, |s| s.found.max(1e-9)));
        told("drift of probes, coverage of 90 %", share(&all, |s| s.covered, |s| s.probes));
        told("drift without shifts, coverage of 90 %", share(&all, |s| s.gradual_covered, |s| s.probes));
        told("false alarms on the other probes", share(&all, |s| s.alarms, |s| s.probes - s.planted));
        assert!(found.0 >= last - 0.12, "power falls: {found:?} after {last}");
        last = found.0;
    }
    assert!(last > 0.8, "{last}");
}
