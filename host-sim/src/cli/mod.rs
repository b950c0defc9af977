//! The `nullwalk` command: thin, everything it does lives in the modules beside it.
//!
//! Exit status: 0 every station agrees, 3 at least one is in doubt, 4 at least one is refused, 1 the
//! command could not do its work, 2 the command line is wrong.

mod calibrate;
mod carried;
mod circle;
mod coils;
mod currents;
mod demo;
mod fieldbook;
mod figures;
mod job;
mod live;
mod locate;
mod mains;
mod pictures;
mod replay;
mod report;
mod serve;
mod sheet;
mod sites;
mod sweep;
mod tones;
mod trace;
mod trials;
mod yard;

use std::error::Error;
use std::path::Path;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::book::{Run, Verdict};

/// Any error, to be told in one line.
type Failure = Box<dyn Error>;

/// Locate a sonde or trace a line, simulated or recorded: find it, cross-check it, say how sure it is or refuse.
#[derive(Parser)]
#[command(version, after_help = EXIT_HELP)]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
}

const EXIT_HELP: &str = "\
Without a command the built-in demonstration runs.
Exit status: 0 all stations agree, 3 doubt, 4 refusal, 1 failure, 2 wrong command line.";

#[derive(Subcommand)]
enum Command {
    /// Run the built-in demonstration and write its job and dig sheet
    Demo(demo::Options),
    /// Simulate a site and locate every station of it
    Locate(locate::LocateOptions),
    /// Trace a line by its tone or by live power, from a capture or the stations of a site
    Trace(trace::Options),
    /// Simulate a site and write a capture of every station
    Record(locate::RecordOptions),
    /// Locate from a capture
    Replay(replay::Options),
    /// Watch a recording, a simulated walk or a handset's link in the terminal, as it goes on
    Live(live::Options),
    /// Look into a capture: channels, spectrum, levels, rungs, dropouts
    Inspect(replay::InspectOptions),
    /// Draw what the instrument saw: components, plan, residuals, spectrum, waterfall, gain
    Pictures(pictures::Options),
    /// Passive mains in a capture or WAV file: the grid's frequency over time, its harmonics, what a load changed
    Mains(mains::Options),
    /// Field books of a handset: list, repair, turn into captures, replay, follow live
    FieldBook(fieldbook::Options),
    /// Calibrate the coils from captures of one source, the mast in several attitudes
    Calibrate(calibrate::Options),
    /// List the built-in sites, or explain one
    Sites(sites::Options),
    /// Look before digging: lines under a box, and what the walk over it would have noticed
    Sweep(sweep::Options),
    /// Walk around a transmitter: which ways its current leaves, and how much on each
    Circle(circle::Options),
    /// Bookkeeping of the current along a run: loss, steps at tees and bonds, sums, what neighbours do
    Currents(currents::Options),
    /// Where tones land in the samples, what lands on them, and which is the lowest that the noise allows
    Tones(tones::Options),
    /// Many seeded simulated locates with random variation, summarised
    Trials(trials::Options),
    /// Jobs: keep what was found, correct it, join it, hand it on
    Job(job::Options),
    /// Show jobs in a browser on this machine: map, profile, stations, sheet, exports, upload of a capture
    Serve(serve::Options),
    /// Draw the dig sheet of a run
    Sheet(sheet::SheetOptions),
    /// Draw the figures of the documentation
    Figures(figures::Options),
}

/// How a command ended, when it did.
struct Done {
    verdict: Verdict,
}

impl Done {
    /// Done with something that has no verdict.
    const WORK: Self = Self { verdict: Verdict::Agree };

    fn with(run: &Run) -> Self {
        let gravest = |a: Verdict, b: Verdict| if rank(b) > rank(a) { b } else { a };
        let verdicts = run.stations.iter().map(|s| s.verdict);
        Self { verdict: verdicts.reduce(gravest).unwrap_or(Verdict::Refuse) }
    }
}

fn rank(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Agree => 0,
        Verdict::Doubt => 1,
        Verdict::Refuse => 2,
    }
}

/// The name of a file, without the folder that it is in.
fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// Parse the command line, run the command, turn the result into an exit status.
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let done = match arguments.command.unwrap_or(Command::Demo(demo::Options::default())) {
        Command::Demo(options) => demo::run(&options),
        Command::Locate(options) => locate::locate(&options),
        Command::Trace(options) => trace::run(&options),
        Command::Record(options) => locate::record(&options),
        Command::Replay(options) => replay::run(&options),
        Command::Live(options) => live::run(&options),
        Command::Inspect(options) => replay::inspect(&options),
        Command::Pictures(options) => pictures::run(&options),
        Command::Mains(options) => mains::run(&options),
        Command::FieldBook(options) => fieldbook::run(&options),
        Command::Calibrate(options) => calibrate::run(&options),
        Command::Sites(options) => sites::run(&options),
        Command::Sweep(options) => sweep::run(&options),
        Command::Circle(options) => circle::run(&options),
        Command::Currents(options) => currents::run(&options),
        Command::Tones(options) => tones::run(&options),
        Command::Trials(options) => trials::run(&options),
        Command::Job(options) => job::run(&options),
        Command::Serve(options) => serve::run(options),
        Command::Sheet(options) => sheet::run(&options),
        Command::Figures(options) => figures::run(&options),
    };
    match done {
        Ok(done) => match done.verdict {
            Verdict::Agree => ExitCode::SUCCESS,
            Verdict::Doubt => ExitCode::from(3),
            Verdict::Refuse => ExitCode::from(4),
        },
        Err(error) => {
            eprintln!("nullwalk: {error}");
            ExitCode::FAILURE
        }
    }
}
