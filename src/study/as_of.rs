//! Moments as of which forecasts are asked for.

use std::path::Path;

use crate::error::{Error, Place, Result};
use crate::season::{list, read_text};
use crate::units::Instant;

/// One question: how does this batch look as of this moment?
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct AsOf {
    /// The moment.
    pub as_of: Instant,
    /// The batch.
    pub batch: String,
}

/// The rows of a file; see [`super::Study::as_of_file`].
pub(super) fn read_as_of(path: &Path) -> Result<Vec<AsOf>> {
    let text = read_text(path, &path.to_string_lossy())?;
    let text = text.trim_start_matches('\u{feff}');
    let header = text.lines().next().unwrap_or_default();
    let delimiter = [b';', b'\t', b','].into_iter().max_by_key(|d| header.bytes().filter(|b| b == d).count());
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .delimiter(delimiter.unwrap_or(b','))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let refuse = |error: csv::Error| Error::input(Place::file(path), error.to_string(), "a CSV file");
    let header = reader.headers().map_err(refuse)?.clone();
    let column = |name: &str| {
        header.iter().position(|h| h == name).ok_or_else(|| {
            let columns: Vec<_> = header.iter().collect();
            Error::input(Place::file(path).line(1), format!("columns {}", list(&columns)), format!("a column `{name}`"))
        })
    };
    let (batch_at, as_of_at) = (column("batch")?, column("as_of")?);
    let mut asked = Vec::new();
    for record in reader.records() {
        let record = record.map_err(refuse)?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |at: usize, name: &str| match record.get(at) {
            Some(text) if !text.is_empty() => Ok(text),
            _ => Err(Error::input(Place::file(path).line(line).column(name), "nothing", "a value")),
        };
        let text = cell(as_of_at, "as_of")?;
        let as_of = Instant::parse(text).map_err(|_| {
            let wanted = "an RFC 3339 time such as 2031-03-04T05:06:07Z";
            Error::input(Place::file(path).line(line).column("as_of"), format!("`{text}`"), wanted)
        })?;
        asked.push(AsOf { as_of, batch: cell(batch_at, "batch")?.to_owned() });
    }
    if asked.is_empty() {
        return Err(Error::input(Place::file(path), "no rows", "at least one row with batch and as_of"));
    }
    Ok(asked)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<AsOf>> {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("asked.csv");
        std::fs::write(&path, text).unwrap();
        read_as_of(&path)
    }

    #[test]
    fn rows_are_read_with_any_order_of_columns() {
        let asked = read("as_of,note,batch\n2031-03-04T05:06:07Z,x,B1\n2031-03-04T06:06:07+01:00,,B2\n").unwrap();
        assert_eq!(asked.len(), 2);
        assert_eq!(asked[0].as_of, asked[1].as_of);
        assert_eq!(asked[1].batch, "B2");
        let split = read("\u{feff}batch;as_of\r\nB1;2031-03-04T05:06:07Z\r\n").unwrap();
        assert_eq!(split, asked[..1]);
    }

    #[test]
    fn what_is_wrong_is_said_with_its_place() {
        for (text, part) in [
            ("batch,as_of\nB1,soon\n", "line 2, column `as_of`: found `soon`"),
            ("batch,when\nB1,soon\n", "wanted a column `as_of`"),
            ("batch,as_of\n", "no rows"),
            ("batch,as_of\n,2031-03-04T05:06:07Z\n", "column `batch`: found nothing"),
        ] {
            let message = read(text).unwrap_err().to_string();
            assert!(message.contains(part), "{message}");
        }
    }
}
