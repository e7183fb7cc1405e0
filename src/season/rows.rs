//! The row types of the small tables to and from the cells of their table.

use super::schema::{Batch, EndShape, Event, PlanStep, Probe, Reference, ReferenceUse};
use super::table::FLAGS_COLUMN;
use super::value::{Value, Values, missing};
use super::{Flags, SG_HIGH, SG_LOW};

/// A row of a table that is held as a list of rows (all but the readings).
pub(crate) trait Row: Sized + PartialEq {
    /// The row from its cells, or why it is rejected. A text that an optional column cannot hold goes to `doubts`.
    fn from_values(values: &mut Values, doubts: &mut Vec<String>) -> Result<Self, String>;
    /// Its cells in the order of the table's columns.
    fn to_values(&self) -> Vec<Value>;
}

fn needed<T>(value: Option<T>, column: &str) -> Result<T, String> {
    value.ok_or_else(|| missing(column))
}

/// `value` if it is an SG that a liquid of this trade can have.
pub(crate) fn checked_sg(column: &str, value: f64) -> Result<f64, String> {
    if (SG_LOW..=SG_HIGH).contains(&value) {
        Ok(value)
    } else {
        // The two slips that turn a whole column away.
        let hint = match value {
            v if (1000.0 * SG_LOW..=1000.0 * SG_HIGH).contains(&v) => " (1048 is written 1.048)",
            v if (1.5..=40.0).contains(&v) => " (Plato or Brix as read goes into `raw_brix`)",
            _ => "",
        };
        Err(format!("column `{column}` is {value}; an SG lies between {SG_LOW} and {SG_HIGH}{hint}"))
    }
}

fn optional_sg(values: &mut Values, column: &str) -> Result<Option<f64>, String> {
    values.number(column).map(|sg| checked_sg(column, sg)).transpose()
}

fn optional_sd(values: &mut Values, column: &str, doubts: &mut Vec<String>) -> Option<f64> {
    let sd = values.number(column)?;
    if sd > 0.0 {
        Some(sd)
    } else {
        doubts.push(format!("column `{column}` is {sd}; a standard deviation is above 0, so it was left empty"));
        None
    }
}

impl Row for Reference {
    fn from_values(values: &mut Values, doubts: &mut Vec<String>) -> Result<Self, String> {
        let at = needed(values.time("at"), "at")?;
        let sg = optional_sg(values, "sg")?;
        let raw_sg = optional_sg(values, "raw_sg")?;
        let raw_brix = values.number("raw_brix");
        if sg.is_none() && raw_sg.is_none() && raw_brix.is_none() {
            return Err("columns `sg`, `raw_sg` and `raw_brix` are empty; every row needs one of them".to_owned());
        }
        let use_as = values.text("use").and_then(|text| {
            let parsed = ReferenceUse::from_name(&text);
            if parsed.is_none() {
                doubts.push(format!(
                    "column `use` is `{text}`; wanted `calibrate`, `check` or `both`, so it was left empty"
                ));
            }
            parsed
        });
        Ok(Self {
            at,
            // Computed from the raw reading once the batches are known.
            sg: sg.unwrap_or(f64::NAN),
            sg_given: sg.is_some(),
            probe: values.text("probe"),
            batch: values.text("batch"),
            bath: values.text("bath"),
            method: values.text("method"),
            instrument: values.text("instrument"),
            use_as,
            tilt_deg: values.number("tilt_deg"),
            tilt_sd_deg: optional_sd(values, "tilt_sd_deg", doubts),
            temp_c: values.number("temp_c"),
            sg_sd: optional_sd(values, "sg_sd", doubts),
            raw_sg,
            raw_brix,
            instrument_temp_c: values.number("instrument_temp_c"),
            known_at: values.time("known_at"),
            note: values.text("note"),
            flags: values.text(FLAGS_COLUMN).and_then(|t| Flags::parse(&t)).unwrap_or_default(),
        })
    }

    fn to_values(&self) -> Vec<Value> {
        vec![
            self.at.into(),
            Some(self.sg).filter(|_| self.sg_given).into(),
            (&self.probe).into(),
            (&self.batch).into(),
            (&self.bath).into(),
            (&self.method).into(),
            (&self.instrument).into(),
            self.use_as.map(ReferenceUse::name).into(),
            self.tilt_deg.into(),
            self.tilt_sd_deg.into(),
            self.temp_c.into(),
            self.sg_sd.into(),
            self.raw_sg.into(),
            self.raw_brix.into(),
            self.instrument_temp_c.into(),
            self.known_at.into(),
            (&self.note).into(),
            self.flags.of_the_file().to_value(),
        ]
    }
}

impl Row for Batch {
    fn from_values(values: &mut Values, doubts: &mut Vec<String>) -> Result<Self, String> {
        let batch = needed(values.text("batch"), "batch")?;
        let strain = needed(values.text("strain"), "strain")?;
        let pitched_at = needed(values.time("pitched_at"), "pitched_at")?;
        let ended_at = values.time("ended_at");
        if let Some(end) = ended_at
            && end < pitched_at
        {
            return Err(format!("the batch ends ({end}) before it starts ({pitched_at})"));
        }
        let probes = values.text("probe").map(|ids| split_ids(&ids)).unwrap_or_default();
        Ok(Self {
            batch,
            strain,
            pitched_at,
            probes,
            vessel: values.text("vessel"),
            wort: values.text("wort"),
            original_sg: optional_sg(values, "original_sg")?,
            original_sg_sd: optional_sd(values, "original_sg_sd", doubts),
            limit_sg: optional_sg(values, "limit_sg")?,
            limit_sg_sd: optional_sd(values, "limit_sg_sd", doubts),
            mash_temp_c: values.number("mash_temp_c"),
            pitch_mcells_ml_p: values.number("pitch_mcells_ml_p"),
            yeast_lot: values.text("yeast_lot"),
            generation: values.number("generation"),
            set_temp_c: values.number("set_temp_c"),
            volume_l: values.number("volume_l"),
            ended_at,
            note: values.text("note"),
        })
    }

    fn to_values(&self) -> Vec<Value> {
        let probes = self.probes.join(";");
        vec![
            self.batch.as_str().into(),
            self.strain.as_str().into(),
            self.pitched_at.into(),
            Some(probes.as_str()).filter(|p| !p.is_empty()).into(),
            (&self.vessel).into(),
            (&self.wort).into(),
            self.original_sg.into(),
            self.original_sg_sd.into(),
            self.limit_sg.into(),
            self.limit_sg_sd.into(),
            self.mash_temp_c.into(),
            self.pitch_mcells_ml_p.into(),
            (&self.yeast_lot).into(),
            self.generation.into(),
            self.set_temp_c.into(),
            self.volume_l.into(),
            self.ended_at.into(),
            (&self.note).into(),
        ]
    }
}

/// Ids split by `;`, blanks around them dropped, each once.
fn split_ids(ids: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for id in ids.split(';').map(str::trim).filter(|id| !id.is_empty()) {
        if !found.iter().any(|f| f == id) {
            found.push(id.to_owned());
        }
    }
    found
}

fn end_shape(values: &mut Values, column: &str, doubts: &mut Vec<String>) -> Option<EndShape> {
    let text = values.text(column)?;
    let shape = EndShape::parse(&text);
    if shape.is_none() {
        doubts.push(format!(
            "column `{column}` is `{text}`; wanted `flat`, `hemisphere` or a height in mm above 0, so it was left empty"
        ));
    }
    shape
}

impl Row for Probe {
    fn from_values(values: &mut Values, doubts: &mut Vec<String>) -> Result<Self, String> {
        Ok(Self {
            probe: needed(values.text("probe"), "probe")?,
            built_on: values.time("built_on"),
            total_mass_g: values.number("total_mass_g"),
            cell_mass_g: values.number("cell_mass_g"),
            diameter_mm: values.number("diameter_mm"),
            length_mm: values.number("length_mm"),
            bottom: end_shape(values, "bottom", doubts),
            top: end_shape(values, "top", doubts),
            shell: values.text("shell"),
            note: values.text("note"),
        })
    }

    fn to_values(&self) -> Vec<Value> {
        vec![
            self.probe.as_str().into(),
            self.built_on.into(),
            self.total_mass_g.into(),
            self.cell_mass_g.into(),
            self.diameter_mm.into(),
            self.length_mm.into(),
            self.bottom.map(|shape| shape.to_string()).as_deref().into(),
            self.top.map(|shape| shape.to_string()).as_deref().into(),
            (&self.shell).into(),
            (&self.note).into(),
        ]
    }
}

impl Row for Event {
    fn from_values(values: &mut Values, doubts: &mut Vec<String>) -> Result<Self, String> {
        let kind = needed(values.text("kind"), "kind")?;
        if !Event::KINDS.contains(&kind.as_str()) {
            doubts.push(format!(
                "column `kind` is `{kind}`; wanted one of {}, so it counts as `other`",
                Event::KINDS.join(", ")
            ));
        }
        Ok(Self {
            at: needed(values.time("at"), "at")?,
            kind,
            probe: values.text("probe"),
            batch: values.text("batch"),
            total_mass_g: values.number("total_mass_g"),
            cell_mass_g: values.number("cell_mass_g"),
            value: values.number("value"),
            note: values.text("note"),
        })
    }

    fn to_values(&self) -> Vec<Value> {
        vec![
            self.at.into(),
            self.kind.as_str().into(),
            (&self.probe).into(),
            (&self.batch).into(),
            self.total_mass_g.into(),
            self.cell_mass_g.into(),
            self.value.into(),
            (&self.note).into(),
        ]
    }
}

impl Row for PlanStep {
    fn from_values(values: &mut Values, _: &mut Vec<String>) -> Result<Self, String> {
        Ok(Self {
            batch: needed(values.text("batch"), "batch")?,
            at: needed(values.time("at"), "at")?,
            temp_c: needed(values.number("temp_c"), "temp_c")?,
        })
    }

    fn to_values(&self) -> Vec<Value> {
        vec![self.batch.as_str().into(), self.at.into(), Some(self.temp_c).into()]
    }
}
