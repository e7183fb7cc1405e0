//! Fewer points for a picture: a page must not carry every reading.

use crate::fit::robust::median_of;

/// Medians of x and y in at most `bins` equal stretches of x; pairs that are not finite are left out.
pub(super) fn medians(points: impl IntoIterator<Item = (f64, f64)>, bins: usize) -> Vec<(f64, f64)> {
    let mut points: Vec<(f64, f64)> = points.into_iter().filter(|(x, y)| x.is_finite() && y.is_finite()).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(first), Some(last)) = (points.first().map(|p| p.0), points.last().map(|p| p.0)) else {
        return Vec::new();
    };
    if points.len() <= bins || last <= first {
        return points;
    }
    let bin = |x: f64| ((x - first) / (last - first) * bins as f64) as usize;
    points
        .chunk_by(|a, b| bin(a.0) == bin(b.0))
        .filter_map(|chunk| {
            let mut ys: Vec<f64> = chunk.iter().map(|p| p.1).collect();
            Some((chunk.iter().map(|p| p.0).sum::<f64>() / chunk.len() as f64, median_of(&mut ys)?))
        })
        .collect()
}

/// Runs of points without a gap wider than `gap` in x.
pub(super) fn without_gaps(points: &[(f64, f64)], gap: f64) -> impl Iterator<Item = &[(f64, f64)]> {
    points.chunk_by(move |a, b| b.0 - a.0 <= gap)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn medians_stand_for_their_neighbours_and_ignore_a_wild_one() {
        let points = (0..1000).map(|i| (f64::from(i), if i == 500 { 1e9 } else { 1.0 }));
        let thin = medians(points, 10);
        assert!(thin.len() <= 11 && thin.iter().all(|p| p.1 == 1.0), "{thin:?}");
        assert_eq!(medians([(1.0, 2.0), (0.0, f64::NAN), (0.5, 3.0)], 10), [(0.5, 3.0), (1.0, 2.0)]);
        assert!(medians([], 10).is_empty());
    }

    #[test]
    fn a_gap_is_not_bridged() {
        let points = [(0.0, 1.0), (1.0, 1.0), (9.0, 1.0)];
        assert_eq!(without_gaps(&points, 2.0).map(<[_]>::len).collect::<Vec<_>>(), [2, 1]);
    }
}
