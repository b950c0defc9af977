//! Jobs: what was found, kept over days, corrected, joined and handed on.

mod begin;
mod change;
mod desk;
mod hand_on;
mod parse;
mod remark;
mod site;
mod station;
mod tell;

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
    New(begin::New),
    /// Take in a handset's field book, a capture by reference, or a book of an earlier nullwalk
    Import(begin::Import),
    /// Enter a mark that was made by hand: a cleanout, a lid, the trouble spot
    Mark(station::Mark),
    /// Say where a station's mark is: taped on the grid, by ties, or by satellites
    Place(station::SetPlace),
    /// Enter a permanent point, which ties are taped to
    Point(site::Point),
    /// Enter a distance taped from a station to a permanent point
    Tie(site::Tie),
    /// Say where the site's grid lies on the Earth
    Anchor(site::Anchor),
    /// Enter words
    Note(remark::Note),
    /// Enter a photo, by reference
    Photo(remark::Photo),
    /// Enter a search over an area, and how deep it sees
    Sweep(remark::Sweep),
    /// Enter another line on the site, or one that was expected and not found
    Line(remark::Line),
    /// Correct an entry; what stood there stays in the history
    Correct(change::Correct),
    /// Withdraw an entry; it stays in the history
    Withdraw(change::Withdraw),
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

pub fn run(options: &Options) -> Result<Done, Failure> {
    match &options.task {
        Task::New(options) => begin::new(options),
        Task::Import(options) => begin::import(options),
        Task::Mark(options) => station::mark(options),
        Task::Place(options) => station::place(options),
        Task::Point(options) => site::point(options),
        Task::Tie(options) => site::tie(options),
        Task::Anchor(options) => site::anchor(options),
        Task::Note(options) => remark::note(options),
        Task::Photo(options) => remark::photo(options),
        Task::Sweep(options) => remark::sweep(options),
        Task::Line(options) => remark::line(options),
        Task::Correct(options) => change::correct(options),
        Task::Withdraw(options) => change::withdraw(options),
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
