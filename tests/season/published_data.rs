//! Published fermentations of others, converted into seasons of hand samples.
//!
//! `datasets/published/` keeps the data as published (`source/`, `SOURCE.md`, `LICENSE.txt`) beside the seasons made
//! from them here. What was measured is sugar and ethanol in g/L; gravity was not. [`mixture_sg`] computes it, so each
//! reference has the method `computed` and its concentrations in the note, and stands for the *shape* of a
//! fermentation, not for a check of gravity. The moments of pitching are invented.

use std::path::Path;

use heelwort::season::{Batch, Reference, Season};
use heelwort::{Instant, Result, liquid};

/// The most ethanol that fermentation can make from hexose, g/g: two molecules of ethanol (46.068 g/mol) from one of
/// hexose (180.156 g/mol).
pub const MOST_ETHANOL_G_G: f64 = 2.0 * 46.068 / 180.156;
/// Relative error taken for each concentration; usual for chromatography of diluted samples (from memory, no source).
const CONCENTRATION_SD: f64 = 0.03;
/// Error of a computed SG that is left when there is neither sugar nor ethanol: what was not measured.
const OTHER_SD_SG: f64 = 0.0003;
/// Temperature at which concentrations by volume are taken to hold, C.
const TEMP_C: f64 = 20.0;

/// A published set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Published {
    /// Ten batches of agave must and three tubes, one yeast (Valle and others, 2024 and 2026).
    AgaveMust,
    /// One batch on glucose and xylose, sampled 34 times (Cabaneros Lopez and others, 2019).
    EthanolHplc,
}

/// Sugar and ethanol of one sample.
#[derive(Debug, Clone, PartialEq)]
struct Sample {
    batch: String,
    hours: f64,
    /// Each sugar with its name, g/L.
    sugars: Vec<(&'static str, f64)>,
    ethanol_g_l: f64,
}

impl Sample {
    fn sugar_g_l(&self) -> f64 {
        self.sugars.iter().map(|(_, g_l)| g_l).sum()
    }
}

/// What a batch made of its sugar.
#[derive(Debug, Clone, PartialEq)]
pub struct MassBalance {
    /// The batch.
    pub batch: String,
    /// Sugar in the first sample, g/L.
    pub sugar_g_l: f64,
    /// Mean ethanol of the last samples (three of a batch, four of a tube), g/L.
    pub ethanol_g_l: f64,
    /// Ethanol per sugar, g/g.
    pub ethanol_per_sugar: f64,
}

impl MassBalance {
    /// False when there is more ethanol than [`MOST_ETHANOL_G_G`] allows, so that a reading must be off.
    pub fn is_possible(&self) -> bool {
        self.ethanol_per_sugar <= MOST_ETHANOL_G_G
    }
}

/// SG 20/20 of water with sugar, all of it taken as sucrose, and ethanol, both in g/L at 20 C.
///
/// As in `liquid`'s model of beer (Tabarie), the excesses of both over water add up:
/// `SG = SG_sucrose(S / rho) + SG_ethanol(E / rho) - 1` with the mixture's own density `rho = SG rho_w` making mass
/// fractions of concentrations, solved by repetition.
///
/// # Errors
/// `Error::Domain` for a negative concentration or one beyond the formulas of `liquid`.
pub fn mixture_sg(sugar_g_l: f64, ethanol_g_l: f64) -> Result<f64> {
    let water = liquid::water_density_kg_m3(TEMP_C)?;
    // Each formula against its own water, so that nothing dissolved is SG 1 exactly.
    let no_sugar = liquid::sucrose_density_kg_m3(0.0, TEMP_C)?;
    let no_ethanol = liquid::ethanol_density_kg_m3(0.0, TEMP_C)?;
    let mut sg = 1.0;
    // Each round brings SG nearer by a factor of the mass fraction: four digits after the first already.
    for _ in 0..20 {
        let density = sg * water;
        let sugar = liquid::sucrose_density_kg_m3(sugar_g_l / density, TEMP_C)? / no_sugar;
        let ethanol = liquid::ethanol_density_kg_m3(ethanol_g_l / density, TEMP_C)? / no_ethanol;
        sg = sugar + ethanol - 1.0;
    }
    Ok(sg)
}

/// Standard deviation of a computed SG: an error of 3 % in each concentration, carried through [`mixture_sg`].
fn mixture_sd(sample: &Sample) -> f64 {
    let (sugar, ethanol) = (sample.sugar_g_l(), sample.ethanol_g_l);
    let sg = mixture_sg(sugar, ethanol).unwrap();
    let by_sugar = mixture_sg(sugar * (1.0 + CONCENTRATION_SD), ethanol).unwrap() - sg;
    let by_ethanol = mixture_sg(sugar, ethanol * (1.0 + CONCENTRATION_SD)).unwrap() - sg;
    (by_sugar.powi(2) + by_ethanol.powi(2) + OTHER_SD_SG.powi(2)).sqrt()
}

impl Published {
    /// Every set.
    pub const ALL: [Self; 2] = [Self::AgaveMust, Self::EthanolHplc];

    /// The folder of the set in `datasets/published`.
    pub const fn folder(self) -> &'static str {
        match self {
            Self::AgaveMust => "agave-must-fermentation",
            Self::EthanolHplc => "ethanol-fermentation-hplc",
        }
    }

    /// Converts the data in `source`, as published, into a season of hand samples.
    ///
    /// Batches are pitched on days of 2031 that we made up, three days apart, and end with their last sample. A batch
    /// whose mass balance is impossible says so in its note.
    pub fn convert(self, source: impl AsRef<Path>) -> Season {
        let samples = self.samples(source.as_ref());
        let mut season = Season::default();
        for (number, balance) in self.balances(&samples).into_iter().enumerate() {
            let pitched_at = Instant::parse("2031-01-06T08:00:00Z").unwrap().plus_days(3.0 * number as f64);
            let own = || samples.iter().filter(|s| s.batch == balance.batch);
            for sample in own() {
                season.references.push(reference(sample, pitched_at));
            }
            let last = own().map(|s| s.hours).fold(0.0, f64::max);
            season.batches.push(self.batch(&balance, pitched_at, moment(pitched_at, last)));
        }
        season.references.sort_by_key(|r| r.at);
        season
    }

    /// The mass balance of each batch of the data in `source`.
    pub fn mass_balances(self, source: impl AsRef<Path>) -> Vec<MassBalance> {
        self.balances(&self.samples(source.as_ref()))
    }

    fn samples(self, source: &Path) -> Vec<Sample> {
        match self {
            Self::AgaveMust => {
                let mut samples = read(source, "ten_batches.csv", Some("batch"), &["glucose", "fructose"]);
                samples.extend(read(source, "triplicate_tubes.csv", Some("tube"), &["glucose", "fructose"]));
                samples
            }
            Self::EthanolHplc => read(source, "batch.csv", None, &["glucose", "xylose"]),
        }
    }

    /// One a batch, in the order of the files.
    fn balances(self, samples: &[Sample]) -> Vec<MassBalance> {
        samples
            .chunk_by(|a, b| a.batch == b.batch)
            .map(|own| {
                let first = &own[0];
                let last = if first.batch.starts_with('T') { 4 } else { 3 };
                let ethanol: Vec<f64> = own.iter().rev().take(last).map(|s| s.ethanol_g_l).collect();
                let ethanol_g_l = ethanol.iter().sum::<f64>() / ethanol.len() as f64;
                let sugar_g_l = first.sugar_g_l();
                let ethanol_per_sugar = ethanol_g_l / sugar_g_l;
                MassBalance { batch: first.batch.clone(), sugar_g_l, ethanol_g_l, ethanol_per_sugar }
            })
            .collect()
    }

    fn batch(self, balance: &MassBalance, pitched_at: Instant, ended_at: Instant) -> Batch {
        let is_tube = balance.batch.starts_with('T');
        let (strain, wort) = match self {
            Self::AgaveMust if is_tube => ("S. cerevisiae ITD-00185", "agave juice"),
            Self::AgaveMust => ("S. cerevisiae ITD-00185", "agave must or glucose-fructose medium"),
            Self::EthanolHplc => ("yeast of the data set", "glucose and xylose"),
        };
        let mut note = "published data, gravity computed, moment of pitching invented; see SOURCE.md".to_owned();
        if !balance.is_possible() {
            note = format!(
                "{note}; impossible mass balance: {:.3} g of ethanol per g of sugar, at most {MOST_ETHANOL_G_G:.4}",
                balance.ethanol_per_sugar
            );
        }
        Batch {
            wort: Some(wort.to_owned()),
            set_temp_c: is_tube.then_some(28.0),
            volume_l: is_tube.then_some(0.015),
            ended_at: Some(ended_at),
            note: Some(note),
            ..Batch::new(balance.batch.clone(), strain, pitched_at)
        }
    }
}

/// The moment `hours` after pitching, to the second: the source's hours have nine digits at most.
fn moment(pitched_at: Instant, hours: f64) -> Instant {
    Instant::from_micros(pitched_at.micros() + (hours * 3600.0).round() as i64 * 1_000_000)
}

fn reference(sample: &Sample, pitched_at: Instant) -> Reference {
    let decimals = |value: f64, scale: f64| (value * scale).round() / scale;
    let sugars: Vec<String> = sample.sugars.iter().map(|(name, g_l)| format!("{name} {g_l} g/L")).collect();
    let sg = decimals(mixture_sg(sample.sugar_g_l(), sample.ethanol_g_l).unwrap(), 1e6);
    Reference {
        batch: Some(sample.batch.clone()),
        method: Some("computed".to_owned()),
        sg_sd: Some(decimals(mixture_sd(sample), 1e5)),
        note: Some(format!("{}, ethanol {} g/L", sugars.join(", "), sample.ethanol_g_l)),
        ..Reference::new(moment(pitched_at, sample.hours), sg)
    }
}

/// Reads a file of concentrations: hours, ethanol and the named sugars; without a batch column all rows are one batch.
fn read(source: &Path, name: &str, batch: Option<&str>, sugars: &[&'static str]) -> Vec<Sample> {
    let mut reader = csv::Reader::from_path(source.join(name)).unwrap();
    let header = reader.headers().unwrap().clone();
    let field = |column: &str| header.iter().position(|h| h == column).unwrap();
    let sample = |record: csv::StringRecord| {
        let number = |column: &str| record[field(column)].parse::<f64>().unwrap();
        Sample {
            batch: batch.map_or("H1", |column| &record[field(column)]).to_owned(),
            hours: number("time_h"),
            sugars: sugars.iter().map(|sugar| (*sugar, number(&format!("{sugar}_g_l")))).collect(),
            ethanol_g_l: number("ethanol_g_l"),
        }
    };
    reader.records().map(|record| sample(record.unwrap())).collect()
}
