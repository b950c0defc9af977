//! Writing phasors that are already demodulated.

use std::path::Path;

use nullwalk_core::frame::MastReading;
use num_complex::Complex32;

use super::error::CaptureError;
use super::field::{FieldRow, NODE_COLUMNS};
use super::manifest::Description;
use super::write::{Workshop, csv_error};
use super::{FIELD_FILE, pose};

/// Writes a capture of fields at `target`, where nothing may be yet: whole, or not at all. Every number reads back as
/// the very same.
///
/// # Errors
/// When something is there, the folder above is missing, or the disk does not take it.
pub fn write_field(
    target: &Path,
    description: &Description,
    rows: &[FieldRow],
) -> Result<(), CaptureError> {
    let workshop = Workshop::open(target, description)?;
    let file = workshop.folder().join(FIELD_FILE);
    let mut table = csv::Writer::from_path(file).map_err(csv_error(target))?;
    let [lower, upper] = NODE_COLUMNS;
    let two_nodes = rows.iter().any(|row| row.upper_t.is_some());
    let columns =
        ["time_s", "sigma_t"].into_iter().chain(lower).chain(upper.into_iter().filter(|_| two_nodes));
    table.write_record(columns.chain(pose::COLUMNS)).map_err(csv_error(target))?;
    for row in rows {
        let upper = row.upper_t.filter(|_| two_nodes);
        let cells = [row.time_s.to_string(), row.sigma_t.to_string()]
            .into_iter()
            .chain(node(row.lower_t))
            .chain(upper.into_iter().flat_map(node))
            .chain(pose::cells(row.mast.filter(|mast| *mast != MastReading::default()).as_ref()));
        table.write_record(cells).map_err(csv_error(target))?;
    }
    table.flush().map_err(CaptureError::io(target, "write"))?;
    drop(table);
    workshop.deliver()
}

fn node(field_t: [Complex32; 3]) -> impl Iterator<Item = String> {
    field_t.into_iter().flat_map(|z| [z.re.to_string(), z.im.to_string()])
}
