//! How many more batches would settle a pair.

use super::PairNow;

#[test]
fn sixteen_over_the_square_of_the_effect() {
    // R. Lehr (Stat. Med. 11 (1992) 1099): 16/d^2 batches each for 80 % power at 5 %, two-sided; here d = 1/2, so 64.
    let now = PairNow { n: (4, 4), se: (2.0_f64 / 4.0).sqrt(), df: f64::INFINITY, factor: 1.96 };
    let more = now.more_of_each(0.5).unwrap().unwrap();
    assert!((62..=64).contains(&(4 + more)), "{more}");
    assert!(now.more_of_each(1e-3).unwrap().is_none());
    // The difference that is found after so many has the power that is asked for.
    assert!((now.power(now.found(12).unwrap(), 12).unwrap() - 0.8).abs() < 1e-3);
    // Six degrees of freedom become 126 with 60 more: Student's factor of one pair at 5 % falls from 2.447 to 1.979.
    let few = PairNow { df: 6.0, factor: 2.446_912, ..now };
    assert!((63..=66).contains(&(4 + few.more_of_each(0.5).unwrap().unwrap())));
}
