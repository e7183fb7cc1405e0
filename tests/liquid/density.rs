use crate::liquid::{
    ethanol_density_kg_m3, plato_from_sg, sg_from_plato, sucrose_bath_density_kg_m3, sucrose_density_kg_m3,
    water_density_kg_m3,
};

use super::{number, table};

fn close(got: f64, wanted: f64, tolerance: f64, what: &str) {
    assert!((got - wanted).abs() <= tolerance, "{what}: {got}, wanted {wanted} within {tolerance}");
}

#[test]
fn water_is_that_of_three_sources() {
    for row in table("water_density") {
        let t = number(&row, "t90_C").unwrap();
        let got = water_density_kg_m3(t).unwrap();
        for (column, tolerance) in
            [("rho_tanaka2001_kg_m3", 1e-6), ("rho_iapws95_kg_m3", 0.002), ("rho_bettin_spieweck1990_kg_m3", 0.005)]
        {
            close(got, number(&row, column).unwrap(), tolerance, &format!("{column} at {t} C"));
        }
    }
}

#[test]
fn sucrose_solutions_are_those_of_the_standard() {
    for row in table("sugar_density") {
        let (w, t) = (number(&row, "sucrose_mass_percent").unwrap() / 100.0, number(&row, "t_C").unwrap());
        let wanted = number(&row, "rho_icumsa_kg_m3").unwrap();
        close(sucrose_density_kg_m3(w, t).unwrap(), wanted, 1e-6, &format!("{w} at {t} C"));
        let sg = sg_from_plato(100.0 * w).unwrap();
        // The bath is scaled to another formula for water, 3.5e-6 higher.
        close(sucrose_bath_density_kg_m3(sg, t).unwrap(), wanted, 0.006, &format!("bath of {sg} at {t} C"));
    }
}

#[test]
fn the_extract_scale_is_that_of_the_tables() {
    for row in table("sugar_density_20C") {
        let plato = number(&row, "sucrose_mass_percent").unwrap();
        let sg = number(&row, "sg_20_20_vacuum").unwrap();
        close(sg_from_plato(plato).unwrap(), sg, 1e-8, "SG");
        close(plato_from_sg(sg).unwrap(), plato, 3e-6, "extract");
        close(number(&row, "plato_cubic_of_sg_in_air").unwrap(), plato, 0.02, "the cubic of the brewing tables");
        if let Some(handbook) = number(&row, "rho20_crc_kg_m3") {
            close(sucrose_density_kg_m3(plato / 100.0, 20.0).unwrap(), handbook, 0.08, "CRC");
        }
    }
    for row in table("sugar_nbs_c440_excerpt") {
        let sg = sg_from_plato(number(&row, "brix_percent").unwrap()).unwrap();
        // Printed as a ratio of weights in air of 1.2 kg/m3.
        let in_air = 1.0 + (sg - 1.0) / (1.0 - 1.2 / 998.2067);
        close(in_air, number(&row, "printed").unwrap(), 3e-5, "NBS C440");
    }
}

#[test]
fn wort_of_12_plato_expands_as_the_standard_says() {
    let at = |t| sucrose_density_kg_m3(0.12, t).unwrap();
    for (t, rise) in [(5.0, 2.794), (10.0, 2.141), (15.0, 1.198), (25.0, -1.425), (30.0, -3.056)] {
        close(at(t) - at(20.0), rise, 6e-4, &format!("{t} C"));
    }
}

#[test]
fn ethanol_is_that_of_the_standard_and_of_a_handbook() {
    for row in table("ethanol_density") {
        let (p, t) = (number(&row, "ethanol_mass_fraction").unwrap(), number(&row, "t_C").unwrap());
        close(ethanol_density_kg_m3(p, t).unwrap(), number(&row, "rho_oiml_kg_m3").unwrap(), 1e-6, "OIML R 22");
    }
    for row in table("ethanol_perry_20C") {
        let p = number(&row, "ethanol_mass_percent").unwrap() / 100.0;
        let wanted = 999.972 * number(&row, "perry_g_ml").unwrap();
        close(ethanol_density_kg_m3(p, 20.0).unwrap(), wanted, 0.06, "Perry");
    }
    for row in table("ethanol_strength_20C") {
        let by_mass = number(&row, "abw_percent_mass").unwrap();
        let density = ethanol_density_kg_m3(by_mass / 100.0, 20.0).unwrap();
        close(density, number(&row, "rho20_kg_m3").unwrap(), 1e-6, "density of a strength");
        close(by_mass * density / 789.239_123, number(&row, "abv_percent_vol_20C").unwrap(), 1e-4, "strength");
    }
}
