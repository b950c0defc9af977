//! The `[array]` section as a file of its own.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::CalibrateError;
use crate::equipment::ArrayFile;
use crate::tolerant_toml::{self, Notice};

#[derive(Serialize, Deserialize)]
struct Section {
    array: ArrayFile,
}

/// The text of a file with nothing but this `[array]` section.
///
/// # Errors
/// When the array holds what TOML cannot say.
pub fn to_toml(array: &ArrayFile) -> Result<String, toml::ser::Error> {
    toml::to_string(&Section { array: array.clone() })
}

/// The `[array]` section of a file: one that [`to_toml`] wrote, a site, or a capture's description.
///
/// # Errors
/// When the file cannot be read, holds no `[array]`, or one that cannot be.
pub fn load_array(path: &Path) -> Result<(ArrayFile, Vec<Notice>), CalibrateError> {
    let file = path.display().to_string();
    let text = std::fs::read_to_string(path)
        .map_err(|source| CalibrateError::Read { file: file.clone(), source })?;
    let (Section { array }, notices) = tolerant_toml::parse::<Section>(&text, &file)?;
    match array.array() {
        Ok(Some(_)) => Ok((array, notices)),
        Ok(None) => Err(CalibrateError::Plan {
            file,
            place: "array.node".to_owned(),
            problem: "lists no nodes; an array to measure with needs them",
        }),
        Err(source) => Err(CalibrateError::Array { file, source }),
    }
}
