//! The equations of drift against the same model written out.

use super::*;

/// Two blocks of one shared effect against the dense formulas of generalised least squares.
#[test]
fn blocks_agree_with_the_dense_formulas() {
    let ys = [[1.0, 2.5, 2.0], [0.5, -1.0, 1.0]].map(|y| DVector::from_row_slice(&y));
    let columns =
        [[1.0, 1.0, 2.0, 0.0, 3.0, 1.0], [1.0, 1.0, 1.5, 0.0, 4.0, 1.0]].map(|w| DMatrix::from_row_slice(3, 2, &w));
    let effects = [[0, 2], [1, 2]];
    let blocks = [0, 1].map(|p| ProbeBlock {
        y: &ys[p],
        covariance: DMatrix::from_fn(3, 3, |i, j| if i == j { 2.0 } else { 0.5 }),
        effects: &effects[p],
        columns: &columns[p],
    });
    let c = DVector::from_row_slice(&[0.3, 0.1, 0.2]);
    let target =
        |p: usize| PredictionTarget { effect: p, load: 1.0, shared: Vec::new(), covariance: c.clone(), variance: 0.7 };
    let solved = MixedEquations::new(blocks.to_vec(), &[None, None, Some(0.8)]).unwrap();

    let mut v = DMatrix::<f64>::zeros(6, 6);
    let mut x = DMatrix::<f64>::zeros(6, 2);
    let own = c.clone();
    let (mut y, mut c, mut z) = (DVector::zeros(6), DMatrix::<f64>::zeros(6, 2), DVector::zeros(6));
    for (p, b) in blocks.iter().enumerate() {
        v.view_mut((3 * p, 3 * p), (3, 3)).copy_from(&b.covariance);
        x.view_mut((3 * p, p), (3, 1)).copy_from(&b.columns.column(0));
        y.rows_mut(3 * p, 3).copy_from(b.y);
        c.view_mut((3 * p, p), (3, 1)).copy_from(&own);
        z.rows_mut(3 * p, 3).copy_from(&b.columns.column(1));
    }
    v += &z * z.transpose() * 0.64;
    let vi = v.clone().try_inverse().unwrap();
    let information = x.transpose() * &vi * &x;
    let inverse = information.clone().try_inverse().unwrap();
    let b = &inverse * x.transpose() * &vi * &y;
    let residual = &y - &x * &b;
    for p in 0..2 {
        let wanted = b[p] + (c.column(p).transpose() * &vi * &residual)[0];
        let found = solved.predict(p, &target(p)).unwrap().0;
        assert!((found - wanted).abs() < 1e-12, "{found} {wanted}");
    }
    let k = DMatrix::<f64>::identity(2, 2) - x.transpose() * &vi * &c;
    let wanted = DMatrix::<f64>::identity(2, 2) * 0.7 - c.transpose() * &vi * &c + k.transpose() * &inverse * &k;
    let sought = [0, 1].map(|p| solved.seek(p, &target(p)).unwrap());
    assert!((solved.covariance(&sought[0], &sought[1]) - wanted[(0, 1)]).abs() < 1e-12);
    assert!((solved.predict(1, &target(1)).unwrap().1 - wanted[(1, 1)]).abs() < 1e-12);
    // The watched effect is the best linear unbiased predictor too: 0.64 z' V^-1 of the residual.
    let effect = 0.64 * (z.transpose() * &vi * &residual)[0];
    assert!((solved.effects[2] - effect).abs() < 1e-12);
    let with = PredictionTarget { shared: vec![(2, 1.0)], ..target(0) };
    assert!((solved.predict(0, &with).unwrap().0 - sought[0].value - effect).abs() < 1e-12);
    let ln =
        -0.5 * (v.determinant().ln() + information.determinant().ln() + (residual.transpose() * &vi * &residual)[0]);
    assert!((solved.ln_likelihood - ln).abs() < 1e-10, "{} {ln}", solved.ln_likelihood);
}
