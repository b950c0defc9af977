//! What a file is known by, wherever it lies.

use std::fs::{self, File};
use std::io::Read as _;
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

use super::error::JobError;
use crate::book::Station;

/// SHA-256 and size of a file, or of the files of a folder in the order of their names.
///
/// # Errors
/// When it cannot be read.
pub fn fingerprint(path: &Path) -> Result<(String, u64), JobError> {
    let mut hash = Sha256::new();
    let mut bytes = 0;
    let mut room = vec![0; 1 << 16];
    for file in files_of(path)? {
        let mut opened = File::open(&file).map_err(JobError::io(&file, "be opened"))?;
        loop {
            let n = opened.read(&mut room).map_err(JobError::io(&file, "be read"))?;
            let Some(read) = room.get(..n).filter(|read| !read.is_empty()) else { break };
            hash.update(read);
            bytes += n as u64;
        }
    }
    Ok((hex(&hash.finalize()), bytes))
}

fn files_of(path: &Path) -> Result<Vec<PathBuf>, JobError> {
    if !path.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let entries = fs::read_dir(path).map_err(JobError::io(path, "be read"))?;
    let mut files: Vec<PathBuf> = entries
        .map(|entry| entry.map(|e| e.path()))
        .collect::<Result<_, _>>()
        .map_err(JobError::io(path, "be read"))?;
    files.retain(|file| file.is_file());
    files.sort();
    Ok(files)
}

/// What a station is known by that no record of a field book stands behind.
pub fn of_station(station: &Station) -> String {
    hex(&Sha256::digest(serde_json::to_vec(station).unwrap_or_default()))
}

/// Bytes as they are written.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
