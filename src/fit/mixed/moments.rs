//! First and second derivatives of the likelihood by the variances, and how the fixed coefficients' covariance depends on them.

use nalgebra::{Cholesky, DMatrix, DVector};

use super::design::Spread;
use super::likelihood::{Covariance, MixedModel};
use crate::fit::Likelihood;
use crate::{Error, Result};

/// One variance or covariance that is estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Variance {
    /// Of columns a and b of a grouping, a at least b.
    Random { term: usize, a: usize, b: usize },
    /// Of the residual.
    Residual,
}

/// Sums over all rows, in scaled units; i and j number the variances, V_i is the derivative of V by variance i.
///
/// V falls into blocks of rows that hang together through random effects, and everything is summed block by block.
#[derive(Debug, Clone)]
pub(super) struct Moments {
    pub variances: Vec<Variance>,
    /// (X' V^-1 X)^-1.
    pub phi: DMatrix<f64>,
    /// -X' V^-1 V_i V^-1 X.
    pub p: Vec<DMatrix<f64>>,
    /// X' V^-1 V_i V^-1 V_j V^-1 X, by i then j.
    pub q: Vec<Vec<DMatrix<f64>>>,
    /// tr(V^-1 V_i V^-1 V_j).
    pub traces: DMatrix<f64>,
    /// The same with P = V^-1 - V^-1 X phi X' V^-1 in place of V^-1.
    pub restricted: DMatrix<f64>,
    /// Derivatives of minus twice the log-likelihood.
    pub gradient: DVector<f64>,
    /// Its second derivatives.
    pub hessian: DMatrix<f64>,
}

/// The variances that a model estimates.
pub(super) fn variances(model: &MixedModel) -> Vec<Variance> {
    let mut list = Vec::new();
    for (index, term) in model.data.terms.iter().enumerate() {
        list.extend(super::likelihood::places(&term.spread, term.q).map(|(a, b)| Variance::Random {
            term: index,
            a,
            b,
        }));
    }
    if model.data.held.is_none() {
        list.push(Variance::Residual);
    }
    list
}

/// What one block gives.
struct RowBlock {
    inverse: DMatrix<f64>,
    /// V^-1 X and V^-1 y.
    x: DMatrix<f64>,
    y: DVector<f64>,
    /// V_i.
    slopes: Vec<DMatrix<f64>>,
}

impl Moments {
    pub fn new(model: &MixedModel, covariance: &Covariance) -> Result<Self> {
        let data = &model.data;
        let list = variances(model);
        let (count, p) = (list.len(), data.p);
        let mut information = DMatrix::<f64>::zeros(p, p);
        let mut with_y = DVector::<f64>::zeros(p);
        let mut blocks = Vec::new();
        let rows_of = components(model);
        for rows in &rows_of {
            let block = block(model, covariance, &list, rows)?;
            let x = DMatrix::from_fn(rows.len(), p, |i, j| data.x[rows[i] * p + j]);
            information += x.tr_mul(&block.x);
            with_y += x.tr_mul(&block.y);
            blocks.push(block);
        }
        let phi = Cholesky::new(information)
            .ok_or_else(|| Error::numeric("the degrees of freedom of a mixed model", "X' V^-1 X is singular"))?
            .inverse();
        let coefficients = &phi * with_y;
        let mut found = Self {
            variances: list,
            p: vec![DMatrix::zeros(p, p); count],
            q: vec![vec![DMatrix::zeros(p, p); count]; count],
            traces: DMatrix::zeros(count, count),
            restricted: DMatrix::zeros(count, count),
            gradient: DVector::zeros(count),
            hessian: DMatrix::zeros(count, count),
            phi,
        };
        let mut single = DVector::<f64>::zeros(count);
        let mut quadratic = DVector::<f64>::zeros(count);
        let mut along = vec![DVector::<f64>::zeros(p); count];
        let mut square = DMatrix::<f64>::zeros(count, count);
        for block in &blocks {
            // P y = V^-1 (y - X b) on the block's rows.
            let residual = &block.y - &block.x * &coefficients;
            let products: Vec<DMatrix<f64>> = block.slopes.iter().map(|v| &block.inverse * v).collect();
            let with_x: Vec<DMatrix<f64>> = block.slopes.iter().map(|v| v * &block.x).collect();
            let moved: Vec<DVector<f64>> = block.slopes.iter().map(|v| v * &residual).collect();
            for i in 0..count {
                single[i] += products[i].trace();
                quadratic[i] += residual.dot(&moved[i]);
                along[i] += block.x.tr_mul(&moved[i]);
                found.p[i] -= block.x.tr_mul(&with_x[i]);
                let weighted_x = &block.inverse * &with_x[i];
                let weighted = &block.inverse * &moved[i];
                for j in 0..count {
                    found.q[j][i] += with_x[j].tr_mul(&weighted_x);
                    square[(j, i)] += moved[j].dot(&weighted);
                    if j <= i {
                        let trace = products[i].component_mul(&products[j].transpose()).sum();
                        found.traces[(i, j)] += trace;
                        if j < i {
                            found.traces[(j, i)] += trace;
                        }
                    }
                }
            }
        }
        let restricted = model.criterion == Likelihood::Reml;
        for i in 0..count {
            let fixed = (&found.phi * &found.p[i]).trace();
            found.gradient[i] = single[i] + if restricted { fixed } else { 0.0 } - quadratic[i];
            for j in 0..count {
                let left = (&found.phi * &found.p[i] * &found.phi).component_mul(&found.p[j].transpose()).sum();
                let trace = found.traces[(i, j)] - 2.0 * (&found.phi * &found.q[i][j]).trace() + left;
                found.restricted[(i, j)] = trace;
                let spread = square[(i, j)] - along[i].dot(&(&found.phi * &along[j]));
                let used = if restricted { trace } else { found.traces[(i, j)] };
                found.hessian[(i, j)] = 2.0 * spread - used;
            }
        }
        Ok(found)
    }
}

fn block(model: &MixedModel, covariance: &Covariance, list: &[Variance], rows: &[usize]) -> Result<RowBlock> {
    let data = &model.data;
    let n = rows.len();
    let mut of_term: Vec<Vec<DMatrix<f64>>> = Vec::new();
    for (index, term) in data.terms.iter().enumerate() {
        // Products of column a at one row with column b at another, summed over levels, kept for a >= b.
        let mut by_level: std::collections::BTreeMap<usize, DMatrix<f64>> = std::collections::BTreeMap::new();
        for (i, row) in rows.iter().enumerate() {
            for entry in data.row(*row).iter().filter(|entry| entry.term == index) {
                let z = by_level.entry(entry.level).or_insert_with(|| DMatrix::zeros(n, term.q));
                data.of(entry).iter().enumerate().for_each(|(k, value)| z[(i, k)] = *value);
            }
        }
        let mut sums = Vec::new();
        for a in 0..term.q {
            for b in 0..=a {
                let mut sum = DMatrix::zeros(n, n);
                for z in by_level.values() {
                    sum.ger(1.0, &z.column(a), &z.column(b), 1.0);
                    if a != b {
                        sum.ger(1.0, &z.column(b), &z.column(a), 1.0);
                    }
                }
                sums.push(sum);
            }
        }
        of_term.push(sums);
    }
    let all = data.known.as_ref();
    let mut v = DMatrix::from_diagonal(&DVector::from_fn(n, |i, _| {
        covariance.sigma.powi(2) + all.map_or(0.0, |known| known[rows[i]])
    }));
    for ((term, factor), sums) in data.terms.iter().zip(&covariance.factors).zip(&of_term) {
        let q = term.q;
        let psi = |a: usize, b: usize| super::by_rows::dot(&factor[a * q..(a + 1) * q], &factor[b * q..(b + 1) * q]);
        for a in 0..q {
            for b in 0..=a {
                let value = psi(a, b);
                if value != 0.0 && !(a != b && term.spread == Spread::Uncorrelated) {
                    v += &sums[triangle(a, b)] * value;
                }
            }
        }
    }
    let inverse = Cholesky::new(v)
        .ok_or_else(|| Error::numeric("the degrees of freedom of a mixed model", "a covariance is singular"))?
        .inverse();
    let slopes = list
        .iter()
        .map(|variance| match variance {
            Variance::Random { term, a, b } => of_term[*term][triangle(*a, *b)].clone(),
            Variance::Residual => DMatrix::identity(n, n),
        })
        .collect();
    let x = DMatrix::from_fn(n, data.p, |i, j| data.x[rows[i] * data.p + j]);
    let y = DVector::from_fn(n, |i, _| data.y[rows[i]]);
    Ok(RowBlock { x: &inverse * x, y: &inverse * y, inverse, slopes })
}

/// Place of (a, b), a at least b, in a lower triangle by rows.
fn triangle(a: usize, b: usize) -> usize {
    a * (a + 1) / 2 + b
}

/// Rows that hang together through the levels they share, in order.
fn components(model: &MixedModel) -> Vec<Vec<usize>> {
    let data = &model.data;
    let mut offset = Vec::new();
    let mut nodes = 0;
    for term in &data.terms {
        offset.push(nodes);
        nodes += term.levels;
    }
    let mut parent: Vec<usize> = (0..nodes).collect();
    fn find(parent: &mut [usize], mut node: usize) -> usize {
        while parent[node] != node {
            parent[node] = parent[parent[node]];
            node = parent[node];
        }
        node
    }
    for row in 0..data.n {
        let mut first = None;
        for entry in data.row(row) {
            let node = find(&mut parent, offset[entry.term] + entry.level);
            match first {
                None => first = Some(node),
                Some(other) => parent[node] = other,
            }
        }
    }
    let mut of_root: Vec<Option<usize>> = vec![None; nodes];
    let mut found: Vec<Vec<usize>> = Vec::new();
    for row in 0..data.n {
        match data.row(row).first() {
            // A row without random effects stands alone.
            None => found.push(vec![row]),
            Some(entry) => {
                let root = find(&mut parent, offset[entry.term] + entry.level);
                match of_root[root] {
                    Some(place) => found[place].push(row),
                    None => {
                        of_root[root] = Some(found.len());
                        found.push(vec![row]);
                    }
                }
            }
        }
    }
    found
}
