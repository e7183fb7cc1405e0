//! Quantiles of a forecast.

/// Quantiles of a forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantiles<T> {
    /// 5 %.
    pub p05: T,
    /// 25 %.
    pub p25: T,
    /// 50 %.
    pub p50: T,
    /// 75 %.
    pub p75: T,
    /// 95 %.
    pub p95: T,
}

impl<T: Copy> Quantiles<T> {
    /// The same quantiles in another form.
    pub fn map<U>(self, f: impl Fn(T) -> U) -> Quantiles<U> {
        Quantiles { p05: f(self.p05), p25: f(self.p25), p50: f(self.p50), p75: f(self.p75), p95: f(self.p95) }
    }
}
