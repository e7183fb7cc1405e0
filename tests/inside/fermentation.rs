//! The simulated fermentation against what is known of fermentations.

use super::*;
use crate::liquid::{abv_percent, real_extract_plato};
use crate::simulate::brew::Brew;
use crate::simulate::strain::STRAINS;

impl Fermentation {
    /// Suspended yeast at an hour, g per 100 g of wort.
    fn suspended_at(&self, hours: f64) -> f64 {
        self.between(hours, |i| self.moment(i, |m| m.state.active))
    }

    /// Sugars at an hour: glucose, maltose, usable maltotriose, g per 100 g of wort.
    fn sugars_at(&self, hours: f64) -> [f64; 3] {
        std::array::from_fn(|j| self.between(hours, |i| self.moment(i, |m| m.state.sugars[j])))
    }
}

fn runs() -> impl Iterator<Item = (Brew, Fermentation, Traits)> {
    STRAINS.into_iter().flat_map(|strain| {
        let temps: &[f64] = if strain.lager { &[10.0, 12.0, 15.0, 18.0] } else { &[17.0, 19.0, 22.0, 25.0] };
        temps.iter().map(move |&temp_c| {
            let mut brew = Brew::standard(strain).unwrap();
            brew.regime.set_temp_c = temp_c;
            brew.regime.pitch_temp_c = temp_c;
            brew.regime.room_c = temp_c - 1.0;
            let run = brew.ferment();
            let traits = run.traits().unwrap();
            (brew, run, traits)
        })
    })
}

#[test]
fn every_strain_comes_to_rest_in_days_at_10_to_25_c() {
    for (brew, _, traits) in runs() {
        let what = format!("{} {:.0} C {traits:?}", brew.strain.name, brew.regime.set_temp_c);
        assert!((2.0..16.0).contains(&(traits.finish_h / 24.0)), "{what}");
        assert!((5.0..45.0).contains(&traits.lag_h), "{what}");
        assert!((1.006..1.018).contains(&traits.terminal_sg), "{what}");
        assert!(traits.terminal_sg - traits.limit_sg < STUCK_SG, "{what}");
        assert!((0.004..0.030).contains(&traits.max_rate_sg_per_day), "{what}");
        assert!(traits.lag_h < traits.mid_h && traits.mid_h < traits.t90_h && traits.t90_h < traits.finish_h);
    }
}

#[test]
fn sugars_are_taken_up_in_order() {
    for (brew, run, _) in runs() {
        let start = run.sugars_at(0.0);
        let half: Vec<f64> = (0..3)
            .map(|i| {
                let at = (0..2000).map(|h| f64::from(h) * 0.5).find(|&h| run.sugars_at(h)[i] < 0.5 * start[i]);
                at.unwrap_or_else(|| {
                    panic!("{} at {} C: {:?} left", brew.strain.name, brew.regime.set_temp_c, run.sugars_at(1e4))
                })
            })
            .collect();
        assert!(half[0] < half[1] && half[1] < half[2], "{} {half:?}", brew.strain.name);
    }
}

#[test]
fn what_is_fermented_is_what_the_sugars_lost_and_gives_balling_s_alcohol() {
    for (brew, run, traits) in runs() {
        let end = run.end_h();
        let lost: f64 = run.sugars_at(0.0).iter().sum::<f64>() - run.sugars_at(end).iter().sum::<f64>();
        assert!((lost - run.fermented_at(end)).abs() < 1e-6, "{} {lost}", brew.strain.name);
        let (extract, _) = run.wort.percents(run.fermented_at(end));
        let balling = real_extract_plato(traits.original_sg, traits.terminal_sg).unwrap();
        assert!((extract - balling).abs() < 0.1, "{extract} {balling}");
        let volume = abv_percent(traits.original_sg, traits.terminal_sg).unwrap();
        assert!((traits.abv_percent - volume).abs() < 0.1, "{} {volume}", traits.abv_percent);
    }
}

#[test]
fn warmth_hastens_and_gravity_never_rises() {
    let all: Vec<_> = runs().collect();
    for pair in all.chunks(4).flat_map(|strain| strain.windows(2)) {
        assert!(pair[1].2.mid_h < pair[0].2.mid_h, "{}", pair[0].0.strain.name);
    }
    for (_, run, _) in all {
        assert!(run.sg.windows(2).all(|pair| pair[1] <= pair[0]));
    }
}

#[test]
fn cold_stops_it_and_drops_the_yeast() {
    let (brew, run, traits) = runs().next().unwrap();
    let at = traits.mid_h.ceil();
    let cold = run.cooled(&brew.yeast, &brew.regime, Some((at, 3.0)), at + 96.0);
    assert!(cold.temp_at(at + 90.0) < 3.5);
    assert!(cold.sg_at(at + 96.0) > traits.terminal_sg + 0.005);
    assert!(cold.suspended_at(at + 96.0) < 0.05 * cold.suspended_at(at));
    assert!((cold.sg_at(at) - run.sg_at(at)).abs() < 1e-12);
}

#[test]
fn half_the_step_gives_the_same_curve() {
    let brew = Brew::standard(STRAINS[0]).unwrap();
    let mut whole = State::pitched(brew.wort.sugars, brew.pitched_g_per_100g);
    let mut halves = whole;
    for _ in 0..500 {
        whole = brew.yeast.step(&whole, 20.0, STEP_H).0;
        halves = brew.yeast.step(&brew.yeast.step(&halves, 20.0, STEP_H / 2.0).0, 20.0, STEP_H / 2.0).0;
        assert!((whole.fermented - halves.fermented).abs() < 1e-7);
    }
}

#[test]
fn yeast_that_drops_early_leaves_the_batch_stuck() {
    let mut brew = Brew::standard(STRAINS[0]).unwrap();
    brew.yeast.drops_at = Some(0.75 * brew.wort.fermentable());
    let traits = brew.ferment().traits().unwrap();
    assert!(traits.terminal_sg - traits.limit_sg > STUCK_SG, "{traits:?}");
    assert!(traits.finish_h / 24.0 < 14.0, "{traits:?}");
}
