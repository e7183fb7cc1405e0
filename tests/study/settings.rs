//! No setting is without an effect: each leaf of the tree, as it is written, is changed in turn, and some table must change.

use std::collections::BTreeMap;

use heelwort::Result;
use heelwort::season::Season;
use heelwort::simulate::{SimulateSettings, Trouble};
use heelwort::study::{SeasonStudy, Settings};
use polars::prelude::{CsvWriter, DataFrame, SerWriter};
use serde_json::{Value, json};

/// Where a leaf stands in the written tree: names, and places in lists.
type Path = Vec<String>;

/// A case in which a setting acts that does not act on the small season: values of other settings, or data.
struct Special {
    /// The start of the leaf's name.
    leaf: &'static str,
    /// Other settings that it needs.
    with: &'static [(&'static str, &'static str)],
    /// What it needs of the season.
    season: fn(&mut Season),
}

const NOTHING: fn(&mut Season) = |_| ();

const SPECIAL: &[Special] = &[
    // Tap water stands in for distilled.
    Special { leaf: "calibration.tap_water_sg", with: &[], season: tap_water },
    // A bath without a temperature, by a tilt that is typed in.
    Special { leaf: "calibration.bath_temp_c", with: &[], season: baths_without_temperature },
    // A probe of which nothing is known.
    Special { leaf: "calibration.unknown_shell", with: &[], season: unknown_probes },
    Special { leaf: "calibration.k_", with: &[], season: unknown_probes },
    // Beers whose original gravity nobody knows.
    Special { leaf: "calibration.original_sg", with: &[], season: unknown_worts },
    // A fleet of one probe, which tells nothing of fleets.
    Special { leaf: "drift.offset_prior", with: &[], season: one_probe },
    // Thermal time, for all batches.
    Special { leaf: "kinetics.reference_c", with: THERMAL, season: NOTHING },
    Special { leaf: "kinetics.stop_ale_c", with: THERMAL, season: NOTHING },
    Special { leaf: "kinetics.stop_lager_c", with: LAGERS, season: NOTHING },
    Special {
        leaf: "kinetics.lager_below_c",
        with: &[("kinetics.clock", "\"thermal\""), ("kinetics.stop_ale_c", "30.0")],
        season: NOTHING,
    },
    Special { leaf: "activation", with: THERMAL, season: NOTHING },
];

const THERMAL: &[(&str, &str)] = &[("kinetics.clock", "\"thermal\"")];
const LAGERS: &[(&str, &str)] = &[("kinetics.clock", "\"thermal\""), ("kinetics.lager_below_c", "40.0")];

fn tap_water(season: &mut Season) {
    for bath in season.references.iter_mut().filter(|r| r.method.as_deref() == Some("water")) {
        bath.method = Some("tap_water".to_owned());
    }
}

fn baths_without_temperature(season: &mut Season) {
    for bath in season.references.iter_mut().filter(|r| !r.is_sample()) {
        bath.temp_c = None;
    }
    for (temp_c, batch) in season.readings.temp_c.iter_mut().zip(&season.readings.batch) {
        *temp_c = if batch.is_none() { f64::NAN } else { *temp_c };
    }
}

fn unknown_probes(season: &mut Season) {
    for probe in &mut season.probes {
        probe.shell = None;
        probe.total_mass_g = None;
        probe.diameter_mm = None;
    }
}

fn unknown_worts(season: &mut Season) {
    let soon = |at: heelwort::Instant, pitched_at: heelwort::Instant| at.hours_since(pitched_at) < 14.0;
    for batch in &mut season.batches {
        batch.original_sg = None;
    }
    let pitched: BTreeMap<String, heelwort::Instant> =
        season.batches.iter().map(|batch| (batch.batch.clone(), batch.pitched_at)).collect();
    let early = |batch: Option<&str>, at| batch.and_then(|b| pitched.get(b)).is_some_and(|pitched| soon(at, *pitched));
    season.references.retain(|sample| !early(sample.batch.as_deref(), sample.at));
    let readings = &mut season.readings;
    let names = readings.batch_ids.clone();
    for ((tilt, batch), at) in readings.tilt_deg.iter_mut().zip(&readings.batch).zip(&readings.at) {
        if early(batch.map(|b| names[b as usize].as_str()), *at) {
            *tilt = f64::NAN;
        }
    }
}

fn one_probe(season: &mut Season) {
    let probe = season.probes[0].probe.clone();
    season.references.retain(|r| r.probe.as_deref() == Some(probe.as_str()));
    for batch in &mut season.batches {
        batch.original_sg = None;
    }
}

/// Values for leaves that are empty by default, or whose neighbours are not allowed.
fn other_values(leaf: &str, value: &Value) -> Vec<Value> {
    let named = match leaf {
        "bath_plan.range_sg" => vec![json!([1.01, 1.06])],
        "strains.house" => vec![json!("sea-lavender")],
        "bath_plan.least_gain" => vec![json!(0.0), json!(0.9)],
        "calibration.session_gap_h" => vec![json!(0.5), json!(5000.0)],
        "builds.water_band_deg" | "builds.strong_band_deg" => vec![json!(0.0), json!(45.0)],
        "builds.cell_mass_g.0" => vec![json!(45.9), json!(1.0)],
        "builds.cell_mass_g.1" => vec![json!(42.1), json!(90.0)],
        "drift.correct_gain" => vec![json!(1.0), json!(0.0)],
        "drift.shift_alarm" => vec![json!(0.0), json!(0.5)],
        "drift.kind_certainty" => vec![json!(0.5), json!(0.9999)],
        "drift.kind_span_sg" => vec![json!(0.2), json!(0.0)],
        "kinetics.stop_ale_c" | "kinetics.stop_lager_c" => vec![json!(18.0), json!(30.0)],
        "kinetics.lager_below_c" => vec![json!(40.0)],
        _ => vec![],
    };
    if !named.is_empty() {
        return named;
    }
    match value {
        Value::Bool(on) => vec![json!(!on)],
        Value::Number(n) if n.is_u64() => {
            let n = n.as_u64().unwrap();
            vec![json!(n + 1), json!(2 * n + 50)]
        }
        Value::Number(n) => {
            let x = n.as_f64().unwrap();
            [x * 2.0, x * 0.5, x + 0.3, x * 1.02, x - 0.02, 0.3].map(|x| json!(x)).to_vec()
        }
        // The words that are allowed stand in the message that refuses another one.
        Value::String(word) => {
            words_allowed(leaf).into_iter().filter(|other| other != word).map(|w| json!(w)).collect()
        }
        other => panic!("no other value of {leaf}: {other}"),
    }
}

fn words_allowed(leaf: &str) -> Vec<String> {
    let path: Path = leaf.split('.').map(str::to_owned).collect();
    let mut tree = written(&quick());
    *at(&mut tree, &path) = json!("?");
    let message = serde_json::from_value::<Settings>(tree).unwrap_err().to_string();
    let (_, words) = message.split_once("expected").unwrap();
    words.split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

/// Settings under which a study is quick.
fn quick() -> Settings {
    let mut settings = Settings::default();
    settings.forecast.draws = 200;
    settings.forecast.stages = vec![0.5, 0.8];
    settings
}

fn season() -> Season {
    let settings = SimulateSettings {
        seed: 3,
        batches: 6,
        probes: 3,
        strains: 2,
        reading_minutes: 120.0,
        span_days: 40.0,
        ..SimulateSettings::default()
    };
    settings.run().unwrap().season
}

/// A season in which what is rare happens as well.
fn larger_season() -> Season {
    let settings = SimulateSettings {
        seed: 5,
        batches: 14,
        probes: 4,
        strains: 3,
        reading_minutes: 60.0,
        span_days: 120.0,
        stuck_share: 0.2,
        troubles: Trouble::ALL.to_vec(),
        ..SimulateSettings::default()
    };
    settings.run().unwrap().season
}

fn written(settings: &Settings) -> Value {
    serde_json::to_value(settings).unwrap()
}

fn at<'v>(tree: &'v mut Value, path: &[String]) -> &'v mut Value {
    path.iter().fold(tree, |value, name| match value {
        Value::Array(list) => &mut list[name.parse::<usize>().unwrap()],
        other => &mut other[name.as_str()],
    })
}

fn leaves(value: &Value, path: &Path, found: &mut Vec<(Path, Value)>) {
    let below = |name: String| [path.clone(), vec![name]].concat();
    match value {
        Value::Object(fields) => fields.iter().for_each(|(name, value)| leaves(value, &below(name.clone()), found)),
        Value::Array(list) => list.iter().enumerate().for_each(|(i, v)| leaves(v, &below(i.to_string()), found)),
        leaf => found.push((path.clone(), leaf.clone())),
    }
}

/// All that a table says, as text.
type Said = BTreeMap<String, Vec<u8>>;

fn said(tables: Vec<(String, DataFrame)>) -> Said {
    let written = |mut frame: DataFrame| {
        let mut bytes = Vec::new();
        CsvWriter::new(&mut bytes).finish(&mut frame).unwrap();
        bytes
    };
    tables.into_iter().map(|(name, frame)| (name, written(frame))).collect()
}

/// The tables of the study that a leaf belongs to, from the results of the others; none where it has no such study.
fn own_tables(study: &str, settings: &Settings, base: &SeasonStudy) -> Result<Option<Said>> {
    let one = |frame: DataFrame| Ok(Some(said(vec![("its table".to_owned(), frame)])));
    match study {
        "builds" => one(settings.builds.run(&base.season, base.calibrations()?)?.to_frame()?),
        "bath_plan" => {
            let plan = settings.bath_plan.plan(&base.season, base.calibrations()?)?;
            // How many baths are worth it stands in the words alone.
            let mut all = said(vec![("plans".to_owned(), plan.to_frame()?)]);
            all.insert("words".to_owned(), plan.in_words().into_bytes());
            Ok(Some(all))
        }
        "strains" => {
            let strains = settings.strains.run(&base.season, base.kinetics()?)?;
            Ok(Some(said(vec![
                ("means".into(), strains.to_frame()?),
                ("contrasts".into(), strains.contrasts_frame()?),
                ("power".into(), strains.power_frame()?),
            ])))
        }
        "kinetics" => {
            let kinetics = settings.kinetics.fit_all(&base.series)?;
            Ok(Some(said(vec![("fits".into(), kinetics.to_frame()?)])))
        }
        _ => Ok(None),
    }
}

/// The base of a comparison: a season, settings, and what they give.
struct Base {
    season: Season,
    tree: Value,
    study: SeasonStudy,
    tables: Said,
}

impl Base {
    fn new(special: Option<&Special>, mut season: Season) -> Self {
        let mut tree = written(&quick());
        if let Some(special) = special {
            (special.season)(&mut season);
            for (leaf, value) in special.with {
                let path: Path = leaf.split('.').map(str::to_owned).collect();
                *at(&mut tree, &path) = serde_json::from_str(value).unwrap();
            }
        }
        let study = serde_json::from_value::<Settings>(tree.clone()).unwrap().study(&season).unwrap();
        let tables = said(study.tables().unwrap());
        Self { season, tree, study, tables }
    }

    /// Whether some value of the leaf that is allowed changes some table.
    fn acts(&self, path: &Path, value: &Value) -> bool {
        let unchanged: Settings = serde_json::from_value(self.tree.clone()).unwrap();
        let before = own_tables(&path[0], &unchanged, &self.study).unwrap_or(None);
        let others = other_values(&path.join("."), value).into_iter().filter_map(|other| {
            let mut tree = self.tree.clone();
            *at(&mut tree, path) = other;
            serde_json::from_value::<Settings>(tree).ok().filter(|settings| settings.check().is_ok())
        });
        let others: Vec<Settings> = others.take(2).collect();
        assert!(!others.is_empty(), "no other value of {} is allowed", path.join("."));
        let by_itself = |settings: &Settings| match (&before, own_tables(&path[0], settings, &self.study)) {
            (Some(before), Ok(Some(after))) => *before != after,
            _ => false,
        };
        let whole = |settings: &Settings| match settings.study(&self.season) {
            Ok(study) => said(study.tables().unwrap()) != self.tables,
            Err(_) => false,
        };
        others.iter().any(by_itself) || others.iter().any(whole)
    }
}

#[test]
#[ignore = "a study for each setting, run in release by .ci/run"]
fn every_setting_acts() {
    let base = Base::new(None, season());
    let larger = Base::new(None, larger_season());
    for base in [&base, &larger] {
        let again: Settings = serde_json::from_value(base.tree.clone()).unwrap();
        assert!(said(again.study(&base.season).unwrap().tables().unwrap()) == base.tables, "not the same twice");
    }
    let mut all = Vec::new();
    leaves(&base.tree, &Vec::new(), &mut all);
    assert!(all.len() > 70, "{}", all.len());
    let mut inert = Vec::new();
    for (path, value) in all {
        let name = path.join(".");
        let began = std::time::Instant::now();
        let acts = match SPECIAL.iter().find(|special| name.starts_with(special.leaf)) {
            Some(special) => {
                let on = |season| {
                    let base = Base::new(Some(special), season);
                    let value = at(&mut base.tree.clone(), &path).clone();
                    base.acts(&path, &value)
                };
                on(season()) || on(larger_season())
            }
            None => base.acts(&path, &value) || larger.acts(&path, &value),
        };
        println!("{name:45} {:.1} s {}", began.elapsed().as_secs_f64(), if acts { "" } else { "NO EFFECT" });
        if !acts {
            inert.push(name);
        }
    }
    assert!(inert.is_empty(), "settings without an effect: {inert:?}");
}
