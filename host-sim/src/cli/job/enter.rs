//! What adds to a job.

use std::path::PathBuf;

use serde_json::{Map, Value};

use super::parse::{self, SideOption, Where, finite, measured};
use super::{Desk, Which};
use crate::book::{Reason, Station};
use crate::cli::{Done, Failure, report};
use crate::job::{
    self, Content, Datum, Draft, Heights, Job, Place, RunCard, Settings, StationEntry, Utility, fingerprint,
};
use crate::quantity::length;

#[derive(clap::Args)]
pub struct New {
    /// The file to begin it in
    job: PathBuf,
    /// Short name of the job
    #[arg(long, default_value = "")]
    title: String,
    /// What is looked for
    #[arg(long, default_value = "")]
    description: String,
    /// What the crew should know about the place, and what the grid counts from
    #[arg(long, default_value = "")]
    site: String,
    /// Datum of all latitudes and longitudes
    #[arg(long)]
    datum: Option<Datum>,
    /// The model of the geoid that heights count from; without it they count from the ellipsoid
    #[arg(long, requires = "datum")]
    geoid: Option<String>,
}

#[derive(clap::Args)]
pub struct Import {
    #[command(flatten)]
    desk: Desk,
    /// Field books, captures, or books of an earlier nullwalk
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// Run that the stations go to
    #[arg(long)]
    run: Option<String>,
    /// Serial number of the handset
    #[arg(long, default_value = "")]
    instrument: String,
}

#[derive(clap::Args)]
pub struct Mark {
    #[command(flatten)]
    desk: Desk,
    #[command(flatten)]
    which: Which,
    /// What it is
    #[arg(long, default_value = "")]
    name: String,
    /// The trouble that was looked for is here
    #[arg(long)]
    trouble: bool,
    #[command(flatten)]
    place: Where,
}

#[derive(clap::Args)]
pub struct SetPlace {
    #[command(flatten)]
    desk: Desk,
    #[command(flatten)]
    which: Which,
    #[command(flatten)]
    place: Where,
    /// By the ties that are entered for it
    #[arg(long, conflicts_with_all = ["east", "latitude"])]
    ties: bool,
    /// Where two ties leave two places: on which side of the line from the first point to the second
    #[arg(long, requires = "ties")]
    side: Option<SideOption>,
    /// Height of the ground there, metres
    #[arg(long)]
    ground: Option<String>,
    /// What the counter of the camera's cable said with the sonde there
    #[arg(long)]
    counter: Option<String>,
    /// Why
    #[arg(long, default_value = "its place was measured")]
    reason: String,
}

#[derive(clap::Args)]
pub struct Point {
    #[command(flatten)]
    desk: Desk,
    /// Its name
    name: String,
    /// What it is and how it is found
    #[arg(long, default_value = "")]
    description: String,
    #[command(flatten)]
    place: Where,
}

#[derive(clap::Args)]
pub struct Tie {
    #[command(flatten)]
    desk: Desk,
    #[command(flatten)]
    which: Which,
    /// Name of the permanent point
    #[arg(long)]
    point: String,
    /// The distance, taped level, as in "4.20 m ± 2 cm"
    #[arg(long)]
    distance: String,
}

#[derive(clap::Args)]
pub struct Anchor {
    #[command(flatten)]
    desk: Desk,
    /// Latitude of the grid's origin, degrees north
    #[arg(long, allow_negative_numbers = true, value_parser = finite)]
    latitude: f64,
    /// Longitude of it, degrees east
    #[arg(long, allow_negative_numbers = true, value_parser = finite)]
    longitude: f64,
    /// Its height over the ellipsoid, metres
    #[arg(long, allow_negative_numbers = true, value_parser = finite)]
    ellipsoid_height: f64,
    /// Datum of these
    #[arg(long)]
    datum: Datum,
    /// Standard uncertainty of the origin, metres
    #[arg(long)]
    sigma: f64,
    /// Bearing of the grid's north from true north, degrees clockwise
    #[arg(long, allow_negative_numbers = true, default_value_t = 0.0)]
    bearing: f64,
    /// Its standard uncertainty; 2 degrees for a compass (common practice)
    #[arg(long, default_value_t = 2.0)]
    bearing_sigma: f64,
    /// Why
    #[arg(long, default_value = "the grid was placed")]
    reason: String,
}

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

#[derive(clap::Args)]
pub struct Correct {
    #[command(flatten)]
    desk: Desk,
    /// Number of the entry
    entry: i64,
    /// A field and its new value in JSON, as in pipe.bore_m=0.15 or name='"gate"'; may be given several times
    #[arg(long = "set", required = true)]
    fields: Vec<String>,
    /// Why
    #[arg(long)]
    reason: String,
}

#[derive(clap::Args)]
pub struct Withdraw {
    #[command(flatten)]
    desk: Desk,
    /// Number of the entry
    entry: i64,
    /// Why
    #[arg(long)]
    reason: String,
}

/// Of a tape from a point to a mark: common practice, no source.
const TIE_SIGMA_M: f64 = 0.02;
/// Of the counter of a cable on a reel, which slips and stretches: common practice, no source.
const COUNTER_SIGMA_M: f64 = 0.1;
const LEVEL_SIGMA_M: f64 = 0.01;

fn open(desk: &Desk) -> Result<Job, Failure> {
    let mut job = Job::open(&desk.job)?;
    job.by.clone_from(&desk.by);
    Ok(job)
}

fn enter(desk: &Desk, content: Content) -> Result<Done, Failure> {
    let mut job = open(desk)?;
    let ids = job.append(&[Draft::New(content)])?;
    Ok(entered(&job, ids.start))
}

fn entered(job: &Job, id: i64) -> Done {
    for notice in job.notices() {
        eprintln!("notice: {}: {notice}", job.path().display());
    }
    eprintln!("entry  {id} in {}", job.path().display());
    Done::WORK
}

pub fn new(options: &New) -> Result<Done, Failure> {
    let settings = Settings {
        title: options.title.clone(),
        description: options.description.clone(),
        site_note: options.site.clone(),
        datum: options.datum,
        heights: options.datum.map(|_| options.geoid.clone().map_or(Heights::Ellipsoid, Heights::Geoid)),
        ..Settings::default()
    };
    let job = Job::create(&options.job, settings)?;
    report::wrote("job", job.path());
    Ok(Done::WORK)
}

pub fn import(options: &Import) -> Result<Done, Failure> {
    let mut job = open(&options.desk)?;
    for file in &options.files {
        let found = job::bring_in(&mut job, file, options.run.as_deref(), &options.instrument)?;
        for notice in &found.notices {
            eprintln!("notice: {}: {notice}", file.display());
        }
        let known = match found.known {
            0 => String::new(),
            n => format!(", {n} that were in the job already"),
        };
        eprintln!("import {}: {} stations{known}", file.display(), found.added);
        entered(&job, found.source);
    }
    Ok(Done::WORK)
}

/// Runs are made as their first station comes.
const FIRST_RUN: &str = "run";

pub fn mark(options: &Mark) -> Result<Done, Failure> {
    let mut job = open(&options.desk)?;
    let place = options.place.place(&job)?;
    let number = options.which.station;
    let named = options.which.run.as_deref();
    let known = match (named, job.state().runs().next()) {
        (Some(name), _) => job.state().run_named(name),
        (None, None) => None,
        (None, Some(_)) => Some(parse::run(&job, None)?),
    };
    let found = Station {
        number,
        name: options.name.clone(),
        trouble_spot: options.trouble,
        reasons: vec![Reason {
            code: "marked-by-hand".to_owned(),
            sentence: "This was marked by hand; no locate stands behind it.".to_owned(),
            remedy: "Locate here if a depth is wanted.".to_owned(),
        }],
        ..Station::default()
    };
    let ids = job.append_with(|_, first| {
        let mut drafts = Vec::new();
        let run = known.unwrap_or_else(|| {
            let name = named.unwrap_or(FIRST_RUN).to_owned();
            drafts.push(Draft::New(Content::Run(RunCard { name, ..RunCard::default() })));
            first
        });
        let entry = StationEntry { run, found, place, ..StationEntry::default() };
        drafts.push(Draft::New(Content::Station(Box::new(entry))));
        Ok::<_, Failure>(drafts)
    })?;
    Ok(entered(&job, ids.end - 1))
}

pub fn place(options: &SetPlace) -> Result<Done, Failure> {
    let mut job = open(&options.desk)?;
    let of = parse::station(&job, &options.which)?;
    let mut patch = Map::new();
    if options.ties {
        let place = Place::Ties { side: options.side.map(Into::into) };
        patch.insert("place".to_owned(), serde_json::to_value(place)?);
    } else if options.place.is_given() {
        patch.insert("place".to_owned(), serde_json::to_value(options.place.place(&job)?)?);
    }
    let lengths = [
        ("ground_m", "--ground", &options.ground, LEVEL_SIGMA_M),
        ("counter_m", "--counter", &options.counter, COUNTER_SIGMA_M),
    ];
    for (field, option, text, usual) in lengths {
        if let Some(text) = text {
            patch.insert(field.to_owned(), serde_json::to_value(measured(text, option, usual)?)?);
        }
    }
    if patch.is_empty() {
        return Err("nothing to enter; give --east and --north, --latitude and --longitude, --ties, --ground or --counter".into());
    }
    let patch = Value::Object(patch);
    let ids = job.append(&[Draft::Correction { of, reason: options.reason.clone(), patch }])?;
    let places =
        job.state().places().map_err(|r| format!("{}, {}: {}", job.path().display(), r.place, r.what))?;
    for notice in &places.notices {
        eprintln!("notice: {notice}");
    }
    if let Err(why) = places.of(of) {
        eprintln!("notice: station {}: {why}", options.which.station);
    }
    Ok(entered(&job, ids.start))
}

pub fn point(options: &Point) -> Result<Done, Failure> {
    let job = open(&options.desk)?;
    let place = options.place.place(&job)?;
    let point = job::Point { name: options.name.clone(), description: options.description.clone(), place };
    enter(&options.desk, Content::Point(point))
}

pub fn tie(options: &Tie) -> Result<Done, Failure> {
    let mut job = open(&options.desk)?;
    let station = parse::station(&job, &options.which)?;
    let name = &options.point;
    let point = job.state().point_named(name).ok_or_else(|| {
        format!("{}: no point {name:?}; enter it first with `nullwalk job point`", job.path().display())
    })?;
    let distance = measured(&options.distance, "--distance", TIE_SIGMA_M)?;
    let tie = job::Tie { station, point, distance_m: distance.value, sigma_m: distance.sigma };
    let ids = job.append(&[Draft::New(Content::Tie(tie))])?;
    Ok(entered(&job, ids.start))
}

pub fn anchor(options: &Anchor) -> Result<Done, Failure> {
    let mut job = open(&options.desk)?;
    let anchor = job::Anchor {
        latitude_deg: options.latitude,
        longitude_deg: options.longitude,
        ellipsoid_height_m: options.ellipsoid_height,
        sigma_m: options.sigma,
        bearing_deg: options.bearing,
        bearing_sigma_deg: options.bearing_sigma,
    };
    let patch = serde_json::json!({ "anchor": anchor, "datum": options.datum });
    let ids = job.append(&[Draft::Correction { of: SETTINGS, reason: options.reason.clone(), patch }])?;
    Ok(entered(&job, ids.start))
}

/// The first entry of every job.
const SETTINGS: i64 = 1;

pub fn note(options: &Note) -> Result<Done, Failure> {
    enter(&options.desk, Content::Note(job::Note { text: options.text.clone(), about: options.about }))
}

pub fn photo(options: &Photo) -> Result<Done, Failure> {
    let (sha256, _) = fingerprint(&options.file)?;
    let path = options.file.to_string_lossy().into_owned();
    let photo = job::Photo { path, sha256, text: options.text.clone(), about: options.about };
    enter(&options.desk, Content::Photo(photo))
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
    enter(&options.desk, Content::Sweep(sweep))
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
    enter(&options.desk, Content::Line(line))
}

pub fn correct(options: &Correct) -> Result<Done, Failure> {
    let mut patch = Value::Object(Map::new());
    for field in &options.fields {
        let (path, text) = field
            .split_once('=')
            .ok_or_else(|| format!("--set {field:?}: give a field, an equals sign and a value in JSON"))?;
        let value: Value = serde_json::from_str(text).map_err(|e| {
            format!("--set {field:?}: the value is no JSON: {e}; words stand in double quotes")
        })?;
        let nested = path.rsplit('.').fold(value, |inner, name| serde_json::json!({ name: inner }));
        // Laid over, not merged: a null is to arrive as one.
        overlay(&mut patch, nested);
    }
    let mut job = open(&options.desk)?;
    let draft = Draft::Correction { of: options.entry, reason: options.reason.clone(), patch };
    let ids = job.append(&[draft])?;
    Ok(entered(&job, ids.start))
}

fn overlay(base: &mut Value, over: Value) {
    match (base, over) {
        (Value::Object(base), Value::Object(over)) => {
            for (name, value) in over {
                overlay(base.entry(name).or_insert(Value::Null), value);
            }
        }
        (base, over) => *base = over,
    }
}

pub fn withdraw(options: &Withdraw) -> Result<Done, Failure> {
    let mut job = open(&options.desk)?;
    let draft = Draft::Withdrawal { of: options.entry, reason: options.reason.clone() };
    let ids = job.append(&[draft])?;
    Ok(entered(&job, ids.start))
}
