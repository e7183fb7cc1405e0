//! Numbers and times in sentences.

pub(super) use crate::chart::{minute, percent, signed};
pub(super) use crate::season::{capital, some};

/// `1 batch`, `2 batches`.
pub(super) fn count(n: usize, one: &str, many: &str) -> String {
    format!("{} {}", grouped(n), if n == 1 { one } else { many })
}

/// A whole number with thin gaps between thousands: `61 246`.
pub(super) fn grouped(n: usize) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) && digits.len() > 4 {
            out.push('\u{a0}');
        }
        out.push(digit);
    }
    out
}

/// Names in a sentence: `a`, `a and b`, `a, b and c`.
pub(super) fn list<S: AsRef<str>>(names: &[S]) -> String {
    some(names, usize::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!(grouped(1234), "1234");
        assert_eq!(grouped(1_234_567), "1\u{a0}234\u{a0}567");
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
        assert_eq!(some(&["a", "b", "c", "d"], 2), "a, b and 2 more");
    }
}
