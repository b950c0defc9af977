//! What is said beside the stations: words, photos, searches, other lines.

use std::path::PathBuf;

use super::desk::Desk;
use crate::cli::{Done, Failure};
use crate::job::{self, Content, Utility, fingerprint};
use crate::quantity::length;

#[derive(clap::Args)]
pub struct Note {
    #[command(flatten)]
    desk: Desk,
    /// The words
    text: String,
    /// Entry that they are about
    #[arg(long)]
    about: Option<i64>,
}

#[derive(clap::Args)]
pub struct Photo {
    #[command(flatten)]
    desk: Desk,
    /// The file
    file: PathBuf,
    /// What it shows
    #[arg(long, default_value = "")]
    text: String,
    /// Entry that it is about
    #[arg(long)]
    about: Option<i64>,
}

#[derive(clap::Args)]
pub struct Sweep {
    #[command(flatten)]
    desk: Desk,
    /// Where, in words
    #[arg(long)]
    area: String,
    /// What was listened for, and how it was walked
    #[arg(long)]
    method: String,
    /// Depth down to which the source named beside would have been noticed
    #[arg(long, requires = "source")]
    sees_to: Option<String>,
    /// That source, as in "a cable with 50 mA of mains"
    #[arg(long, default_value = "")]
    source: String,
    /// What came of it
    #[arg(long, default_value = "")]
    found: String,
}

#[derive(clap::Args)]
pub struct Line {
    #[command(flatten)]
    desk: Desk,
    /// What it is
    #[arg(long)]
    name: String,
    /// What flows in it
    #[arg(long, value_enum, default_value = "unknown")]
    utility: Utility,
    /// How it is known of, as in "the owner's mark"
    #[arg(long)]
    known_by: String,
    /// It was expected and looked for, and not found
    #[arg(long)]
    not_found: bool,
    /// A corner: metres east and north on the grid, as in 3.5,-2; give several, in order
    #[arg(long, allow_hyphen_values = true)]
    at: Vec<String>,
}

pub fn note(options: &Note) -> Result<Done, Failure> {
    options.desk.enter(Content::Note(job::Note { text: options.text.clone(), about: options.about }))
}

pub fn photo(options: &Photo) -> Result<Done, Failure> {
    let (sha256, _) = fingerprint(&options.file)?;
    let path = options.file.to_string_lossy().into_owned();
    let photo = job::Photo { path, sha256, text: options.text.clone(), about: options.about };
    options.desk.enter(Content::Photo(photo))
}

pub fn sweep(options: &Sweep) -> Result<Done, Failure> {
    let read = |text: &String| length(text).map_err(|e| format!("--sees-to {text:?}: {e}"));
    let sees_to = options.sees_to.as_ref().map(read).transpose()?;
    let sweep = job::Sweep {
        area: options.area.clone(),
        method: options.method.clone(),
        source: options.source.clone(),
        sees_to_m: sees_to.map(|length| length.value),
        found: options.found.clone(),
    };
    options.desk.enter(Content::Sweep(sweep))
}

pub fn line(options: &Line) -> Result<Done, Failure> {
    let corner = |text: &String| {
        let read = |part: &str| part.trim().parse::<f64>().ok().filter(|m| m.is_finite());
        text.split_once(',').and_then(|(east, north)| Some([read(east)?, read(north)?])).ok_or_else(|| {
            format!("--at {text:?}: give metres east and north with a comma between, as in 3.5,-2")
        })
    };
    let line = job::OtherLine {
        name: options.name.clone(),
        utility: options.utility,
        known_by: options.known_by.clone(),
        found: !options.not_found,
        path: options.at.iter().map(corner).collect::<Result<_, _>>()?,
    };
    options.desk.enter(Content::Line(line))
}
