//! Against published answers.

use heelwort::kinetics::Trait;
use heelwort::strains::StrainSettings;

use super::{Brewed, season};
use crate::fit::{near, numbers, reference};

/// With errors of the fits that are next to nothing and no conditions the comparison is one way of variance analysis.
#[test]
fn without_conditions_it_is_tukey_kramer_and_dunnett() {
    let plants = reference("plant_growth.json");
    let groups: Vec<String> =
        plants["group"].as_array().unwrap().iter().map(|g| g.as_str().unwrap().to_owned()).collect();
    let weights = numbers(&plants["weight"]);
    let rows = groups.iter().zip(&weights).enumerate();
    // A weight as an attenuation; the unit is nothing to the comparison.
    let batches: Vec<Brewed> =
        rows.map(|(i, (group, weight))| Brewed::new(i, group, &[(Trait::Attenuation, *weight, 1e-5)])).collect();
    let (season, kinetics) = season(&batches);
    let settings =
        StrainSettings { traits: vec![Trait::Attenuation], house: Some("ctrl".into()), ..Default::default() };
    let found = settings.run(&season, &kinetics).unwrap();
    let quantiles = reference("simultaneous_quantiles.json");
    let tukey = &quantiles["tukey_kramer"][0];
    for (i, pair) in tukey["pairs"].as_array().unwrap().iter().enumerate() {
        let (b, a) = pair.as_str().unwrap().split_once('-').unwrap();
        let contrast = found.contrasts.iter().find(|c| c.a == a && c.b == b).unwrap();
        let e = contrast.difference.estimate().unwrap();
        near(-e.value, numbers(&tukey["diff"])[i], 1e-9);
        near(e.se, numbers(&tukey["se"])[i], 1e-6);
        near(-e.upper, numbers(&tukey["lower"])[i], 1e-4);
        near(-e.lower, numbers(&tukey["upper"])[i], 1e-4);
        near(contrast.p_adjusted.unwrap(), numbers(&tukey["p_adj"])[i], 1e-3);
    }
    let dunnett = &quantiles["dunnett"][0];
    for (i, other) in ["trt1", "trt2"].iter().enumerate() {
        let contrast = found.contrasts.iter().find(|c| c.a == "ctrl" && c.b == *other).unwrap();
        let house = contrast.house.as_ref().unwrap();
        near(-house.difference.upper, numbers(&dunnett["ci95_lower"])[i], 1e-4);
        near(-house.difference.lower, numbers(&dunnett["ci95_upper"])[i], 1e-4);
        near(house.p, numbers(&dunnett["p_two_sided"])[i], 1e-3);
    }
    // A. Dobson's plants spread by 0.6234 within groups (the root of the mean square 0.3886).
    near(found.spreads[0].sd.value().unwrap(), 0.388_595_925_925_925_96_f64.sqrt(), 1e-6);
}
