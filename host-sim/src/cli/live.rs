//! The live view in a terminal.

use std::fs::File;
use std::io::{self, IsTerminal as _, Read as _, Write};
use std::path::{Path, PathBuf};

use super::calibrate::{array_of, believe};
use super::coils::{self, Walk};
use super::fieldbook::create_new;
use super::locate;
use super::{Done, Failure, name_of, report};
use crate::book::{Run, Truth};
use crate::capture::{Capture, Content};
use crate::equipment::{ArrayFile, Signal};
use crate::fieldbook::{self, FieldBook, FieldBookError};
use crate::job::Keeper;
use crate::live::{About, Ending, Feed, Link, Replay, Samples, Screen, State, watch};
use crate::run;
use crate::synth::Simulation;
use crate::with_channels;

#[derive(clap::Args)]
#[group(id = "from", required = true, multiple = false, args = ["recording", "site", "serial"])]
pub struct Options {
    /// A capture's folder, a WAV file, or a handset's field book in any form
    recording: Option<PathBuf>,
    /// Simulate a station of this site: a built-in one (see `nullwalk sites`) or a site file
    #[arg(long)]
    site: Option<String>,
    /// A handset's serial port, as in /dev/ttyACM0 or COM3
    #[arg(long, value_name = "PORT")]
    serial: Option<String>,
    /// With --site: which station, counted from 1
    #[arg(long, default_value_t = 1, requires = "site")]
    station: usize,
    /// With --site: which randomness
    #[arg(long, default_value_t = 1, requires = "site")]
    seed: u64,
    /// With --serial: its speed; a port over USB has none
    #[arg(long, default_value_t = 115_200, requires = "serial")]
    baud: u32,
    /// With --serial: keep all that comes in this file, which is a field book then
    #[arg(long, requires = "serial")]
    log: Option<PathBuf>,
    /// Of a field book, which recording, counted from 1
    #[arg(long, value_name = "NUMBER")]
    number: Option<usize>,
    /// Take the [array] of this file in place of the capture's or the site's, as from `nullwalk calibrate`
    #[arg(long)]
    array: Option<PathBuf>,
    #[command(flatten)]
    length: coils::Length,
    /// How fast to begin: 0.25 to 32 times
    #[arg(long, default_value_t = 1.0)]
    speed: f64,
    /// Keep stations that are marked in this job, which is begun if it is not there
    #[arg(long)]
    job: Option<PathBuf>,
    /// Name of the run in the job that they are kept in; the recording's name, if left out
    #[arg(long, requires = "job")]
    run: Option<String>,
}

/// Something to look at.
struct Sight {
    about: About,
    feed: Box<dyn Feed>,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    if !(0.25..=32.0).contains(&options.speed) {
        return Err("--speed: must be 0.25 to 32".into());
    }
    let walk = options.length.walk()?;
    if !(io::stdin().is_terminal() && io::stdout().is_terminal()) {
        return Err(
            "live: this is no terminal; run it in one without redirecting its input or output, or use \
                    `nullwalk replay`, `locate` or `field-book follow`, whose output is text"
                .into(),
        );
    }
    let array = array_of(options.array.as_deref())?;
    let Sight { about, mut feed } = match (&options.recording, &options.site, &options.serial) {
        (Some(path), ..) => recorded(path, options.number, array, walk)?,
        (_, Some(site), _) => simulated(site, options.station, options.seed, array)?,
        (_, _, Some(port)) => linked(port, options.baud, options.log.as_deref())?,
        _ => return Err("live: nothing to look at; name a recording, --site or --serial".into()),
    };
    let mut keeper = options.job.as_deref().map(|job| {
        let title = options.run.clone().unwrap_or_else(|| about.title.clone());
        let run = Run { title, simulated: about.simulated, pipe: about.pipe, ..Run::default() };
        Keeper::open(job, run, options.recording.as_deref())
    });
    let mut keeper = keeper.take().transpose()?;
    let job = keeper.as_ref().map(|keeper| name_of(keeper.path()));
    let mut state = State::new(about, job, options.speed);
    let watched = {
        let mut screen = Screen::open().map_err(|e| {
            format!("live: the terminal cannot be taken over: {e}; use another one, or `nullwalk replay`")
        })?;
        watch(&mut screen, &mut state, feed.as_mut(), |station| match &mut keeper {
            None => Err("no job was named; leave, and begin with --job FILE".to_owned()),
            Some(keeper) => {
                let number = keeper.keep(station).map_err(|e| e.to_string())?;
                Ok((number, name_of(keeper.path())))
            }
        })
    };
    watched.map_err(|e| format!("live: the terminal failed: {e}"))?;
    if let (Some(keeper), false) = (&keeper, state.marked.is_empty()) {
        let (count, plural) = (state.marked.len(), if state.marked.len() == 1 { "" } else { "s" });
        eprintln!("{count} station{plural} kept in {}", keeper.path().display());
    }
    match state.ending {
        Some(Ending::Failed(why)) => Err(why.into()),
        _ => Ok(Done::WORK),
    }
}

fn recorded(
    path: &Path,
    number: Option<usize>,
    array: Option<ArrayFile>,
    walk: Walk,
) -> Result<Sight, Failure> {
    if is_capture(path)? {
        if number.is_some() {
            return Err("--number: a capture is one recording; leave it out".into());
        }
        return captured(path, array, walk);
    }
    if array.is_some() {
        return Err("--array: a field book says itself what array it was recorded with".into());
    }
    let book = FieldBook::open(path)?;
    for notice in book.findings() {
        eprintln!("notice: {}: {notice}", path.display());
    }
    let recording = book.recording(number)?;
    let (header, hops) = recording.playable(path)?;
    let feed = Replay::of_hops(header, hops.to_vec())
        .map_err(|error| format!("{}, recording {}: {error}", path.display(), recording.number))?;
    let span = hops.first().zip(hops.last()).map(|(a, b)| b.phasors.centre.abs_diff(a.phasors.centre));
    let about = About {
        title: name_of(path),
        signal: Some(fieldbook::signal(header)),
        gains: header.rungs.iter().map(|rung| rung.gain).collect(),
        length_s: span.map(|samples| samples as f64 / f64::from(header.rate_hz)),
        ..About::default()
    };
    Ok(Sight { about, feed: Box::new(feed) })
}

/// Whether there is a capture or a WAV file, and not a field book.
fn is_capture(path: &Path) -> Result<bool, Failure> {
    if path.is_dir() || !path.exists() {
        return Ok(true);
    }
    let mut head = Vec::new();
    let read = File::open(path).and_then(|file| file.take(4).read_to_end(&mut head));
    read.map_err(|e| {
        format!("{}: cannot be read: {e}; check the path and its permissions", path.display())
    })?;
    let by_name = path.extension().is_some_and(|end| end.eq_ignore_ascii_case("wav"));
    Ok(by_name || head == b"RIFF")
}

fn captured(path: &Path, array: Option<ArrayFile>, walk: Walk) -> Result<Sight, Failure> {
    let mut capture = Capture::open(path)?;
    if let Some(array) = array {
        believe(&mut capture, array)?;
    }
    report::capture_notices(&capture.notices);
    let nodes = capture.array.clone().ok_or_else(|| {
        format!(
            "{}: its coils form no nodes, so nothing can be located; `nullwalk inspect` and `replay` tell what each \
             channel heard",
            path.display()
        )
    })?;
    let signal = capture.description.signal.clone();
    let about = About { title: name_of(path), signal: Some(signal.clone()), ..About::default() };
    match &capture.content {
        Content::Field(recording) => {
            let feed = Replay::of_rows(nodes, recording, signal.settings(walk.settings()))?;
            let length_s = Some(recording.rows.len() as f64 / recording.rate_hz);
            Ok(Sight { about: About { length_s, ..about }, feed: Box::new(feed) })
        }
        Content::Samples { .. } => {
            let gains = capture.ladder.rungs().iter().map(|rung| rung.gain).collect();
            let (feed, length) =
                with_channels!(signal.channels, C => from_samples::<C>(&capture, nodes, walk))
                    .ok_or("the capture must have 1 to 8 channels")??;
            let length_s = Some(length as f64 / signal.sample_rate_hz);
            Ok(Sight { about: About { gains, has_samples: true, length_s, ..about }, feed })
        }
    }
}

fn from_samples<const C: usize>(
    capture: &Capture,
    nodes: nullwalk_core::array::Array,
    walk: Walk,
) -> Result<(Box<dyn Feed>, u64), Failure> {
    let description = &capture.description;
    let ladder = capture.ladder.clone();
    let instrument = run::instrument_with::<C>(&description.signal, ladder, nodes, walk.settings())?;
    let reader = capture.reader::<C>()?;
    let length = reader.length();
    let feed = Samples::new(instrument, reader, &description.front_end, &description.array);
    Ok((Box::new(feed), length))
}

fn simulated(name: &str, number: usize, seed: u64, array: Option<ArrayFile>) -> Result<Sight, Failure> {
    let site = locate::open(name)?;
    let stations = site.stations();
    let Some(here) = number.checked_sub(1).and_then(|n| stations.get(n)) else {
        return Err(format!("--station: {name} has stations 1 to {}", stations.len()).into());
    };
    let ladder = site.front_end.ladder()?;
    let believed = array.as_ref().unwrap_or(&site.array);
    let nodes = believed.array()?.ok_or("a site needs an array with nodes")?;
    let gains = ladder.rungs().iter().map(|rung| rung.gain).collect();
    let parts = [&site.title, &here.name].map(String::as_str);
    let title = parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(": ");
    let (feed, truth) = with_channels!(site.signal.channels, C => {
        let simulation = Simulation::<C>::new(&site, number - 1, seed)?;
        let truth = simulation.truth().map(|t| Truth {
            east_m: t.east_m,
            north_m: t.north_m,
            depth_to_source_m: t.depth_m,
        });
        let instrument = run::instrument::<C>(&site.signal, ladder, nodes)?;
        let feed = Samples::new(instrument, simulation, &site.front_end, believed);
        (Box::new(feed) as Box<dyn Feed>, truth)
    })
    .ok_or("signal.channels must be 1 to 8")?;
    let about = About {
        title,
        signal: Some(site.signal.clone()),
        gains,
        has_samples: true,
        simulated: true,
        truth,
        pipe: site.pipe,
        ..About::default()
    };
    Ok(Sight { about, feed })
}

fn linked(port: &str, baud: u32, log: Option<&Path>) -> Result<Sight, Failure> {
    let opened = fieldbook::open_port(port, baud)?;
    let log = log.map(|path| {
        let file = create_new(path)?;
        Ok::<_, FieldBookError>((path.to_path_buf(), Box::new(file) as Box<dyn Write + Send>))
    });
    let feed = Link::new(opened, log.transpose()?, Signal::default().sample_rate_hz);
    let about = About { title: port.to_owned(), is_live: true, ..About::default() };
    Ok(Sight { about, feed: Box::new(feed) })
}
