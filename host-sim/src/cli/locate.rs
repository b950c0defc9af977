//! Simulating a site: locate its stations, or record them.

use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};

use super::calibrate::array_of;
use super::{Done, Failure, report};
use crate::book::{Run, Truth};
use crate::capture::{CaptureWriter, Description, Made, Recording};
use crate::equipment::ArrayFile;
use crate::pictures::{self, Gatherer};
use crate::run::{self, Kit, Listen, Outcome};
use crate::site::{Seek, Site, Station, builtin};
use crate::synth::Simulation;
use crate::with_channels;

#[derive(clap::Args)]
pub struct LocateOptions {
    /// A built-in site (see `nullwalk sites`) or a site file
    site: String,
    /// Which randomness: the same seed gives the same walk, noise and calibration errors
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Hold this gain rung by hand, counted from 0, instead of stepping
    #[arg(long)]
    hold_rung: Option<u8>,
    #[command(flatten)]
    believed: Believed,
    /// Folder for pictures of the walks, one folder for each station
    #[arg(long)]
    pictures: Option<PathBuf>,
    #[command(flatten)]
    delivery: report::Delivery,
}

#[derive(clap::Args)]
pub struct RecordOptions {
    /// A built-in site (see `nullwalk sites`) or a site file
    site: String,
    /// Folder to make; each station becomes a capture in it
    folder: PathBuf,
    /// Which randomness
    #[arg(long, default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    believed: Believed,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

/// What the instrument believes of its coils, if not what the site says.
#[derive(clap::Args)]
struct Believed {
    /// Let the instrument believe the [array] of this file in place of the site's; the simulated coils stay
    /// as the site has them
    #[arg(long)]
    array: Option<PathBuf>,
}

pub fn locate(options: &LocateOptions) -> Result<Done, Failure> {
    let site = open(&options.site)?;
    let rungs = site.front_end.rungs.len();
    if let Some(rung) = options.hold_rung.filter(|rung| usize::from(*rung) >= rungs) {
        return Err(format!("--hold-rung {rung}: the site has {rungs} rungs, counted from 0").into());
    }
    let array = array_of(options.believed.array.as_deref())?;
    let wish = Wish {
        seed: options.seed,
        hold_rung: options.hold_rung,
        array,
        pictures: options.pictures.as_deref(),
        ..Wish::default()
    };
    let run = locate_site(&site, &wish)?;
    let lines = site.stations().iter().filter(|station| station.seek != Seek::Sonde).count();
    if lines > 0 {
        eprintln!("notice: {lines} of its stations look for lines: nullwalk trace {}", options.site);
    }
    options.delivery.deliver(&run, None)?;
    Ok(Done::with(&run))
}

pub fn record(options: &RecordOptions) -> Result<Done, Failure> {
    let site = open(&options.site)?;
    let array = array_of(options.believed.array.as_deref())?;
    if options.folder.exists() {
        let folder = options.folder.display();
        return Err(format!("{folder}: is there already; name a folder that is not").into());
    }
    report::make_folder(&options.folder)?;
    let wish = Wish { seed: options.seed, record: Some(&options.folder), array, ..Wish::default() };
    let run = locate_site(&site, &wish)?;
    report::tell(&run, options.json)?;
    Ok(Done::with(&run))
}

/// A site by its built-in name, or from a file.
pub fn open(name: &str) -> Result<Site, Failure> {
    if let Some(found) = builtin().iter().find(|b| b.name == name) {
        return Ok(found.site()?);
    }
    if !Path::new(name).exists() {
        let names: Vec<&str> = builtin().iter().map(|b| b.name).collect();
        return Err(format!(
            "{name}: no such file and no built-in site; built in are {}",
            names.join(", ")
        )
        .into());
    }
    let (site, notices) = Site::load(Path::new(name))?;
    report::notices(&notices);
    Ok(site)
}

/// How a site is to be located.
#[derive(Default)]
pub struct Wish<'a> {
    pub seed: u64,
    pub hold_rung: Option<u8>,
    /// Folder that captures go into.
    pub record: Option<&'a Path>,
    /// Folder that pictures go into.
    pub pictures: Option<&'a Path>,
    /// What the instrument believes of its coils, if not what the site says.
    pub array: Option<ArrayFile>,
}

/// Locate every station of a site.
pub fn locate_site(site: &Site, wish: &Wish<'_>) -> Result<Run, Failure> {
    let channels = site.signal.channels;
    let stations = site.stations();
    let progress = ProgressBar::new(stations.len() as u64).with_style(
        ProgressStyle::with_template("{bar:24} station {pos} of {len}  {msg}")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    let mut run = Run {
        title: site.title.clone(),
        description: site.description.clone(),
        site_note: "Positions in metres east and north of the site's own origin.".to_owned(),
        simulated: true,
        pipe: site.pipe,
        ..Run::default()
    };
    for (n, here) in stations.iter().enumerate() {
        progress.set_message(here.name.clone());
        let found = with_channels!(channels, C => locate_station::<C>(site, n, here, wish))
            .ok_or("signal.channels must be 1 to 8")??;
        run.stations.extend(found);
        progress.inc(1);
    }
    progress.finish_and_clear();
    Ok(run)
}

fn locate_station<const C: usize>(
    site: &Site,
    n: usize,
    here: &Station,
    wish: &Wish<'_>,
) -> Result<Option<crate::book::Station>, Failure> {
    let mut simulation = Simulation::<C>::new(site, n, wish.seed)?;
    let truth = simulation.truth().map(|t| Truth {
        east_m: t.east_m,
        north_m: t.north_m,
        depth_to_source_m: t.depth_m,
    });
    let believed = wish.array.as_ref().unwrap_or(&site.array);
    let array = believed.array()?.ok_or("a site needs an array with nodes")?;
    let (signal, ladder) = (site.signal(here), site.front_end.ladder()?);
    let create = |folder: &Path| {
        let name = format!("station-{}", n + 1);
        CaptureWriter::create(&folder.join(&name), &description(site, here, believed))
            .map(|made| (made, name))
    };
    if here.seek != Seek::Sonde {
        if let Some(folder) = wish.record {
            let (writer, name) = create(folder)?;
            let mut recording = Recording::new(simulation, writer);
            // The walk is what is kept; what the gains do follows from it.
            let kit = Kit { signal, ladder, array };
            let listen = if here.seek == Seek::Line { Listen::Tone } else { Listen::Mains(None) };
            run::walk::<C, _>(&kit, listen, &mut recording)??;
            recording.finish()?;
            eprintln!(
                "notice: {}: a walk across a line; nullwalk trace reads it",
                folder.join(name).display()
            );
        }
        return Ok(None);
    }
    let instrument = run::instrument::<C>(&signal, ladder, array.clone())?;
    let (outcome, capture): (Outcome, String) = match wish.record {
        None => {
            let mut gathered = Gatherer::new(site.signal.sample_rate_hz);
            let Ok(outcome) = run::locate(&instrument, &mut simulation, wish.hold_rung, |update| {
                gathered.note(&update.glimpse, &update.guidance);
            });
            if let Some(folder) = wish.pictures {
                let overlap = instrument.tone().response().overlap();
                let walk = gathered.walk(&here.name, outcome.clone(), overlap, &array);
                super::pictures::write(
                    &pictures::of_walk(&walk),
                    &folder.join(format!("station-{}", n + 1)),
                    false,
                )?;
            }
            (outcome, String::new())
        }
        Some(folder) => {
            let (writer, name) = create(folder)?;
            let mut recording = Recording::new(simulation, writer);
            let outcome = run::locate(&instrument, &mut recording, wish.hold_rung, |_| ())?;
            recording.finish()?;
            (outcome, name)
        }
    };
    let mut station = run::station(n as u32 + 1, &here.name, &signal, &outcome);
    station.truth = truth;
    station.capture = capture;
    station.trouble_spot = here.trouble_spot;
    Ok(Some(station))
}

fn description(site: &Site, here: &Station, array: &ArrayFile) -> Description {
    let named = [&site.title, &here.name].map(String::as_str).into_iter().filter(|name| !name.is_empty());
    Description {
        made: Made {
            by: concat!("nullwalk ", env!("CARGO_PKG_VERSION"), ", simulated").to_owned(),
            note: named.collect::<Vec<_>>().join(": "),
        },
        signal: site.signal(here),
        front_end: site.front_end.clone(),
        array: array.clone(),
    }
}
