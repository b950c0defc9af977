//! A job as maps and drawings that other programs open: GeoJSON, GeoPackage, CSV, DXF and KML.
//!
//! All are made from one [`Drawing`], so that all say the same: every figure with its range, every feature with the
//! caution.

mod dxf;
mod geojson;
mod gpkg;
mod kml;
mod layers;
mod table;

use std::io;
use std::path::{Path, PathBuf};

use glam::DVec2;
use thiserror::Error;

use crate::book::write_whole;
use crate::job::{Anchor, Datum, Geodetic, Utility};

pub use layers::{draw, draw_state};

/// Everything that is drawn of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// Name of the job.
    pub title: String,
    /// What is said of the whole.
    pub caution: String,
    /// Where the grid lies, if that is known.
    pub anchor: Option<(Datum, Anchor)>,
    /// Layers with features; none is empty, and all features of one have the same fields.
    pub layers: Vec<Layer>,
}

/// Features of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// Its name.
    pub name: &'static str,
    /// What it holds, in a sentence.
    pub description: &'static str,
    /// The features.
    pub features: Vec<Feature>,
}

/// Something drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Feature {
    /// Where, in metres east and north on the grid.
    pub shape: Shape,
    /// What flows in it, if it is of a line.
    pub utility: Option<Utility>,
    /// A few words to stand beside it.
    pub label: String,
    /// All that is known of it.
    pub fields: Vec<(&'static str, Value)>,
}

/// A shape on the grid.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A point.
    Point(DVec2),
    /// A line through points.
    Line(Vec<DVec2>),
    /// An ellipse: centre, long and short half axis, bearing of the long one in radians clockwise from north.
    Ellipse {
        /// Its centre.
        centre: DVec2,
        /// The long half axis.
        long_m: f64,
        /// The short one.
        short_m: f64,
        /// Bearing of the long one.
        bearing_rad: f64,
    },
    /// All that lies within a distance of a piece of line, which may be larger at one end than at the other.
    Band {
        /// Where the piece begins.
        from: DVec2,
        /// Where it ends.
        to: DVec2,
        /// The distance at the beginning.
        from_m: f64,
        /// The distance at the end.
        to_m: f64,
    },
}

/// What stands in a field.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Words.
    Text(String),
    /// A figure, or none.
    Real(Option<f64>),
    /// A whole number.
    Whole(i64),
    /// Yes or no.
    Yes(bool),
}

/// A kind of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Format {
    /// RFC 7946, in WGS 84.
    Geojson,
    /// OGC GeoPackage 1.3, in the job's datum or on its grid.
    Gpkg,
    /// A table.
    Csv,
    /// A drawing in metres on the grid.
    Dxf,
    /// OGC KML 2.2, in WGS 84.
    Kml,
}

impl Format {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Geojson, Self::Gpkg, Self::Csv, Self::Dxf, Self::Kml];

    /// By the end of a file's name.
    pub fn of(path: &Path) -> Option<Self> {
        let end = path.extension()?.to_str()?.to_lowercase();
        Some(match end.as_str() {
            "geojson" | "json" => Self::Geojson,
            "gpkg" => Self::Gpkg,
            "csv" => Self::Csv,
            "dxf" => Self::Dxf,
            "kml" => Self::Kml,
            _ => return None,
        })
    }
}

/// Why a drawing could not be made or written. What stood under that name before stands there still.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum MapError {
    /// Nothing to draw.
    #[error("{job}: nothing in it has a place, so there is nothing to draw; see `nullwalk job show`")]
    Empty {
        /// The job.
        job: String,
    },
    /// The places of a job contradict each other.
    #[error("{job}, {place}: {what}")]
    Places {
        /// The job.
        job: String,
        /// Where.
        place: String,
        /// What, and the remedy.
        what: String,
    },
    /// The format wants latitudes and longitudes, and nobody knows them.
    #[error(
        "{}: {format} takes latitude and longitude, and nothing says where the site's grid lies; give `nullwalk job \
         anchor`, or write dxf, csv or gpkg, which take the grid as it is",
        path.display()
    )]
    NoAnchor {
        /// The file.
        path: PathBuf,
        /// The format.
        format: &'static str,
    },
    /// The format takes WGS 84 only.
    #[error(
        "{}: {format} takes WGS 84 only, and the job is in {datum}, which may differ by metres; write gpkg, which names \
         its datum, and transform that",
        path.display()
    )]
    OtherDatum {
        /// The file.
        path: PathBuf,
        /// The format.
        format: &'static str,
        /// The job's datum.
        datum: &'static str,
    },
    /// The file system refused.
    #[error("{}: cannot be written: {source}; check the path and the room on the disk", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The library of the format refused.
    #[error("{}: cannot be written: {what}; check the path and the room on the disk", path.display())]
    Library {
        /// The file.
        path: PathBuf,
        /// What it said.
        what: String,
    },
}

/// Write a drawing; the file is whole, or not there. `scale` is that of the paper that a DXF is to be plotted on, as 100
/// for 1:100, which its letters are sized for.
///
/// # Errors
/// When the format cannot say where things are, or the file system refuses.
pub fn write(drawing: &Drawing, format: Format, scale: f64, path: &Path) -> Result<(), MapError> {
    let io_error = |source| MapError::Io { path: path.to_owned(), source };
    let content = match format {
        Format::Gpkg => return gpkg::write(drawing, path),
        Format::Geojson => geojson::text(drawing, &earth(drawing, "GeoJSON", path)?),
        Format::Kml => kml::text(drawing, &earth(drawing, "KML", path)?),
        Format::Csv => table::text(drawing),
        Format::Dxf => Ok(dxf::text(drawing, scale)),
    };
    let content = content.map_err(|what| MapError::Library { path: path.to_owned(), what })?;
    write_whole(path, &content).map_err(io_error)
}

/// From the grid to WGS 84, if that is where the job is.
fn earth(
    drawing: &Drawing,
    format: &'static str,
    path: &Path,
) -> Result<impl Fn(DVec2) -> [f64; 2] + use<>, MapError> {
    let path = path.to_owned();
    match drawing.anchor {
        None => Err(MapError::NoAnchor { path, format }),
        Some((Datum::Wgs84, anchor)) => Ok(move |grid| lon_lat(anchor.to_earth(Datum::Wgs84, grid))),
        Some((datum, _)) => Err(MapError::OtherDatum { path, format, datum: datum.name() }),
    }
}

/// Longitude and latitude to a tenth of a millimetre; more digits would say nothing.
fn lon_lat(at: Geodetic) -> [f64; 2] {
    [at.longitude_deg, at.latitude_deg].map(|deg| (deg * 1e9).round() / 1e9)
}

/// Corners of the polygon that stands for an ellipse. It is drawn around it, so that it never is smaller.
const CORNERS: usize = 48;

impl Shape {
    /// The corners of a shape, an ellipse's anticlockwise and closed.
    fn corners(&self) -> Vec<DVec2> {
        match self {
            Self::Point(at) => vec![*at],
            Self::Line(line) => line.clone(),
            Self::Ellipse { centre, long_m, short_m, bearing_rad } => {
                let step = std::f64::consts::TAU / CORNERS as f64;
                let grown = 1.0 / (0.5 * step).cos();
                let (sin, cos) = bearing_rad.sin_cos();
                let (long, short) = (DVec2::new(sin, cos) * *long_m, DVec2::new(-cos, sin) * *short_m);
                let corner = |k: usize| {
                    let (s, c) = (step * (k % CORNERS) as f64).sin_cos();
                    *centre + grown * (c * long + s * short)
                };
                (0..=CORNERS).map(corner).collect()
            }
            Self::Band { from, to, from_m, to_m } => band(*from, *to, *from_m, *to_m),
        }
    }

    /// Whether it has an area.
    fn is_area(&self) -> bool {
        matches!(self, Self::Ellipse { .. } | Self::Band { .. })
    }
}

/// Two circles and the tangents between them, anticlockwise and closed; drawn around them as an ellipse is.
fn band(from: DVec2, to: DVec2, from_m: f64, to_m: f64) -> Vec<DVec2> {
    const HALF: usize = 16;
    let way = to - from;
    // Where one circle holds the other, it is all there is.
    if way.length() <= (from_m - to_m).abs() {
        let (centre, radius) = if from_m > to_m { (from, from_m) } else { (to, to_m) };
        return Shape::Ellipse { centre, long_m: radius, short_m: radius, bearing_rad: 0.0 }.corners();
    }
    let heading = way.to_angle();
    // The tangents stand square on the circles, leaning towards the smaller one.
    let lean = ((from_m - to_m) / way.length()).acos();
    let arc = |centre: DVec2, radius: f64, begin: f64, sweep: f64| {
        let step = sweep / HALF as f64;
        let grown = radius / (0.5 * step).cos();
        // Every corner stands outside the circle; the first and last side are the tangents.
        (0..HALF).map(move |k| centre + grown * DVec2::from_angle(begin + (k as f64 + 0.5) * step))
    };
    let turn = std::f64::consts::TAU;
    let around_to = arc(to, to_m, heading - lean, 2.0 * lean);
    let around_from = arc(from, from_m, heading + lean, turn - 2.0 * lean);
    let mut corners: Vec<DVec2> = around_to.chain(around_from).collect();
    corners.extend(corners.first().copied());
    corners
}
