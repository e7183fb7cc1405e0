use crate::liquid::attenuation::alcohol_mass_percent;
use crate::liquid::{abv_percent, extract_attenuation, real_extract_plato, sg_from_plato};

use super::{number, table};

#[test]
fn extract_and_alcohol_are_those_of_balling_and_tabarie() {
    for row in table("attenuation") {
        let of = |column| number(&row, column);
        let og = sg_from_plato(of("original_extract_P").unwrap()).unwrap();
        let sg = sg_from_plato(of("apparent_extract_P").unwrap()).unwrap();
        for (got, column) in [
            (real_extract_plato(og, sg).unwrap(), "real_extract_tabarie20_P"),
            (alcohol_mass_percent(og, sg).unwrap(), "alcohol_mass_pct_tabarie20"),
            (abv_percent(og, sg).unwrap(), "abv_pct_tabarie20"),
            (100.0 * extract_attenuation(og, sg).unwrap(), "apparent_attenuation_pct"),
        ] {
            // An abv is left empty where nothing is fermented; the others have six digits.
            let wanted = of(column).unwrap_or(0.0);
            assert!((got - wanted).abs() <= 1e-5 * wanted.abs() + 1e-6, "{column}: {got}, wanted {wanted} in {row:?}");
        }
        let quotient = of("real_extract_q8192_P").unwrap();
        let real = real_extract_plato(og, sg).unwrap();
        assert!((real - quotient).abs() < 0.25, "the quotient formula is near: {quotient}, {real}");
    }
}

#[test]
fn measured_beers_of_1911_are_met() {
    let mut errors = Vec::new();
    for row in table("attenuation_usda1917") {
        let (og, sg) = (number(&row, "wort_sg").unwrap(), number(&row, "beer_sg").unwrap());
        let error = alcohol_mass_percent(og, sg).unwrap() - number(&row, "alcohol_mass_pct_measured").unwrap();
        assert!(error.abs() < 0.45, "{error} in {row:?}");
        errors.push(error);
    }
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    assert!(mean.abs() < 0.2, "{mean}");
}

#[test]
fn the_means_of_532_brews_are_met() {
    for row in table("attenuation_cutaia2009_means") {
        let of = |column| number(&row, column).unwrap();
        let (oe, ae) = (of("mean_original_extract_P"), of("mean_apparent_extract_P"));
        let (og, sg) = (sg_from_plato(oe).unwrap(), sg_from_plato(ae).unwrap());
        let real = real_extract_plato(og, sg).unwrap();
        let quotient = (oe - real) / (oe - ae);
        assert!((quotient - of("derived_q")).abs() < 0.02, "{quotient} in {row:?}");
        // Their Table VI: A = (0.372 + 0.00357 OE)(OE - AE), 0.010 the standard deviation of the factor.
        let factor = alcohol_mass_percent(og, sg).unwrap() / (oe - ae);
        assert!((factor - (0.372 + 0.00357 * oe)).abs() < 0.02, "{factor} in {row:?}");
    }
}
