//! The text of the study.

use std::fmt;

use crate::fit::Finding;

use super::drift::Drift;

impl fmt::Display for Drift {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let left_out = self.pairs.iter().filter(|p| p.left_out.is_some()).count();
        writeln!(
            f,
            "drift on the first calibration, in 0.001 SG per 30 days: {} pairs, {left_out} left out",
            self.pairs.len()
        )?;
        let width = self.probes.iter().map(|p| p.probe.len()).max().unwrap_or(0);
        for probe in &self.probes {
            write!(f, "  {:width$} ", probe.probe)?;
            match &probe.drift_sg_per_30d {
                Finding::Estimated(e) => {
                    let [value, lower, upper] = [e.value, e.lower, e.upper].map(|v| 1000.0 * v);
                    let level = 100.0 * e.level;
                    writeln!(
                        f,
                        "{value:+.2} ({lower:+.2} to {upper:+.2}, {level:.0} %; {} pairs); recalibrate: {}",
                        probe.n, probe.recalibrate
                    )?;
                }
                other => writeln!(f, "{other}")?,
            }
        }
        for shift in self.shifts.iter().filter(|shift| shift.kind.is_found()) {
            let day = |at: crate::Instant| at.to_string().get(..10).unwrap_or_default().to_owned();
            let (from, to) = (day(shift.earliest), day(shift.latest));
            let p = shift.p_fleet.unwrap_or(1.0);
            let or = shift.or_probes.iter().map(|other| format!(" or {other}")).collect::<String>();
            writeln!(
                f,
                "  {}{or} shifted between {from} and {to}: {} (p of the fleet {p:.3})",
                shift.probe, shift.shift_sg
            )?;
        }
        for term in &self.fleet {
            writeln!(f, "  fleet {}: {}", term.term, term.finding)?;
        }
        Ok(())
    }
}
