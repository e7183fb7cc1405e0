//! Sums of products over the rows, in blocks.

use super::scaled::ScaledData;
use crate::{Error, Result};

/// More columns than this in the dense part would take minutes and gigabytes.
const MOST_DENSE: usize = 6000;

/// One level of a grouping that stands in the dense part.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dense {
    pub term: usize,
    /// Its first column there.
    pub offset: usize,
}

/// Products `[Z X y]' W [Z X y]`, W the reciprocal variances of the rows.
///
/// One grouping, the one with most levels, has a block-diagonal part of its own: a row has one level of it. What remains, the
/// other groupings, X and y, is the dense part, joined to each level by what its rows touch.
#[derive(Debug, Clone)]
pub(super) struct Cross {
    /// The grouping with the block-diagonal part.
    pub main: Option<usize>,
    /// By level, q x q.
    pub gram: Vec<f64>,
    /// By level, q x (p + 1), X and y.
    pub fixed: Vec<f64>,
    /// By level, the levels of other groupings that share rows with it, q x q' each, in order of their offset.
    pub links: Vec<Vec<(usize, Vec<f64>)>>,
    /// Levels of the other groupings.
    pub dense: Vec<Dense>,
    /// Columns of the dense part that belong to them.
    pub random: usize,
    /// Columns of the dense part: those, then X, then y.
    pub width: usize,
    /// The dense part, width x width.
    pub border: Vec<f64>,
}

impl Cross {
    /// The sums for rows weighted by the reciprocals of `variances`, or all alike.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] when too many crossed levels would stand in the dense part.
    pub fn new(data: &ScaledData, variances: Option<&[f64]>) -> Result<Self> {
        let main = main_term(data);
        let mut dense = Vec::new();
        let mut dense_of: Vec<Vec<usize>> = Vec::with_capacity(data.terms.len());
        let mut random = 0;
        for (index, term) in data.terms.iter().enumerate() {
            let mut places = Vec::new();
            if Some(index) != main {
                for _ in 0..term.levels {
                    places.push(dense.len());
                    dense.push(Dense { term: index, offset: random });
                    random += term.q;
                }
            }
            dense_of.push(places);
        }
        let width = random + data.p + 1;
        if width > MOST_DENSE {
            let why = format!("{random} crossed random effects; {MOST_DENSE} is the most that dense arithmetic takes");
            return Err(Error::not_estimable("a mixed model", why));
        }
        let (q, levels) = main.map_or((0, 0), |t| (data.terms[t].q, data.terms[t].levels));
        let wide = data.p + 1;
        let mut cross = Self {
            main,
            gram: vec![0.0; levels * q * q],
            fixed: vec![0.0; levels * q * wide],
            links: vec![Vec::new(); levels],
            dense,
            random,
            width,
            border: vec![0.0; width * width],
        };
        let mut row_border: Vec<(usize, f64)> = Vec::new();
        let mut row_fixed = vec![0.0; wide];
        for row in 0..data.n {
            let weight = variances.map_or(1.0, |v| 1.0 / v[row]);
            row_fixed[..data.p].copy_from_slice(&data.x[row * data.p..(row + 1) * data.p]);
            row_fixed[data.p] = data.y[row];
            row_border.clear();
            for entry in data.row(row).iter().filter(|e| Some(e.term) != main) {
                let offset = cross.dense[dense_of[entry.term][entry.level]].offset;
                row_border.extend(data.of(entry).iter().enumerate().map(|(i, z)| (offset + i, *z)));
            }
            if let Some(own) = data.row(row).iter().find(|e| Some(e.term) == main) {
                let z = data.of(own);
                let gram = &mut cross.gram[own.level * q * q..(own.level + 1) * q * q];
                let fixed = &mut cross.fixed[own.level * q * wide..(own.level + 1) * q * wide];
                for (i, a) in z.iter().enumerate() {
                    let a = a * weight;
                    gram[i * q..(i + 1) * q].iter_mut().zip(z).for_each(|(cell, b)| *cell += a * b);
                    fixed[i * wide..(i + 1) * wide].iter_mut().zip(&row_fixed).for_each(|(cell, b)| *cell += a * b);
                }
                for entry in data.row(row).iter().filter(|e| Some(e.term) != main) {
                    let place = dense_of[entry.term][entry.level];
                    add_link(&mut cross.links[own.level], place, z, data.of(entry), weight);
                }
            }
            row_border.extend(row_fixed.iter().enumerate().map(|(j, x)| (random + j, *x)));
            // Columns rise along a row, each once: one half, the other is its mirror.
            for (k, (i, a)) in row_border.iter().enumerate() {
                let a = a * weight;
                for (j, b) in &row_border[k..] {
                    cross.border[i * width + j] += a * b;
                }
            }
        }
        for i in 0..width {
            for j in 0..i {
                cross.border[i * width + j] = cross.border[j * width + i];
            }
        }
        cross.links.iter_mut().for_each(|links| links.sort_by_key(|(place, _)| *place));
        Ok(cross)
    }
}

fn add_link(links: &mut Vec<(usize, Vec<f64>)>, place: usize, own: &[f64], other: &[f64], weight: f64) {
    let at = links.iter().position(|(known, _)| *known == place).unwrap_or_else(|| {
        links.push((place, vec![0.0; own.len() * other.len()]));
        links.len() - 1
    });
    let cells = &mut links[at].1;
    for (i, a) in own.iter().enumerate() {
        for (j, b) in other.iter().enumerate() {
            cells[i * other.len() + j] += weight * a * b;
        }
    }
}

/// The grouping with most levels of those of which no row has two.
fn main_term(data: &ScaledData) -> Option<usize> {
    let single =
        |term: usize| (0..data.n).all(|row| data.row(row).iter().filter(|entry| entry.term == term).count() <= 1);
    let mut order: Vec<usize> = (0..data.terms.len()).collect();
    order.sort_by_key(|term| std::cmp::Reverse(data.terms[*term].levels));
    order.into_iter().find(|term| single(*term))
}
