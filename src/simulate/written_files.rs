//! Writing a simulated season: its files as a logger and a brewer would leave them, and the truth beside them.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use flate2::Compression;
use flate2::write::GzEncoder;
use polars::prelude::{CsvWriter, DataFrame, DataType, ParquetCompression, ParquetWriter, SerWriter, TimeUnit};

use crate::error::{Error, Result};
use crate::season::{Readings, Season};

use super::log::LogRow;
use super::run::Simulated;

/// The folder of the truth, which loading a season never reads.
const TRUTH: &str = "truth";
/// RFC 3339 with Z.
const CSV_TIME: &str = "%Y-%m-%dT%H:%M:%SZ";

impl Simulated {
    /// Writes the season into the folder `dir`: the log in `readings.csv.gz`, in the order in which its rows came in, with
    /// rows twice and late; the other tables as CSV; the truth in `truth/`.
    ///
    /// | file | one row per | from |
    /// | --- | --- | --- |
    /// | truth/batches.csv | batch | [`super::BatchTruth`] |
    /// | truth/probes.csv | probe | [`super::ProbeTruth`] |
    /// | truth/shifts.csv | sudden change of a probe | [`super::ShiftTruth`] |
    /// | truth/errors.csv | probe and week | [`super::ErrorTruth`] |
    /// | truth/curves.csv | calibration and SG | [`super::CurveTruth`] |
    /// | truth/strains.csv | strain | [`super::StrainTruth`] |
    /// | truth/troubles.csv | trouble, where there are any | [`super::TroubleTruth`] |
    /// | truth/gravity.parquet | reading, by probe and time | [`super::GravityTruth`], with `at` and `probe` |
    ///
    /// Columns have the names of the fields.
    ///
    /// # Errors
    /// [`Error::Usage`] when `dir` holds anything; [`Error::Io`] when the system refuses.
    pub fn write(&self, dir: impl AsRef<Path>) -> Result<()> {
        let dir = dir.as_ref();
        // Nobody's logs are overwritten.
        if fs::read_dir(dir).is_ok_and(|mut files| files.next().is_some()) {
            return Err(Error::Usage(format!("{} is not empty; wanted a new or an empty folder", dir.display())));
        }
        // The folder holds the log as it came in, so the tidied readings stay out of it.
        let rest = Season { readings: Readings::default(), ..self.season.clone() };
        rest.write(dir)?;
        let empty = dir.join("readings.csv");
        fs::remove_file(&empty).map_err(|e| Error::io("removing", &empty, e))?;
        let path = dir.join("readings.csv.gz");
        self.write_log(&path).map_err(|e| Error::io("writing", &path, e))?;
        let truth = dir.join(TRUTH);
        fs::create_dir_all(&truth).map_err(|e| Error::io("making the folder", &truth, e))?;
        for (name, mut frame) in self.truth.frames()? {
            write_csv(&truth.join(format!("{name}.csv")), &mut frame)?;
        }
        write_parquet(&truth.join("gravity.parquet"), &mut self.truth.gravity.to_frame(&self.season.readings)?)
    }

    fn write_log(&self, path: &Path) -> std::io::Result<()> {
        // The coder leaves the time of writing out, so that the same season gives the same bytes.
        let mut out = BufWriter::new(GzEncoder::new(File::create(path)?, Compression::best()));
        writeln!(out, "at,probe,tilt_deg,temp_c,batch,supply_v")?;
        let probes = &self.probe_ids;
        let batches = &self.season.readings.batch_ids;
        for LogRow { at, probe, tilt_deg, temp_c, batch, labelled, supply_v, .. } in &self.raw {
            let probe = probes.get(*probe).map_or("", String::as_str);
            let batch = batch.filter(|_| *labelled).and_then(|b| batches.get(b)).map_or("", String::as_str);
            let supply_v = supply_v.map(|v| v.to_string()).unwrap_or_default();
            writeln!(out, "{at},{probe},{tilt_deg},{temp_c},{batch},{supply_v}")?;
        }
        out.into_inner().map_err(std::io::IntoInnerError::into_error)?.finish()?.flush()
    }
}

fn write_csv(path: &Path, frame: &mut DataFrame) -> Result<()> {
    let refused = |e| Error::frame(path.display().to_string(), e);
    // polars writes a zone only with a database of zones; the format's Z says the same.
    for name in frame.get_column_names_owned() {
        let column = frame.column(&name).map_err(refused)?;
        if matches!(column.dtype(), DataType::Datetime(..)) {
            let bare = column.cast(&DataType::Datetime(TimeUnit::Microseconds, None)).map_err(refused)?;
            frame.with_column(bare).map_err(refused)?;
        }
    }
    let mut out = BufWriter::new(File::create(path).map_err(|e| Error::io("writing", path, e))?);
    CsvWriter::new(&mut out).with_datetime_format(Some(CSV_TIME.into())).finish(frame).map_err(refused)?;
    out.flush().map_err(|e| Error::io("writing", path, e))
}

fn write_parquet(path: &Path, frame: &mut DataFrame) -> Result<()> {
    let out = BufWriter::new(File::create(path).map_err(|e| Error::io("writing", path, e))?);
    ParquetWriter::new(out)
        .with_compression(ParquetCompression::Snappy)
        .finish(frame)
        .map(|_| ())
        .map_err(|e| Error::frame(path.display().to_string(), e))
}
