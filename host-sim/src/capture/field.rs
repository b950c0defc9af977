//! `field.csv`: phasors that are already demodulated.

use std::io::Read;
use std::path::Path;

use nullwalk_core::frame::MastReading;
use num_complex::Complex32;

use super::error::{CaptureError, Notice};
use super::pose;
use super::table::{Row, Table};

pub(super) const NODE_COLUMNS: [[&str; 6]; 2] = [
    ["n0x_re_t", "n0x_im_t", "n0y_re_t", "n0y_im_t", "n0z_re_t", "n0z_im_t"],
    ["n1x_re_t", "n1x_im_t", "n1y_re_t", "n1y_im_t", "n1z_re_t", "n1z_im_t"],
];
/// How evenly the rows must be spaced.
const SPACING_TOLERANCE: f64 = 0.01;
const ROWS_PER_SECOND: std::ops::RangeInclusive<f64> = 5.0..=50.0;

/// A demodulated recording.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldRecording {
    /// Its rows, evenly spaced in time. Two at least.
    pub rows: Vec<FieldRow>,
    /// Rows a second.
    pub rate_hz: f64,
    nodes: usize,
}

/// One instant of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FieldRow {
    /// Middle of the window the phasors were taken over, seconds.
    pub time_s: f64,
    /// Field at the lower node in the mast frame, tesla.
    pub lower_t: [Complex32; 3],
    /// Field at the upper node, if there is one.
    pub upper_t: Option<[Complex32; 3]>,
    /// Standard uncertainty of each real number, tesla.
    pub sigma_t: f32,
    /// Where the mast was.
    pub mast: Option<MastReading>,
}

impl FieldRecording {
    /// Parses a table; `foot_m` is the height to assume where none is given, `file` its name in messages.
    ///
    /// # Errors
    /// When a column is missing, a cell does not hold what it must, or the rows are not evenly spaced.
    pub fn parse(
        source: impl Read,
        file: &Path,
        foot_m: f32,
        notices: &mut Vec<Notice>,
    ) -> Result<Self, CaptureError> {
        let [lower, upper] = NODE_COLUMNS;
        let known: Vec<_> =
            ["time_s", "sigma_t"].into_iter().chain(lower).chain(upper).chain(pose::COLUMNS).collect();
        let mut table = Table::new(source, file, &known, notices)?;
        table.require(&["time_s", "sigma_t"])?;
        table.require(&lower)?;
        let two_nodes = upper.iter().any(|column| table.has(column));
        if two_nodes {
            table.require(&upper)?;
        }
        let mut rows: Vec<FieldRow> = Vec::new();
        let mut spacing = Spacing::default();
        while let Some(row) = table.next_row()? {
            let time_s = row.needed("time_s")?;
            spacing.check(&row, time_s)?;
            rows.push(FieldRow {
                time_s,
                lower_t: node(&row, lower)?,
                upper_t: two_nodes.then(|| node(&row, upper)).transpose()?,
                sigma_t: sigma(&row)?,
                mast: pose::read(&row, foot_m)?,
            });
        }
        let rate_hz = spacing.rate_hz().filter(|rate| ROWS_PER_SECOND.contains(rate));
        let rate_hz = rate_hz.ok_or_else(|| CaptureError::Table {
            file: file.to_path_buf(),
            line: 2,
            column: "time_s".to_owned(),
            problem: match spacing.rate_hz() {
                Some(rate) => format!("{rate} rows a second"),
                None => "less than two rows".to_owned(),
            },
            remedy: "give 5 to 50 rows a second",
        })?;
        Ok(Self { rows, rate_hz, nodes: 1 + usize::from(two_nodes) })
    }

    /// Number of nodes recorded: 1 or 2.
    pub fn nodes(&self) -> usize {
        self.nodes
    }
}

fn node(row: &Row<'_>, columns: [&str; 6]) -> Result<[Complex32; 3], CaptureError> {
    let [x_re, x_im, y_re, y_im, z_re, z_im] = columns;
    let phasor = |re, im| Ok(Complex32::new(row.needed(re)?, row.needed(im)?));
    Ok([phasor(x_re, x_im)?, phasor(y_re, y_im)?, phasor(z_re, z_im)?])
}

fn sigma(row: &Row<'_>) -> Result<f32, CaptureError> {
    let sigma_t: f32 = row.needed("sigma_t")?;
    if sigma_t > 0.0 {
        return Ok(sigma_t);
    }
    let remedy = "a standard uncertainty is above 0; nothing is known exactly";
    Err(row.wrong("sigma_t", format!("{sigma_t:?} T cannot be"), remedy))
}

/// Watches that times rise evenly. Each is compared with where the first step leads to, so that neither
/// a jump nor a slow drift goes unseen.
#[derive(Default)]
struct Spacing {
    last_s: Option<f64>,
    step_s: Option<f64>,
    steps: u32,
    first_s: f64,
}

impl Spacing {
    fn check(&mut self, row: &Row<'_>, time_s: f64) -> Result<(), CaptureError> {
        let Some(last_s) = self.last_s.replace(time_s) else {
            self.first_s = time_s;
            return Ok(());
        };
        let step_s = time_s - last_s;
        let usual_s = *self.step_s.get_or_insert(step_s);
        if step_s <= 0.0 {
            return Err(row.wrong(
                "time_s",
                "not later than the row before",
                "sort the rows by time and keep one for each time",
            ));
        }
        if (step_s - usual_s).abs() > SPACING_TOLERANCE * usual_s {
            return Err(row.wrong(
                "time_s",
                format!("{step_s} s after the row before, where the rows before are {usual_s} s apart"),
                "space the rows evenly, within 1 %; split the recording at a gap",
            ));
        }
        self.steps += 1;
        Ok(())
    }

    /// Rows a second, over all rows.
    fn rate_hz(&self) -> Option<f64> {
        Some(f64::from(self.steps) / (self.last_s? - self.first_s)).filter(|rate| rate.is_finite())
    }
}
