//! The share of stuck batches.

use statrs::function::factorial::ln_binomial;

use crate::error::Result;
use crate::fit::Estimate;
use crate::fit::compare::holm;
use crate::fit::quantile::normal_two_sided;

/// The share of stuck batches of a strain.
#[derive(Debug, Clone, PartialEq)]
pub struct StuckShare {
    /// The strain.
    pub strain: String,
    /// Batches that came to rest, stuck or not.
    pub n: usize,
    /// Those that got stuck.
    pub stuck: usize,
    /// Batches left out, as they are not at rest.
    pub unfinished: usize,
    /// The share by Wilson's interval (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209); none without a batch at rest.
    pub share: Option<Estimate>,
}

/// The difference of two shares.
#[derive(Debug, Clone, PartialEq)]
pub struct StuckContrast {
    /// One strain.
    pub a: String,
    /// The other.
    pub b: String,
    /// Share of `a` less that of `b`: R. G. Newcombe's interval from Wilson's (Stat. Med. 17 (1998) 873, method 10) at the level
    /// that holds for all pairs at once by Bonferroni. It may leave out 0 where Fisher's test is not below 1 - level.
    pub difference: Estimate,
    /// Fisher's exact p-value times the number of pairs.
    pub p_adjusted: f64,
    /// By Holm's step-down.
    pub p_holm: f64,
}

impl StuckShare {
    pub(super) fn new(strain: &str, n: usize, stuck: usize, unfinished: usize, level: f64) -> Result<Self> {
        let share = if n > 0 { Some(wilson(stuck, n, level)?) } else { None };
        Ok(Self { strain: strain.to_owned(), n, stuck, unfinished, share })
    }
}

fn wilson(stuck: usize, n: usize, level: f64) -> Result<Estimate> {
    let (z, n) = (normal_two_sided(level)?, n as f64);
    let p = stuck as f64 / n;
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    let (lower, upper) = ((middle - half).max(0.0), (middle + half).min(1.0));
    Ok(Estimate { value: p, se: half / z, lower, upper, level, method: "Wilson".into() })
}

/// All pairs of strains with a batch at rest.
pub(super) fn stuck_contrasts(shares: &[StuckShare], level: f64) -> Result<Vec<StuckContrast>> {
    let shares: Vec<&StuckShare> = shares.iter().filter(|share| share.n > 0).collect();
    let pairs = shares.len() * shares.len().saturating_sub(1) / 2;
    let each = 1.0 - (1.0 - level) / pairs.max(1) as f64;
    let mut found = Vec::with_capacity(pairs);
    let mut raw = Vec::with_capacity(pairs);
    for (i, a) in shares.iter().enumerate() {
        for b in shares.iter().skip(i + 1) {
            let (of_a, of_b) = (wilson(a.stuck, a.n, each)?, wilson(b.stuck, b.n, each)?);
            let value = of_a.value - of_b.value;
            let lower = value - (of_a.value - of_a.lower).hypot(of_b.upper - of_b.value);
            let upper = value + (of_a.upper - of_a.value).hypot(of_b.value - of_b.lower);
            let (se, method) = (of_a.se.hypot(of_b.se), "Newcombe, Fisher, Bonferroni");
            let p = fisher((a.stuck, a.n), (b.stuck, b.n));
            raw.push(p);
            found.push(StuckContrast {
                a: a.strain.clone(),
                b: b.strain.clone(),
                difference: Estimate { value, se, lower, upper, level, method: method.into() },
                p_adjusted: (p * pairs as f64).min(1.0),
                p_holm: f64::NAN,
            });
        }
    }
    found.iter_mut().zip(holm(&raw)).for_each(|(contrast, p)| contrast.p_holm = p);
    Ok(found)
}

/// R. A. Fisher's exact p-value, two-sided: the tables with the same margins that are at most as likely as the one seen
/// (*Statistical Methods for Research Workers*, 5th edition, 1934, section 21.02). Each pair is a count and its total.
fn fisher(a: (usize, usize), b: (usize, usize)) -> f64 {
    let (stuck, n) = (a.0 + b.0, a.1 + b.1);
    let ln_p = |x: usize| {
        ln_binomial(a.1 as u64, x as u64) + ln_binomial(b.1 as u64, (stuck - x) as u64)
            - ln_binomial(n as u64, stuck as u64)
    };
    let seen = ln_p(a.0) + 1e-9;
    let all = stuck.saturating_sub(b.1)..=stuck.min(a.1);
    all.map(ln_p).filter(|ln_p| *ln_p <= seen).map(f64::exp).sum::<f64>().min(1.0)
}
