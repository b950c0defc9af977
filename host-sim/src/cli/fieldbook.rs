//! Field books of a handset, and its link.

use std::fs::OpenOptions;
use std::io::Write;
use std::path::{Path, PathBuf};

use nullwalk_core::record::Record;

use super::{Done, Failure, name_of, report};
use crate::book::Run;
use crate::fieldbook::{self, FieldBook, FieldBookError, Followed, Form, line};
use crate::run;

#[derive(clap::Args)]
pub struct Options {
    #[command(subcommand)]
    task: Task,
}

#[derive(clap::Subcommand)]
enum Task {
    /// Tell what is in a field book, and what is damaged or lost
    List(ListOptions),
    /// Write all whole records of a damaged field book into a new one
    Repair(RepairOptions),
    /// Turn a recording into a capture of fields
    Capture(CaptureOptions),
    /// Locate again from a recording, as the handset did
    Replay(ReplayOptions),
    /// Follow a handset live over its serial link
    Follow(FollowOptions),
}

#[derive(clap::Args)]
struct ListOptions {
    /// An image of the flash, the book from a card, or a log of the link
    file: PathBuf,
    /// Only this recording, counted from 1
    #[arg(long)]
    recording: Option<usize>,
    #[command(flatten)]
    delivery: report::Delivery,
}

#[derive(clap::Args)]
struct RepairOptions {
    /// An image of the flash, the book from a card, or a log of the link
    file: PathBuf,
    /// Where to write the repaired book
    #[arg(long)]
    out: PathBuf,
}

/// A recording of a book.
#[derive(clap::Args)]
struct Which {
    /// An image of the flash, the book from a card, or a log of the link
    file: PathBuf,
    /// Which recording, counted from 1
    #[arg(long)]
    recording: Option<usize>,
}

#[derive(clap::Args)]
struct CaptureOptions {
    #[command(flatten)]
    which: Which,
    /// Folder for the capture
    #[arg(long)]
    out: PathBuf,
}

#[derive(clap::Args)]
struct ReplayOptions {
    #[command(flatten)]
    which: Which,
    #[command(flatten)]
    delivery: report::Delivery,
}

#[derive(clap::Args)]
struct FollowOptions {
    /// The serial port, as in /dev/ttyACM0 or COM3
    port: String,
    /// Its speed; a port over USB has none
    #[arg(long, default_value_t = 115_200)]
    baud: u32,
    /// Keep all that comes in this file, which is a field book then
    #[arg(long)]
    log: Option<PathBuf>,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    match &options.task {
        Task::List(options) => list(options),
        Task::Repair(options) => repair(options),
        Task::Capture(options) => capture(options),
        Task::Replay(options) => replay(options),
        Task::Follow(options) => follow(options),
    }
}

fn open(file: &Path) -> Result<FieldBook, Failure> {
    let book = FieldBook::open(file)?;
    for notice in book.findings() {
        eprintln!("notice: {}: {notice}", file.display());
    }
    Ok(book)
}

fn list(options: &ListOptions) -> Result<Done, Failure> {
    let book = open(&options.file)?;
    let recordings = match options.recording {
        None => book.recordings(),
        number => vec![book.recording(number)?],
    };
    let name = name_of(&options.file);
    let form = match book.form {
        Form::Stream => "framed records",
        Form::Image => "an image of flash",
    };
    let mut run = Run {
        title: name,
        description: format!("{} records in {form}", book.entries.len()),
        ..Run::default()
    };
    let mut text = String::new();
    for recording in &recordings {
        let made = recording.header.as_ref().and_then(|h| line(&Record::Header(h.clone())));
        let made = made.unwrap_or_else(|| "its header is lost".to_owned());
        let (hops, fixes, stations) =
            (recording.hops.len(), recording.fixes.len(), recording.stations.len());
        text.push_str(&format!(
            "recording {}  {made}\n  {hops} hops, {fixes} fixes, {stations} stations\n",
            recording.number
        ));
        let notes = recording.notes.iter().map(|n| (n.at, line(&Record::Note(n.clone()))));
        let faults = recording.faults.iter().map(|f| (f.at, line(&Record::Fault(*f))));
        let mut told: Vec<_> = notes.chain(faults).collect();
        told.sort_by_key(|(at, _)| *at);
        for (at, what) in told {
            let time = recording.time_s(at).map_or(String::new(), |s| format!("{s:>8.1} s  "));
            text.push_str(&format!("  {time}{}\n", what.unwrap_or_default()));
        }
        run.stations.extend(recording.run_stations());
    }
    if !options.delivery.json {
        report::print(&format!("{text}\n"))?;
    }
    if run.stations.is_empty() && !options.delivery.json {
        report::print("no stations\n")?;
        return Ok(Done::WORK);
    }
    options.delivery.deliver(&run, Some(&options.file))?;
    Ok(Done::with(&run))
}

fn repair(options: &RepairOptions) -> Result<Done, Failure> {
    let book = open(&options.file)?;
    let mut out = create_new(&options.out)?;
    let stream = book.repaired();
    out.write_all(&stream)
        .and_then(|()| out.sync_all())
        .map_err(|e| format!("{}: cannot be written: {e}; check the disk", options.out.display()))?;
    eprintln!("{} whole records", book.entries.len());
    report::wrote("book", &options.out);
    Ok(Done::WORK)
}

fn capture(options: &CaptureOptions) -> Result<Done, Failure> {
    let book = open(&options.which.file)?;
    let recording = book.recording(options.which.recording)?;
    let (captures, alone) = fieldbook::export(&recording, &options.which.file, &options.out)?;
    if alone > 0 {
        eprintln!("notice: {alone} hops stand alone between gaps and are left out");
    }
    for capture in &captures {
        report::wrote("capture", capture);
    }
    Ok(Done::WORK)
}

fn replay(options: &ReplayOptions) -> Result<Done, Failure> {
    let book = open(&options.which.file)?;
    let recording = book.recording(options.which.recording)?;
    let again = recording.again(&options.which.file, |_, _| ())?;
    let (header, _) = recording.playable(&options.which.file)?;
    match (again.same, again.different) {
        (0, 0) => eprintln!("the handset kept no fix to compare with"),
        (same, 0) => {
            eprintln!("fixes of the handset that come out the same, bit for bit: {same} of {same}")
        }
        (same, different) => eprintln!(
            "notice: {different} of {} fixes of the handset come out differently: hops are missing before them, or \
             another build made them",
            same + different
        ),
    }
    let signal = fieldbook::signal(header);
    let name = name_of(&options.which.file);
    let station = run::station(1, &format!("recording {}", recording.number), &signal, &again.outcome);
    let run = Run { title: name, stations: vec![station], ..Run::default() };
    options.delivery.deliver(&run, Some(&options.which.file))?;
    Ok(Done::with(&run))
}

fn follow(options: &FollowOptions) -> Result<Done, Failure> {
    let mut port = fieldbook::open_port(&options.port, options.baud)?;
    let mut file = options.log.as_deref().map(create_new).transpose()?;
    let log = options.log.as_deref().zip(file.as_mut().map(|file| file as &mut dyn Write));
    report::print(&format!("{}\n", report::CAUTION))?;
    let found = fieldbook::follow(&mut port, log, |record, news| {
        if let Some(text) = line(record).filter(|_| news) {
            // Whoever looks on may go away; what comes is logged all the same.
            let _ = report::print(&format!("{text}\n"));
        }
    })?;
    let Followed { records, unreadable, lost, damaged, restarts } = found;
    eprintln!(
        "the link ended: {records} records, {lost} lost, {damaged} damaged, {unreadable} of a later version, {restarts} \
         restarts"
    );
    if let Some(log) = &options.log {
        report::wrote("log", log);
    }
    Ok(Done::WORK)
}

/// A file where nothing is yet.
pub fn create_new(path: &Path) -> Result<std::fs::File, FieldBookError> {
    let file = path.to_path_buf();
    OpenOptions::new().write(true).create_new(true).open(path).map_err(|source| match source.kind() {
        std::io::ErrorKind::AlreadyExists => FieldBookError::Exists { file },
        _ => FieldBookError::Io { file, action: "write", source },
    })
}
