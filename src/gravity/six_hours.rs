//! Readings in stretches of six hours.

/// Length of a stretch, hours.
pub(super) const SIX_HOURS: f64 = 6.0;

/// The readings of each six hours from pitching that have any, with the number of the stretch; the readings stand in order
/// of time.
pub(super) fn six_hours<T>(readings: &[T], hours: impl Fn(&T) -> f64) -> impl Iterator<Item = (i64, &[T])> {
    let number = move |reading: &T| (hours(reading) / SIX_HOURS).floor() as i64;
    let mut rest = readings;
    std::iter::from_fn(move || {
        let first = number(rest.first()?);
        let end = rest.iter().position(|reading| number(reading) != first).unwrap_or(rest.len());
        let (stretch, others) = rest.split_at_checked(end)?;
        rest = others;
        Some((first, stretch))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_stand_with_those_of_their_six_hours() {
        let hours = [-0.5, 0.0, 5.9, 6.0, 19.0];
        let found: Vec<(i64, &[f64])> = six_hours(&hours, |h| *h).collect();
        assert_eq!(found, [(-1, &hours[..1]), (0, &hours[1..3]), (1, &hours[3..4]), (3, &hours[4..])]);
    }
}
