//! Tracing lines: from a capture, or from the stations of a simulated site.

use std::path::{Path, PathBuf};

use nullwalk_core::depth::soil::Soil;
use nullwalk_core::mains::ORDERS;
use serde::Serialize;

use super::calibrate::array_of;
use super::carried::Carried;
use super::locate::open;
use super::{Done, Failure, name_of, rank, report};
use crate::book::{Run, Verdict};
use crate::capture::{Capture, Content, Description};
use crate::equipment::coupled;
use crate::job::Keeper;
use crate::run::{self, Hums, Kit, Listen, Walk};
use crate::site::{Seek, builtin};
use crate::trace::{self, CAUTION, MAINS_CAUTION, Settings, TONE_CAUTION, Trace, Visit};
use crate::with_channels;

#[derive(clap::Args)]
pub struct Options {
    /// A capture's folder, a built-in site (see `nullwalk sites`) or a site file
    target: String,
    /// Listen for this tone in place of the one that capture or site names, hertz
    #[arg(long, value_name = "HZ", allow_negative_numbers = true, conflicts_with = "mains")]
    tone: Option<f64>,
    /// Listen for passive mains: --mains for the strongest harmonic that can be used, --mains=3 for that one
    #[arg(long, value_name = "ORDER", num_args = 0..=1, require_equals = true, default_missing_value = "auto", value_parser = order)]
    mains: Option<Order>,
    /// The load test: the same lanes, walked before the load was switched on. A capture's folder, or a station's number
    #[arg(long, value_name = "CAPTURE", requires = "mains")]
    before: Option<String>,
    /// What the ground is: it makes a line's depth read shallow
    #[arg(long, value_enum, default_value_t = SoilClass::Unknown)]
    soil: SoilClass,
    #[command(flatten)]
    carried: Carried,
    /// Of a site, only this station
    #[arg(long, value_name = "NUMBER")]
    station: Option<usize>,
    /// Which randomness, of a site
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Let the instrument believe the [array] of this file
    #[arg(long)]
    array: Option<PathBuf>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
    /// Keep the result in this job, which is begun if it is not there
    #[arg(long)]
    job: Option<PathBuf>,
    /// Add it there to the run of this name, in place of a run of its own: one line, station after station away from the
    /// transmitter
    #[arg(long, requires = "job")]
    run: Option<String>,
}

/// A harmonic by its order, or the strongest that can be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Order(pub Option<usize>);

pub fn order(text: &str) -> Result<Order, String> {
    if text == "auto" {
        return Ok(Order(None));
    }
    match text.parse() {
        Ok(order @ 1..=ORDERS) => Ok(Order(Some(order))),
        _ => Err(format!("a harmonic is 1 to {ORDERS}, or auto")),
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum SoilClass {
    /// Dry or sandy
    Dry,
    /// Neither sand nor clay, or damp
    Loam,
    /// Clay, or salty
    Clay,
    /// Nobody knows
    Unknown,
}

impl SoilClass {
    pub fn soil(self) -> Soil {
        match self {
            Self::Dry => Soil::Dry,
            Self::Loam => Soil::Loam,
            Self::Clay => Soil::Clay,
            Self::Unknown => Soil::Unknown,
        }
    }
}

/// What was found, for machines.
#[derive(Serialize)]
struct Told<'a> {
    title: &'a str,
    lines: &'a [Trace],
    caution: &'a str,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    let (title, simulated, traces) = if is_site(&options.target) || !Path::new(&options.target).exists() {
        site(options)?
    } else {
        capture(options)?
    };
    let mains = traces.iter().any(|trace| trace.listened.mains);
    if options.json {
        report::json(&Told { title: &title, lines: &traces, caution: &cautions(mains, true) })?;
    } else {
        report::print(&format!("{title}\n{}", told(&traces)))?;
    }
    if let Some(path) = &options.job {
        let from = (!simulated).then(|| Path::new(&options.target));
        let stations = traces.iter().map(Trace::station);
        match &options.run {
            Some(name) => {
                let run = Run { title: name.clone(), simulated, ..Run::default() };
                let mut keeper = Keeper::open(path, run, from)?;
                for station in stations {
                    keeper.keep(station)?;
                }
                report::wrote("job", path);
            }
            None => {
                let run = Run { title, simulated, stations: stations.collect(), ..Run::default() };
                report::keep(&run, from, path)?;
            }
        }
    }
    Ok(done(&traces))
}

/// The tone that was asked for, if samples at this rate can hold it.
fn tone_of(options: &Options, rate_hz: f64) -> Result<Option<f64>, Failure> {
    let highest_hz = 0.5 * rate_hz - 10.0;
    match options.tone {
        Some(hz) if !(50.0..=highest_hz).contains(&hz) => Err(format!(
            "--tone: {hz} cannot be; give 50 to {highest_hz} Hz, as {rate_hz} samples a second can hold"
        )
        .into()),
        tone => Ok(tone),
    }
}

/// The gravest verdict counts.
pub fn done(traces: &[Trace]) -> Done {
    let verdicts = traces.iter().map(|trace| trace.verdict);
    Done { verdict: verdicts.max_by_key(|verdict| rank(*verdict)).unwrap_or(Verdict::Refuse) }
}

/// Every line, and the cautions.
fn told(traces: &[Trace]) -> String {
    let lines: String = traces.iter().map(|trace| format!("\n{trace}")).collect();
    let mains = traces.iter().any(|trace| trace.listened.mains);
    let tone = traces.iter().any(|trace| !trace.listened.mains);
    format!("{lines}\n{}", cautions(mains, tone))
}

/// What to bear in mind.
pub fn cautions(mains: bool, tone: bool) -> String {
    let tone = if tone { TONE_CAUTION } else { "" };
    let mains = if mains { MAINS_CAUTION } else { "" };
    format!("{CAUTION}{tone}{mains}")
}

fn is_site(target: &str) -> bool {
    builtin().iter().any(|site| site.name == target)
        || (Path::new(target).is_file() && target.ends_with(".toml"))
}

type Traced = (String, bool, Vec<Trace>);

fn capture(options: &Options) -> Result<Traced, Failure> {
    if options.station.is_some() {
        return Err("--station: a capture is one station; leave it out".into());
    }
    let capture = opened(&options.target, options)?;
    let mains = options.mains.map(|Order(order)| order);
    let walk = match (&options.before, mains) {
        (Some(before), Some(_)) => {
            let before = opened(before, options)?;
            change_of(&walks_of(&before)?, &walks_of(&capture)?)?
        }
        (_, Some(order)) => walk_of(&capture, Listen::Mains(order))?,
        (_, None) => walk_of(&capture, Listen::Tone)?,
    };
    let mut trace = trace::trace(&walk, mains.is_some(), &settings(options, 0.0))?;
    let name = name_of(&capture.path);
    trace.name.clone_from(&name);
    Ok((name, false, vec![trace]))
}

fn opened(path: &str, options: &Options) -> Result<Capture, Failure> {
    let mut capture = Capture::open(Path::new(path))?;
    report::capture_notices(&capture.notices);
    if let Some(tone_hz) = tone_of(options, capture.description.signal.sample_rate_hz)? {
        // What was calibrated at the capture's tone holds at another only where the high-pass is known.
        let signal = &mut capture.description.signal;
        let calibration = &mut capture.description.array.calibration;
        calibration.tone_hz = calibration.tone_hz.or(Some(signal.tone_hz));
        signal.tone_hz = tone_hz;
    }
    if let Some(array) = array_of(options.array.as_deref())? {
        capture.description.array = array;
    }
    Ok(capture)
}

fn settings(options: &Options, ground_up_m: f64) -> Settings {
    Settings { soil: options.soil.soil(), ground_up_m, carried_m: options.carried.carried }
}

fn kit_of(capture: &Capture) -> Result<Kit, Failure> {
    let path = capture.path.display();
    let Description { signal, front_end, array, .. } = &capture.description;
    let array = coupled(array, front_end, signal)?
        .ok_or_else(|| format!("{path}: its coils form no nodes; describe them under [array]"))?;
    Ok(Kit { signal: signal.clone(), ladder: capture.ladder.clone(), array })
}

fn walk_of(capture: &Capture, listen: Listen) -> Result<Walk, Failure> {
    let kit = kit_of(capture)?;
    let walk = match (&capture.content, listen) {
        (Content::Field(recording), Listen::Tone) => run::field_walk(&kit, recording),
        (Content::Field(_), Listen::Mains(_)) => {
            let path = capture.path.display();
            return Err(
                format!("{path}: holds the fields of one tone; mains is found in samples only").into()
            );
        }
        (Content::Samples { .. }, _) => with_channels!(kit.signal.channels, C => {
            let mut reader = capture.reader::<C>()?;
            let walk = run::walk::<C, _>(&kit, listen, &mut reader)??;
            report::capture_notices(&reader.notices());
            walk
        })
        .ok_or("the capture must have 1 to 8 channels")?,
    };
    if walk.looks().next().is_none() && !walk.seen.is_empty() {
        let path = capture.path.display();
        return Err(format!(
            "{path}: says not where the mast was; a line is traced by places and headings"
        )
        .into());
    }
    Ok(walk)
}

fn walks_of(capture: &Capture) -> Result<Vec<Walk>, Failure> {
    let kit = kit_of(capture)?;
    with_channels!(kit.signal.channels, C => {
        let mut reader = capture.reader::<C>()?;
        let hums: Hums<C> = run::mains_walk(&kit, &mut reader)??;
        Ok(hums.walks())
    })
    .ok_or("the capture must have 1 to 8 channels")?
}

/// The walk of what changed.
pub fn change_of(before: &[Walk], during: &[Walk]) -> Result<Walk, Failure> {
    let changed = trace::changed(before, during)
        .ok_or("--before: the two walks share too few places; walk the same lanes both times, in grids that are known")?;
    Ok(changed.walk)
}

fn site(options: &Options) -> Result<Traced, Failure> {
    let site = open(&options.target)?;
    let array = array_of(options.array.as_deref())?;
    let all = site.stations();
    let tone_hz = tone_of(options, site.signal.sample_rate_hz)?;
    if let Some(number) = options.station.filter(|number| !(1..=all.len()).contains(number)) {
        return Err(format!("--station {number}: the site has {} stations", all.len()).into());
    }
    let mut traces = Vec::new();
    for (n, here) in all.iter().enumerate() {
        let chosen = options.station.map_or(here.seek != Seek::Sonde, |number| number == n + 1);
        if !chosen {
            continue;
        }
        let mut here = here.clone();
        here.tone_hz = tone_hz.or(here.tone_hz);
        let listen = match (options.mains, options.tone, here.seek) {
            (Some(Order(order)), ..) => Listen::Mains(order),
            (None, None, Seek::Mains) => Listen::Mains(None),
            _ => Listen::Tone,
        };
        let visit = Visit { site: &site, n, here: &here, seed: options.seed, array: array.as_ref() };
        let walk = match &options.before {
            Some(before) => {
                let number: usize =
                    before.parse().ok().filter(|number| (1..=all.len()).contains(number)).ok_or_else(
                        || format!("--before {before}: of a site, name a station: 1 to {}", all.len()),
                    )?;
                let first = Visit { n: number - 1, here: &all[number - 1], ..visit };
                change_of(&first.walks()?, &visit.walks()?)?
            }
            None => visit.walk(listen)?,
        };
        traces.push(visit.traced(&walk, listen, &settings(options, site.ground.up_m))?);
    }
    if traces.is_empty() {
        let name = &options.target;
        return Err(format!(
            "{name}: no station of it looks for a line; give one with `seek = \"line\"` or name it with --station"
        )
        .into());
    }
    Ok((site.title.clone(), true, traces))
}
