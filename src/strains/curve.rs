//! How the beers of a strain come down at common conditions.

use crate::fit::Estimate;
use crate::kinetics::Trait;

use super::result::Strains;

/// The tenth of a tenth: nine to one.
const NINE: f64 = 9.0;

/// Half-way in hours, and the powers of time before and after it.
type Course = (f64, f64, f64);

/// The attenuation that a strain has reached by each hour, drawn through the means of its traits. Of the terminal attenuation A
/// the share
///
/// ```text
/// A(t) = A / (1 + (mid / t)^p)
/// ```
///
/// is reached, with p by the lag before half-way, as if the fall were steepest there, and by nine tenths of the drop after it.
#[derive(Debug, Clone, PartialEq)]
pub struct StrainCurve {
    /// The strain.
    pub strain: String,
    /// Its terminal attenuation.
    pub terminal: Estimate,
    /// Hours to half-way, to nine tenths of the drop, and to rest where that is known.
    pub times: Vec<Estimate>,
    /// By the means, and by the early and the late ends of their intervals.
    courses: [Course; 3],
}

impl StrainCurve {
    /// The attenuation by an hour with its pointwise interval. The traits were estimated one by one: their times are taken to be
    /// early or late together, as they mostly are, and apart from the attenuation; the two are put together by their squares
    /// (G. Y. Zou and A. Donner, Stat. Med. 27 (2008) 1693).
    pub fn at(&self, hours: f64) -> Estimate {
        let [share, early, late] = self.courses.map(|(mid_h, before, after)| {
            1.0 / (1.0 + (mid_h / hours).powf(if hours < mid_h { before } else { after }))
        });
        let (end, mid) = (&self.terminal, &self.times[0]);
        let value = end.value * share;
        let reach = |of_end: f64, other: f64| (share * (of_end - end.value)).hypot(end.value * (other - share));
        let se = (share * end.se).hypot(end.value * (early - late) * mid.se / (mid.upper - mid.lower));
        let (lower, upper) = (value - reach(end.lower, late), value + reach(end.upper, early));
        Estimate { value, se, lower, upper, level: end.level, method: "through the means of traits".into() }
    }
}

impl Strains {
    /// The curves of the strains whose attenuation, half-way and nine tenths of the drop were estimated.
    pub fn curves(&self) -> Vec<StrainCurve> {
        let strains = self.means.iter().filter(|mean| mean.which == Trait::Attenuation);
        strains.filter_map(|mean| self.curve(&mean.strain)).collect()
    }

    fn curve(&self, strain: &str) -> Option<StrainCurve> {
        let of = |which| self.mean(strain, which).and_then(|mean| mean.mean.estimate());
        let (terminal, mid, t90, lag) = (of(Trait::Attenuation)?, of(Trait::MidH)?, of(Trait::T90H)?, of(Trait::LagH));
        let ends: [fn(&Estimate) -> f64; 3] = [|e| e.value, |e| e.lower, |e| e.upper];
        let courses = ends.map(|end| {
            let (mid_h, lag_h) = (end(mid), lag.map(end));
            let after = NINE.ln() / (end(t90) / mid_h).ln().max(0.05);
            // The tangent half-way has the slope p / (4 mid) and meets the gravity at pitching at the lag.
            let before = lag_h.map_or(after, |lag_h| 2.0 / (1.0 - lag_h / mid_h).max(0.05));
            (mid_h, before, after)
        });
        let sound =
            courses.iter().all(|(mid_h, before, after)| *mid_h > 0.0 && before.is_finite() && after.is_finite());
        let times = [mid, t90].into_iter().chain(of(Trait::FinishH)).cloned().collect();
        sound.then(|| StrainCurve { strain: strain.to_owned(), terminal: terminal.clone(), times, courses })
    }
}
