//! Stations marked by hand, and their places.

use serde_json::{Map, Value};

use super::desk::{Desk, Which, entered};
use super::parse::{self, SideOption, Where, measured};
use crate::book::{Reason, Station};
use crate::cli::{Done, Failure};
use crate::job::{Content, Draft, Place, RunCard, StationEntry};

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

/// Of the counter of a cable on a reel, which slips and stretches: common practice, no source.
const COUNTER_SIGMA_M: f64 = 0.1;
const LEVEL_SIGMA_M: f64 = 0.01;

/// Runs are made as their first station comes.
const FIRST_RUN: &str = "run";

pub fn mark(options: &Mark) -> Result<Done, Failure> {
    let mut job = options.desk.open()?;
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
    let mut job = options.desk.open()?;
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
