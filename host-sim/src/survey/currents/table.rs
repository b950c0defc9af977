//! The table of fixes.

use std::path::Path;

use super::{Books, Fix, LEAST, keep};
use crate::survey::SurveyError;

const MOST_ROWS: usize = 10_000;

/// Read a table of fixes, and keep its books.
///
/// # Errors
/// Names the line and column that cannot be used, and the remedy.
pub fn open(path: &Path) -> Result<Books, SurveyError> {
    let wrong = |place: String, problem: String, remedy| SurveyError::Table {
        path: path.to_path_buf(),
        place,
        problem,
        remedy,
    };
    let columns = "columns: at_m, current_ma; and as known: name, run, sigma_ma, phase_deg, phase_sigma_deg, depth_m, \
                   depth_sigma_m, leaves_at_m";
    if path.is_dir() {
        return Err(wrong(String::new(), "is a folder".to_owned(), "give a job or a CSV table"));
    }
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_path(path)
        .map_err(|e| wrong(String::new(), format!("cannot be read: {e}"), "give a CSV table"))?;
    let mut fixes = Vec::new();
    for (row, line) in reader.deserialize::<Fix>().zip(2..) {
        let fix = row.map_err(|e| wrong(format!(", line {line}"), what(&e), columns))?;
        let numbers = [
            ("at_m", Some(fix.at_m), f64::NEG_INFINITY),
            ("current_ma", Some(fix.current_ma), 0.0),
            ("sigma_ma", fix.sigma_ma, 0.0),
            ("phase_deg", fix.phase_deg, f64::NEG_INFINITY),
            ("phase_sigma_deg", fix.phase_sigma_deg, 0.0),
            ("depth_m", fix.depth_m, 0.0),
            ("depth_sigma_m", fix.depth_sigma_m, 0.0),
            ("leaves_at_m", fix.leaves_at_m, f64::NEG_INFINITY),
        ];
        for (column, value, least) in numbers {
            if value.is_some_and(|value| !(value.is_finite() && value >= least)) {
                let problem = format!("{} cannot be", value.unwrap_or_default());
                return Err(wrong(
                    format!(", line {line}, {column}"),
                    problem,
                    "give a number, 0 or more for sizes",
                ));
            }
        }
        fixes.push(fix);
        if fixes.len() > MOST_ROWS {
            return Err(wrong(String::new(), format!("more than {MOST_ROWS} rows"), "split it by runs"));
        }
    }
    if fixes.len() < LEAST {
        let problem = format!("{} fixes", fixes.len());
        return Err(wrong(
            String::new(),
            problem,
            "three on a run are the least that tell a loss from a step",
        ));
    }
    Ok(keep(fixes))
}

fn what(error: &csv::Error) -> String {
    match error.kind() {
        csv::ErrorKind::Deserialize { err, .. } => err.kind().to_string(),
        csv::ErrorKind::Utf8 { .. } => "is no text".to_owned(),
        csv::ErrorKind::UnequalLengths { len, expected_len, .. } => {
            format!("has {len} columns where the heading has {expected_len}")
        }
        _ => error.to_string(),
    }
}
