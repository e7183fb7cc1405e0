//! Cutting lines at a frame.

type Xy = (f64, f64);

/// The parts of a polyline inside a rectangle, each a run of points; a point that is not finite breaks the line.
///
/// Each segment is cut by the method of Liang and Barsky (1984, from memory).
pub(super) fn runs(points: &[Xy], x: (f64, f64), y: (f64, f64)) -> Vec<Vec<Xy>> {
    let mut runs: Vec<Vec<Xy>> = Vec::new();
    for (a, b) in points.iter().zip(points.iter().skip(1)) {
        let Some((from, to)) = segment(*a, *b, x, y) else { continue };
        match runs.last_mut() {
            Some(run) if run.last() == Some(&from) => run.push(to),
            _ => runs.push(vec![from, to]),
        }
    }
    runs
}

fn segment(a: Xy, b: Xy, x: (f64, f64), y: (f64, f64)) -> Option<(Xy, Xy)> {
    if ![a.0, a.1, b.0, b.1].iter().all(|v| v.is_finite()) {
        return None;
    }
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let (mut enter, mut leave) = (0.0f64, 1.0f64);
    for (p, q) in [(-dx, a.0 - x.0), (dx, x.1 - a.0), (-dy, a.1 - y.0), (dy, y.1 - a.1)] {
        if p == 0.0 {
            if q < 0.0 {
                return None;
            }
        } else if p < 0.0 {
            enter = enter.max(q / p);
        } else {
            leave = leave.min(q / p);
        }
    }
    if enter > leave {
        return None;
    }
    let at = |t: f64| (a.0 + t * dx, a.1 + t * dy);
    Some((if enter > 0.0 { at(enter) } else { a }, if leave < 1.0 { at(leave) } else { b }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_cut_where_it_leaves_and_comes_back() {
        let line = [(0.0, 0.5), (1.0, 2.5), (2.0, 0.5), (3.0, f64::NAN), (4.0, 0.5), (5.0, 0.5)];
        let parts = runs(&line, (0.0, 4.5), (0.0, 1.0));
        assert_eq!(
            parts,
            vec![vec![(0.0, 0.5), (0.25, 1.0)], vec![(1.75, 1.0), (2.0, 0.5)], vec![(4.0, 0.5), (4.5, 0.5)]]
        );
    }

    #[test]
    fn a_line_outside_leaves_nothing() {
        assert!(runs(&[(0.0, 2.0), (1.0, 2.0)], (0.0, 1.0), (0.0, 1.0)).is_empty());
    }
}
