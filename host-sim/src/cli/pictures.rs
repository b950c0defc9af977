//! Pictures of a locate.

use std::path::{Path, PathBuf};

use super::{Done, Failure, report};
use crate::capture::Capture;
use crate::pictures::{self, Picture};

#[derive(clap::Args)]
pub struct Options {
    /// A capture's folder, or a WAV file
    capture: PathBuf,
    /// Folder to write the pictures to
    #[arg(long)]
    out: PathBuf,
    /// Write PNG beside SVG
    #[arg(long)]
    png: bool,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    let capture = Capture::open(&options.capture)?;
    report::capture_notices(&capture.notices);
    let drawn = pictures::of_capture(&capture)?;
    if drawn.is_empty() {
        let capture = options.capture.display();
        return Err(format!(
            "{capture}: there is nothing to draw: it holds neither samples nor fields of nodes"
        )
        .into());
    }
    write(&drawn, &options.out, options.png)?;
    Ok(Done::WORK)
}

/// Write pictures into a folder, which is made if it is not there.
pub fn write(drawn: &[Picture], folder: &Path, png: bool) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|e| {
        format!("{}: cannot be made: {e}; name a folder elsewhere, or check permissions", folder.display())
    })?;
    for picture in drawn {
        let path = folder.join(picture.file);
        report::write(&path, picture.svg.as_bytes())?;
        report::wrote("drawn", &path);
        if png {
            let path = path.with_extension("png");
            report::write(&path, &picture.png()?)?;
            report::wrote("drawn", &path);
        }
    }
    Ok(())
}
