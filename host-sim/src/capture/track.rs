//! `track.csv`: where the mast was, which rung was in force, and where samples were lost.

use std::io::Read;
use std::path::Path;

use nullwalk_core::frame::{MastReading, SampleIndex};

use super::error::{CaptureError, Notice};
use super::pose;
use super::table::{Row, Table};

/// The readings of a capture, in order.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Track {
    // Private: a reader relies on their order.
    rows: Vec<TrackRow>,
}

/// What one row says of the sample nearest to its time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackRow {
    /// Index of that sample, lost ones counted.
    pub sample: SampleIndex,
    /// Frames lost just before it.
    pub dropped: u64,
    /// Rung from here on; `None`: as before.
    pub rung: Option<u8>,
    /// Where the mast was.
    pub mast: Option<MastReading>,
}

/// Sample indices up to this are told apart by a time in seconds, printed as a 64-bit float.
pub(super) const LAST_SAMPLE: SampleIndex = 1 << 50;

/// The columns, in the order they are written: time, pose, rung, dropped.
pub(super) fn columns() -> impl Iterator<Item = &'static str> {
    ["time_s"].into_iter().chain(pose::COLUMNS).chain(["rung", "dropped"])
}

impl Track {
    /// The rows, by rising sample.
    pub fn rows(&self) -> &[TrackRow] {
        &self.rows
    }

    pub(super) fn into_rows(self) -> Vec<TrackRow> {
        self.rows
    }

    /// Parses a table. `rate_hz` turns times into samples, `foot_m` is the height to assume where none is
    /// given, `top_rung` the highest rung there is; `file` is the table's name in messages.
    ///
    /// # Errors
    /// When a cell does not hold what it must, or times do not rise.
    pub fn parse(
        source: impl Read,
        file: &Path,
        rate_hz: f64,
        foot_m: f32,
        top_rung: u8,
        notices: &mut Vec<Notice>,
    ) -> Result<Self, CaptureError> {
        let known: Vec<_> = columns().collect();
        let mut table = Table::new(source, file, &known, notices)?;
        table.require(&["time_s"])?;
        let mut rows: Vec<TrackRow> = Vec::new();
        while let Some(row) = table.next_row()? {
            let sample = sample(&row, rate_hz)?;
            let dropped = row.whole("dropped")?.unwrap_or(0);
            check_order(&row, rows.last(), sample, dropped)?;
            let rung = row.whole::<u8>("rung")?;
            if rung.is_some_and(|rung| rung > top_rung) {
                return Err(row.wrong(
                    "rung",
                    format!("there is no such rung; the highest is {top_rung}"),
                    "count rungs from 0, and list them all under front_end.rungs",
                ));
            }
            rows.push(TrackRow { sample, dropped, rung, mast: pose::read(&row, foot_m)? });
        }
        Ok(Self { rows })
    }
}

fn sample(row: &Row<'_>, rate_hz: f64) -> Result<SampleIndex, CaptureError> {
    let time_s: f64 = row.needed("time_s")?;
    let sample = (time_s * rate_hz).round();
    if (0.0..LAST_SAMPLE as f64).contains(&sample) {
        return Ok(sample as SampleIndex);
    }
    Err(row.wrong(
        "time_s",
        format!("{time_s:?} s is not within a recording"),
        "count seconds from the first sample, which is at 0",
    ))
}

fn check_order(
    row: &Row<'_>,
    before: Option<&TrackRow>,
    sample: SampleIndex,
    dropped: u64,
) -> Result<(), CaptureError> {
    let first_free = before.map_or(0, |b| b.sample + 1);
    if sample < first_free {
        return Err(row.wrong(
            "time_s",
            "not later than the row before, by one sample at least",
            "sort the rows by time and keep one for each time",
        ));
    }
    if sample - first_free < dropped {
        return Err(row.wrong(
            "dropped",
            format!("{dropped} frames cannot have been lost since the row before"),
            "give the frames lost between the two rows; time_s counts them too",
        ));
    }
    Ok(())
}
