//! Where captures are kept: in a folder beside the job.

use std::fs;
use std::path::{Path, PathBuf};

use axum::http::StatusCode;
use tempfile::TempDir;

use crate::serve::{Trouble, Volume};

/// Where the captures of a job are kept.
pub fn shelf_of(volume: &Volume) -> PathBuf {
    let mut name = volume.path.file_stem().unwrap_or_default().to_owned();
    name.push("-captures");
    volume.path.with_file_name(name)
}

/// The file system refuses.
pub fn not_kept(path: &Path) -> impl Fn(std::io::Error) -> Trouble + use<> {
    let path = path.to_owned();
    move |error| {
        let status = match error.kind() {
            std::io::ErrorKind::PermissionDenied | std::io::ErrorKind::ReadOnlyFilesystem => {
                StatusCode::FORBIDDEN
            }
            _ => StatusCode::INSUFFICIENT_STORAGE,
        };
        let what = format!(
            "{}: cannot be written: {error}. Check its permissions and the room on the disk.",
            path.display()
        );
        Trouble::new(status, what)
    }
}

/// Nothing that is there is written over.
pub fn not_there_yet(capture: &Path) -> Result<(), Trouble> {
    if !capture.exists() {
        return Ok(());
    }
    let name = capture.file_name().unwrap_or_default().display();
    let what = format!("There is a capture {name} of this job already. Choose another name.");
    Err(Trouble::new(StatusCode::CONFLICT, what))
}

/// A folder beside the job for the files of a capture, hidden until they are all there.
pub fn begin(volume: &Volume, name: &str) -> Result<TempDir, Trouble> {
    let shelf = shelf_of(volume);
    not_there_yet(&shelf.join(name))?;
    fs::create_dir_all(&shelf).map_err(not_kept(&shelf))?;
    tempfile::Builder::new().prefix(".arriving-").tempdir_in(&shelf).map_err(not_kept(&shelf))
}
