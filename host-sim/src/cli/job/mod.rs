//! Jobs: what was found, kept over days, corrected, joined and handed on.

mod enter;
mod hand_on;
mod parse;
mod tell;

use std::path::PathBuf;

pub use parse::run as run_id;

use super::{Done, Failure};
use crate::job::{Job, Places};

#[derive(clap::Args)]
pub struct Options {
    #[command(subcommand)]
    task: Task,
}

#[derive(clap::Subcommand)]
enum Task {
    /// Begin a job
    New(enter::New),
    /// Take in a handset's field book, a capture by reference, or a book of an earlier nullwalk
    Import(enter::Import),
    /// Enter a mark that was made by hand: a cleanout, a lid, the trouble spot
    Mark(enter::Mark),
    /// Say where a station's mark is: taped on the grid, by ties, or by satellites
    Place(enter::SetPlace),
    /// Enter a permanent point, which ties are taped to
    Point(enter::Point),
    /// Enter a distance taped from a station to a permanent point
    Tie(enter::Tie),
    /// Say where the site's grid lies on the Earth
    Anchor(enter::Anchor),
    /// Enter words
    Note(enter::Note),
    /// Enter a photo, by reference
    Photo(enter::Photo),
    /// Enter a search over an area, and how deep it sees
    Sweep(enter::Sweep),
    /// Enter another line on the site, or one that was expected and not found
    Line(enter::Line),
    /// Correct an entry; what stood there stays in the history
    Correct(enter::Correct),
    /// Withdraw an entry; it stays in the history
    Withdraw(enter::Withdraw),
    /// Tell what is in a job
    Show(tell::Show),
    /// List every entry there ever was
    History(tell::History),
    /// See that a job is whole, and that the files it names are there and still the same
    Check(tell::Check),
    /// Save what is whole in a damaged job into a new one
    Rescue(tell::Rescue),
    /// Join the stations of a run: line, slopes, trouble spot, stakes
    Run(hand_on::JoinRun),
    /// Write a job as a map or drawing: GeoJSON, GeoPackage, CSV, DXF or KML
    Export(hand_on::Export),
}

/// Which job, and who works on it.
#[derive(clap::Args)]
struct Desk {
    /// The job
    job: PathBuf,
    /// Who enters this, as it is to stand in the history
    #[arg(long, default_value = "")]
    by: String,
}

/// One station of a job.
#[derive(clap::Args)]
struct Which {
    /// The station's number
    #[arg(long)]
    station: u32,
    /// Its run; may be left out where there is one
    #[arg(long)]
    run: Option<String>,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    match &options.task {
        Task::New(options) => enter::new(options),
        Task::Import(options) => enter::import(options),
        Task::Mark(options) => enter::mark(options),
        Task::Place(options) => enter::place(options),
        Task::Point(options) => enter::point(options),
        Task::Tie(options) => enter::tie(options),
        Task::Anchor(options) => enter::anchor(options),
        Task::Note(options) => enter::note(options),
        Task::Photo(options) => enter::photo(options),
        Task::Sweep(options) => enter::sweep(options),
        Task::Line(options) => enter::line(options),
        Task::Correct(options) => enter::correct(options),
        Task::Withdraw(options) => enter::withdraw(options),
        Task::Show(options) => tell::show(options),
        Task::History(options) => tell::history(options),
        Task::Check(options) => tell::check(options),
        Task::Rescue(options) => tell::rescue(options),
        Task::Run(options) => hand_on::join_run(options),
        Task::Export(options) => hand_on::export(options),
    }
}

/// Where everything of a job is, its notices told.
pub fn places_of(job: &Job) -> Result<Places, Failure> {
    let places = tell::places(job)?;
    for notice in &places.notices {
        eprintln!("notice: {notice}");
    }
    Ok(places)
}
