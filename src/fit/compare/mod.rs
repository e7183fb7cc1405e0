//! Differences that are compared all at once, and pooled estimates.

pub(crate) mod max_t;
pub(crate) mod pool;

/// Holm's step-down p-values (S. Holm, Scand. J. Stat. 6 (1979) 65), in the order given: no p-value below them is
/// claimed wrongly with more than that probability, whatever the dependence.
pub fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<(usize, f64)> = p.iter().copied().enumerate().collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut adjusted = p.to_vec();
    let mut most: f64 = 0.0;
    for (rank, (place, value)) in order.into_iter().enumerate() {
        most = most.max(((p.len() - rank) as f64 * value).min(1.0));
        if let Some(cell) = adjusted.get_mut(place) {
            *cell = most;
        }
    }
    adjusted
}
