//! By how much a least-squares solution misses its two conditions, in twice the working precision.

/// Raw columns, response and one over the standard deviations.
pub(super) struct System<'a> {
    pub columns: &'a [&'a [f64]],
    pub intercept: bool,
    pub y: &'a [f64],
    pub weight: &'a [f64],
}

impl System<'_> {
    /// The gap `y - e - X b` of each row, and for each coefficient the slope `-sum_i w_i^2 x_ij e_i`, which are both
    /// zero when the coefficients `b` and the residuals `e` are the solution.
    pub fn defect(&self, coefficients: &[f64], residuals: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let offset = usize::from(self.intercept);
        let constant = if self.intercept { coefficients.first().copied().unwrap_or(0.0) } else { 0.0 };
        let mut gaps = Vec::with_capacity(self.y.len());
        for (i, (y, e)) in self.y.iter().zip(residuals).enumerate() {
            let mut gap = Double::default();
            gap.add(*y);
            gap.add(-constant);
            gap.add(-e);
            for (column, b) in self.columns.iter().zip(coefficients.iter().skip(offset)) {
                gap.add_product(-b, column.get(i).copied().unwrap_or(0.0));
            }
            gaps.push(gap.value());
        }
        let mut slopes = Vec::with_capacity(coefficients.len());
        if self.intercept {
            slopes.push(self.slope(residuals, |_| 1.0));
        }
        for column in self.columns {
            slopes.push(self.slope(residuals, |i| column.get(i).copied().unwrap_or(0.0)));
        }
        (gaps, slopes)
    }

    fn slope(&self, residuals: &[f64], column: impl Fn(usize) -> f64) -> f64 {
        let mut slope = Double::default();
        for (i, (e, w)) in residuals.iter().zip(self.weight).enumerate() {
            let (high, low) = two_product(-e, w * w);
            let x = column(i);
            slope.add_product(high, x);
            slope.add(low * x);
        }
        slope.value()
    }
}

/// A running sum held as a number and its rounding error.
#[derive(Default)]
struct Double {
    high: f64,
    low: f64,
}

impl Double {
    fn add(&mut self, x: f64) {
        let sum = self.high + x;
        let back = sum - self.high;
        self.low += (self.high - (sum - back)) + (x - back);
        self.high = sum;
    }

    fn add_product(&mut self, a: f64, b: f64) {
        let (product, rest) = two_product(a, b);
        self.add(product);
        self.low += rest;
    }

    fn value(&self) -> f64 {
        self.high + self.low
    }
}

/// A product and its rounding error.
fn two_product(a: f64, b: f64) -> (f64, f64) {
    let product = a * b;
    (product, a.mul_add(b, -product))
}
