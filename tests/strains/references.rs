//! Against published answers.

use heelwort::common::CommonSettings;
use heelwort::kinetics::{Status, Trait};
use heelwort::strains::{StrainSettings, Strains};

use super::{Brewed, season};
use crate::answers::{near, numbers, reference};

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

/// Batches at rest of two strains, so many of them stuck.
fn stuck(of: [(usize, usize); 2]) -> Strains {
    let counts = of.iter().zip(["samphire", "thrift"]);
    let one = |((stuck, n), strain): (&(usize, usize), &'static str)| {
        let stuck = *stuck;
        (0..*n).map(move |i| {
            let status = if i < stuck { Status::Stuck } else { Status::Finished };
            Brewed { status, ..Brewed::new(if strain == "thrift" { 500 } else { 0 } + i, strain, &[]) }
        })
    };
    let (season, kinetics) = season(&counts.flat_map(one).collect::<Vec<_>>());
    let settings =
        StrainSettings { common: CommonSettings { level: 0.95, ..Default::default() }, ..Default::default() };
    settings.run(&season, &kinetics).unwrap()
}

#[test]
fn stuck_shares_are_wilsons_and_fishers() {
    // R. A. Fisher, The Design of Experiments (1935): 3 of 4 cups told right on both sides, two-sided 34/70.
    near(stuck([(3, 4), (1, 4)]).stuck_contrasts[0].p_adjusted, 34.0 / 70.0, 1e-8);
    near(stuck([(4, 4), (0, 4)]).stuck_contrasts[0].p_holm, 2.0 / 70.0, 1e-8);
    // R. G. Newcombe (Stat. Med. 17 (1998) 857), table I, from memory: 15 of 148 at 95 %: 0.0624 to 0.1605.
    let share = stuck([(15, 148), (0, 5)]).stuck[0].share.clone().unwrap();
    assert!((share.lower - 0.0624).abs() < 5e-5 && (share.upper - 0.1605).abs() < 5e-5, "{share}");
    // Newcombe (Stat. Med. 17 (1998) 873), table II, from memory: 56/70 - 48/80: 0.0524 to 0.3339.
    let e = stuck([(56, 70), (48, 80)]).stuck_contrasts[0].difference.clone();
    assert!((e.lower - 0.0524).abs() < 5e-5 && (e.upper - 0.3339).abs() < 5e-5, "{e}");
}

#[test]
fn a_curve_goes_through_the_means_and_its_band_through_their_ends() {
    let times = [(Trait::LagH, 20.0, 1.0), (Trait::MidH, 50.0, 1.0), (Trait::T90H, 90.0, 1.0)];
    let batches: Vec<Brewed> = (0..12)
        .map(|i| {
            let off = [0.98, 1.0, 1.02][i % 3];
            let mut traits = times.map(|(which, hours, se)| (which, off * hours, se)).to_vec();
            traits.push((Trait::Attenuation, 0.75 + 0.02 * (off - 1.0), 1e-4));
            Brewed::new(i, ["thrift", "samphire"][i / 6], &traits)
        })
        .collect();
    let (season, kinetics) = season(&batches);
    let traits = [Trait::Attenuation, Trait::LagH, Trait::MidH, Trait::T90H].to_vec();
    let found = StrainSettings { traits, ..Default::default() }.run(&season, &kinetics).unwrap();
    let mean = |which| found.mean("thrift", which).unwrap().mean.estimate().unwrap();
    let (a, mid, t90) = (mean(Trait::Attenuation), mean(Trait::MidH), mean(Trait::T90H));
    let at = |hours: f64| found.attenuation_at("thrift", hours).unwrap();
    near(at(mid.value).value, 0.5 * a.value, 1e-9);
    near(at(t90.value).value, 0.9 * a.value, 1e-9);
    assert!(at(0.0).value == 0.0 && at(1e4).value > 0.999 * a.value && found.attenuation_at("none", 9.0).is_none());
    // The tangent half-way meets 0 at the lag.
    let slope = (at(mid.value - 1e-4).value - at(mid.value - 2e-4).value) / 1e-4;
    near(mid.value - at(mid.value).value / slope, mean(Trait::LagH).value, 1e-3);
    // Where attenuation is all but known, the band is as wide as the times' intervals.
    assert!((at(mid.lower).upper / (0.5 * a.value) - 1.0).abs() < 0.01, "{} of {}", at(mid.lower), 0.5 * a.value);
    assert!((at(t90.upper).lower / (0.9 * a.value) - 1.0).abs() < 0.01);
    assert!((found.correlation.unwrap() - 1.0).abs() < 0.01);
}

/// What the notebook of strains says, in its words.
fn notebook() -> heelwort::Result<()> {
    use heelwort::season::Season;
    use heelwort::show::Table;
    use heelwort::study::Settings;

    let season = Season::load("../datasets/tern-island")?;
    let study = Settings::default().study(season.clone())?;
    let kinetics = study.kinetics()?.clone();
    let settings = StrainSettings { traits: vec![Trait::Attenuation, Trait::T90H], ..Default::default() };
    let strains = settings.run(&season, &kinetics)?;
    println!("{}", strains.sentences(&[Trait::Attenuation, Trait::T90H]).join("\n"));
    strains.chart()?;
    study.strains()?.curve_chart()?;
    strains.pair_of_traits_chart()?;
    strains.contrast_chart()?;
    strains.power_chart()?;
    let house = StrainSettings { house: Some("sea-lavender".to_owned()), ..settings }.run(&season, &kinetics)?;
    let columns = ["trait", "a", "b", "difference", "house_lower", "house_upper", "p_house"];
    Table::new(house.contrasts_frame()?).titled("From the house yeast").columns(&columns)?.limit(15).evcxr_display();
    Table::new(strains.repeatability_frame()?)
        .titled("Spread between batches")
        .columns(&["trait", "strain", "n", "sd", "lower", "upper"])?
        .limit(14)
        .evcxr_display();
    Table::new(strains.power_frame()?).titled("Open pairs").limit(15).evcxr_display();
    Ok(())
}

#[test]
fn the_notebook_compiles() {
    let _: fn() -> heelwort::Result<()> = notebook;
}
