//! The row types of the small tables to and from the cells of their table.

use std::ops::RangeInclusive;

use super::row_error::{RowError, RowErrorKind, SgSlip, Wanted};
use super::table::FLAGS_COLUMN;
use super::table_rows::{Batch, EndShape, Event, PlanStep, Probe, Reference, ReferenceUse};
use super::value::{CellValue, RowValues};
use super::{Flags, SG_LEAST, SG_MOST};

/// A cell of an optional column that was not taken as it stands.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Doubt {
    /// The table's column.
    pub(crate) column: &'static str,
    /// What was found and what became of it, in words.
    pub(crate) text: String,
    /// Why it could not be read, where that is so.
    pub(crate) unread: Option<RowError>,
}

impl Doubt {
    /// A value that means something else, or nothing.
    pub(crate) fn new(column: &'static str, text: String) -> Self {
        Self { column, text, unread: None }
    }

    /// A cell that could not be read.
    pub(crate) fn unread(column: &'static str, why: RowError) -> Self {
        Self { column, text: format!("{why}, so it was left empty"), unread: Some(why) }
    }
}

/// A row of a table that is held as a list of rows (all but the readings).
pub(crate) trait TableRow: Sized + PartialEq {
    /// The row from its cells, or why it is rejected. A text that an optional column cannot hold goes to `doubts`.
    fn from_values(values: &mut RowValues, doubts: &mut Vec<Doubt>) -> Result<Self, RowError>;
    /// Its cells in the order of the table's columns.
    fn to_values(&self) -> Vec<CellValue>;
}

/// The value of a column that every row needs.
pub(crate) fn needed<T>(value: Option<T>, column: &str) -> Result<T, RowError> {
    value.ok_or_else(|| RowErrorKind::Empty { column: column.to_owned() }.into())
}

/// `value` if it is an SG that a liquid of this trade can have.
pub(crate) fn checked_sg(column: &str, value: f64) -> Result<f64, RowError> {
    if (SG_LEAST..=SG_MOST).contains(&value) {
        Ok(value)
    } else {
        let kind = RowErrorKind::SgRange { column: column.to_owned(), slip: SgSlip::of(value) };
        Err(kind.found(value.to_string()))
    }
}

fn optional_sg(values: &mut RowValues, column: &str) -> Result<Option<f64>, RowError> {
    values.number(column).map(|sg| checked_sg(column, sg)).transpose()
}

/// Standard deviations that somebody may mean, SG: from a hundredth of what the best instrument resolves to the whole
/// range of worts. Others are slips, and weights made of them would overflow.
const SG_SD: RangeInclusive<f64> = 1e-5..=0.2;
/// The same for tilts, degrees.
const TILT_SD_DEG: RangeInclusive<f64> = 1e-3..=90.0;

fn optional_sd(
    values: &mut RowValues,
    column: &'static str,
    range: RangeInclusive<f64>,
    doubts: &mut Vec<Doubt>,
) -> Option<f64> {
    let sd = values.number(column)?;
    if range.contains(&sd) {
        return Some(sd);
    }
    let (low, high) = range.into_inner();
    let text =
        format!("column `{column}` is {sd}; a standard deviation lies between {low} and {high}, so it was left empty");
    doubts.push(Doubt::new(column, text));
    None
}

impl TableRow for Reference {
    fn from_values(values: &mut RowValues, doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
        let at = needed(values.time("at"), "at")?;
        let sg = optional_sg(values, "sg")?;
        let raw_sg = optional_sg(values, "raw_sg")?;
        let raw_brix = values.number("raw_brix");
        if sg.is_none() && raw_sg.is_none() && raw_brix.is_none() {
            // A gravity that is there and cannot be read is not an empty one.
            let gravity = |doubt: &Doubt| ["sg", "raw_sg", "raw_brix"].contains(&doubt.column);
            let unread = doubts.iter().filter(|doubt| gravity(doubt)).find_map(|doubt| doubt.unread.clone());
            return Err(unread.unwrap_or_else(|| RowErrorKind::NoGravity.into()));
        }
        let use_as = values.text("use").and_then(|text| {
            let parsed = ReferenceUse::from_name(&text);
            if parsed.is_none() {
                let text =
                    format!("column `use` is `{text}`; wanted `calibrate`, `check` or `both`, so it was left empty");
                doubts.push(Doubt::new("use", text));
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
            tilt_sd_deg: optional_sd(values, "tilt_sd_deg", TILT_SD_DEG, doubts),
            temp_c: values.number("temp_c"),
            sg_sd: optional_sd(values, "sg_sd", SG_SD, doubts),
            raw_sg,
            raw_brix,
            instrument_temp_c: values.number("instrument_temp_c"),
            known_at: values.time("known_at"),
            note: values.text("note"),
            flags: values.text(FLAGS_COLUMN).and_then(|t| Flags::parse(&t)).unwrap_or_default(),
        })
    }

    fn to_values(&self) -> Vec<CellValue> {
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

impl TableRow for Batch {
    fn from_values(values: &mut RowValues, doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
        let batch = needed(values.text("batch"), "batch")?;
        let strain = needed(values.text("strain"), "strain")?;
        let pitched_at = needed(values.time("pitched_at"), "pitched_at")?;
        let ended_at = values.time("ended_at");
        if let Some(end) = ended_at
            && end < pitched_at
        {
            let kind = RowErrorKind::Unreadable { column: "ended_at".to_owned(), wanted: Wanted::NotBeforePitching };
            return Err(kind.found(end.to_string()));
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
            original_sg_sd: optional_sd(values, "original_sg_sd", SG_SD, doubts),
            limit_sg: optional_sg(values, "limit_sg")?,
            limit_sg_sd: optional_sd(values, "limit_sg_sd", SG_SD, doubts),
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

    fn to_values(&self) -> Vec<CellValue> {
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

fn end_shape(values: &mut RowValues, column: &'static str, doubts: &mut Vec<Doubt>) -> Option<EndShape> {
    let text = values.text(column)?;
    let shape = EndShape::parse(&text);
    if shape.is_none() {
        let text = format!(
            "column `{column}` is `{text}`; wanted `flat`, `hemisphere` or a height in mm above 0, so it was left empty"
        );
        doubts.push(Doubt::new(column, text));
    }
    shape
}

impl TableRow for Probe {
    fn from_values(values: &mut RowValues, doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
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

    fn to_values(&self) -> Vec<CellValue> {
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

impl TableRow for Event {
    fn from_values(values: &mut RowValues, doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
        let kind = needed(values.text("kind"), "kind")?;
        if !Event::KINDS.contains(&kind.as_str()) {
            let wanted = Event::KINDS.join(", ");
            let text = format!("column `kind` is `{kind}`; wanted one of {wanted}, so it counts as `other`");
            doubts.push(Doubt::new("kind", text));
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

    fn to_values(&self) -> Vec<CellValue> {
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

impl TableRow for PlanStep {
    fn from_values(values: &mut RowValues, _: &mut Vec<Doubt>) -> Result<Self, RowError> {
        Ok(Self {
            batch: needed(values.text("batch"), "batch")?,
            at: needed(values.time("at"), "at")?,
            temp_c: needed(values.number("temp_c"), "temp_c")?,
        })
    }

    fn to_values(&self) -> Vec<CellValue> {
        vec![self.batch.as_str().into(), self.at.into(), Some(self.temp_c).into()]
    }
}
