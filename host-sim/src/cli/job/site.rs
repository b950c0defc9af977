//! What places are taken from: permanent points, ties to them, the grid on the Earth.

use super::desk::{Desk, Which, entered};
use super::parse::{self, Where, finite, measured};
use crate::cli::{Done, Failure};
use crate::job::{self, Content, Datum, Draft};

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

/// Of a tape from a point to a mark: common practice, no source.
const TIE_SIGMA_M: f64 = 0.02;

pub fn point(options: &Point) -> Result<Done, Failure> {
    let job = options.desk.open()?;
    let place = options.place.place(&job)?;
    let point = job::Point { name: options.name.clone(), description: options.description.clone(), place };
    options.desk.enter(Content::Point(point))
}

pub fn tie(options: &Tie) -> Result<Done, Failure> {
    let mut job = options.desk.open()?;
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
    let mut job = options.desk.open()?;
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
