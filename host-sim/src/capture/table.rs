//! CSV tables: columns by name, cells with good complaints.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;
use std::str::FromStr;

use csv::StringRecord;

use super::error::{CaptureError, Notice};

/// Beyond this a table is not a walk over a site any more: weeks of readings, or not a table at all.
const LARGEST_TABLE_BYTES: u64 = 1 << 28;

/// Opens a table for reading, unless it is gigantic.
pub(super) fn open(file: &Path) -> Result<BufReader<File>, CaptureError> {
    open_limited(file, "table", LARGEST_TABLE_BYTES)
}

/// Opens a file for reading, unless it holds more than `limit` bytes.
pub(super) fn open_limited(
    file: &Path,
    kind: &'static str,
    limit: u64,
) -> Result<BufReader<File>, CaptureError> {
    let opened = File::open(file).map_err(CaptureError::io(file, "open"))?;
    let bytes = opened.metadata().map_err(CaptureError::io(file, "read"))?.len();
    if bytes > limit {
        return Err(CaptureError::TooLarge { file: file.to_path_buf(), bytes, limit, kind });
    }
    Ok(BufReader::new(opened))
}

/// A table being read row by row.
pub(super) struct Table<'f, R> {
    file: &'f Path,
    csv: csv::Reader<R>,
    columns: BTreeMap<&'static str, usize>,
    record: StringRecord,
}

impl<'f, R: Read> Table<'f, R> {
    /// Reads the header. Columns that are not `known` are noticed and left out.
    pub(super) fn new(
        source: R,
        file: &'f Path,
        known: &[&'static str],
        notices: &mut Vec<Notice>,
    ) -> Result<Self, CaptureError> {
        let mut csv = csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(source);
        let header = csv.headers().map_err(|e| unreadable(file, &e))?.clone();
        let mut columns = BTreeMap::new();
        for (at, name) in header.iter().enumerate() {
            let Some(&name) = known.iter().find(|k| **k == name) else {
                notices.push(Notice::new(file, format!("column {name:?} is not known and not used")));
                continue;
            };
            if columns.insert(name, at).is_some() {
                let row = Row { file, line: 1, columns: &columns, record: &header };
                return Err(row.wrong(name, "stands in the header twice", "keep one of them"));
            }
        }
        Ok(Self { file, csv, columns, record: StringRecord::new() })
    }

    /// Whether the header has this column.
    pub(super) fn has(&self, column: &str) -> bool {
        self.columns.contains_key(column)
    }

    /// Asks for columns that the header must have.
    pub(super) fn require(&self, columns: &[&'static str]) -> Result<(), CaptureError> {
        match columns.iter().find(|c| !self.has(c)) {
            None => Ok(()),
            Some(missing) => Err(CaptureError::Table {
                file: self.file.to_path_buf(),
                line: 1,
                column: (*missing).to_owned(),
                problem: "is missing from the header line".to_owned(),
                remedy: "begin the file with a line of column names with commas between them",
            }),
        }
    }

    /// The next row, or `None` after the last.
    pub(super) fn next_row(&mut self) -> Result<Option<Row<'_>>, CaptureError> {
        let found = self.csv.read_record(&mut self.record).map_err(|e| unreadable(self.file, &e))?;
        Ok(found.then_some(Row {
            file: self.file,
            line: self.record.position().map_or(0, csv::Position::line),
            columns: &self.columns,
            record: &self.record,
        }))
    }
}

fn unreadable(file: &Path, error: &csv::Error) -> CaptureError {
    CaptureError::Table {
        file: file.to_path_buf(),
        line: error.position().map_or(1, csv::Position::line),
        column: "any".to_owned(),
        problem: error.to_string(),
        remedy: "save the table as plain text (UTF-8) with commas between cells",
    }
}

/// One row of a table.
#[derive(Clone, Copy)]
pub(super) struct Row<'t> {
    file: &'t Path,
    /// Line in the file, counted from 1.
    pub(super) line: u64,
    columns: &'t BTreeMap<&'static str, usize>,
    record: &'t StringRecord,
}

impl Row<'_> {
    /// A complaint about a cell of this row.
    pub(super) fn wrong(
        &self,
        column: &str,
        problem: impl Into<String>,
        remedy: &'static str,
    ) -> CaptureError {
        CaptureError::Table {
            file: self.file.to_path_buf(),
            line: self.line,
            column: column.to_owned(),
            problem: problem.into(),
            remedy,
        }
    }

    /// The text of a cell; `None` where the column is missing or the cell empty.
    fn text(&self, column: &str) -> Option<&str> {
        let at = *self.columns.get(column)?;
        self.record.get(at).filter(|text| !text.is_empty())
    }

    /// A whole number.
    pub(super) fn whole<T: FromStr>(&self, column: &str) -> Result<Option<T>, CaptureError> {
        let Some(text) = self.text(column) else {
            return Ok(None);
        };
        text.parse().map(Some).map_err(|_| {
            self.wrong(
                column,
                format!("{text:?} is not a whole number in range"),
                "write a whole number from 0, or leave the cell empty",
            )
        })
    }

    /// A finite number. Parsed at the wanted precision, because rounding twice may change the last bit.
    pub(super) fn number<T>(&self, column: &str) -> Result<Option<T>, CaptureError>
    where
        T: FromStr + Copy + Into<f64>,
    {
        let Some(text) = self.text(column) else {
            return Ok(None);
        };
        match text.parse::<T>() {
            Ok(number) if number.into().is_finite() => Ok(Some(number)),
            _ => Err(self.wrong(
                column,
                format!("{text:?} is not a finite number"),
                "write a number with a decimal point, or leave the cell empty if nothing was measured",
            )),
        }
    }

    /// A finite number that may not be left out.
    pub(super) fn needed<T>(&self, column: &str) -> Result<T, CaptureError>
    where
        T: FromStr + Copy + Into<f64>,
    {
        self.number(column)?
            .ok_or_else(|| self.wrong(column, "the cell is empty", "fill it in, or delete the row"))
    }
}
