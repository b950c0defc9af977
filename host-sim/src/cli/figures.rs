//! The figures of the book.

use std::path::PathBuf;

use super::{Done, Failure};
use crate::figures;

#[derive(clap::Args)]
pub struct Options {
    /// Folder to write the SVG files to
    folder: PathBuf,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    let folder = &options.folder;
    std::fs::create_dir_all(folder).map_err(|e| {
        format!("{}: cannot be made: {e}; name a folder elsewhere, or check permissions", folder.display())
    })?;
    for figure in figures::figures()? {
        let path = folder.join(figure.file);
        std::fs::write(&path, figure.svg)
            .map_err(|e| format!("{}: cannot be written: {e}", path.display()))?;
        println!("{}", path.display());
    }
    Ok(Done::WORK)
}
