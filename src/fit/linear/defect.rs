//! By how much a least-squares solution misses its two conditions, in twice the working precision.

/// Raw columns, that of the intercept among them, response and one over the standard deviations.
pub(super) struct Conditions<'a> {
    pub columns: &'a [&'a [f64]],
    pub y: &'a [f64],
    pub weight: &'a [f64],
}

impl Conditions<'_> {
    /// The gap `y - e - X b` of each row, and for each coefficient the slope `-sum_i w_i^2 x_ij e_i`, which are both
    /// zero when the coefficients `b` and the residuals `e` are the solution.
    pub fn defect(&self, coefficients: &[f64], residuals: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let gap = |(i, (y, e)): (usize, (&f64, &f64))| {
            let mut gap = Double::default();
            gap.add(*y);
            gap.add(-e);
            for (column, b) in self.columns.iter().zip(coefficients) {
                gap.add_product(-b, column[i]);
            }
            gap.value()
        };
        let slope = |column: &&[f64]| {
            let mut slope = Double::default();
            for ((e, w), x) in residuals.iter().zip(self.weight).zip(*column) {
                let (high, low) = two_product(-e, w * w);
                slope.add_product(high, *x);
                slope.add(low * x);
            }
            slope.value()
        };
        let gaps = self.y.iter().zip(residuals).enumerate().map(gap).collect();
        (gaps, self.columns.iter().map(slope).collect())
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
