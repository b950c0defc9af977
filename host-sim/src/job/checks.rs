//! Figures and places that cannot be true, or cannot stand beside the others of a job.

use super::content::Settings;
use super::draft::{Refusal, refuse};
use super::place::{Anchor, Gnss, Place};
use crate::book::{Fault, Measured, Run};

/// Farther off, a plane is no picture of the Earth, and the figures are most likely those of a map.
pub const FARTHEST_GRID_M: f64 = 1e5;
const MOST_POLAR_DEG: f64 = 89.0;
const HIGHEST_M: f64 = 12_000.0;

/// No place may stand on another datum, or with another kind of height, than the job.
pub fn same_datum(settings: &Settings, place: &str, at: &Place) -> Result<(), Refusal> {
    let Place::Gnss(gnss) = at else { return Ok(()) };
    let Some(datum) = settings.datum else {
        return refuse(
            place,
            format!(
                "is given in {}, and the job has no datum; say it with `nullwalk job correct JOB 1 --set \
                 'datum=\"{}\"'`",
                gnss.datum.name(),
                gnss.datum.name()
            ),
        );
    };
    if datum != gnss.datum {
        return refuse(
            place,
            format!(
                "is given in {}, the job is in {}: these differ by up to metres and are not mixed; transform the \
                 place to {} first",
                gnss.datum.name(),
                datum.name(),
                datum.name()
            ),
        );
    }
    let heights = settings.heights.clone().unwrap_or_default();
    if gnss.height_m.is_some() && heights != gnss.heights {
        return refuse(
            place,
            format!(
                "its height counts from {}, those of the job from {heights}: these differ by up to 100 m and are not \
                 mixed; convert it, or leave the height out",
                gnss.heights
            ),
        );
    }
    Ok(())
}

/// No place may lie so far off that the figures must be another's, and none be surer or less sure than can be.
pub fn check_grid(place: &str, east_m: f64, north_m: f64, sigma_m: f64) -> Result<(), Refusal> {
    let near = |m: f64| m.abs() <= FARTHEST_GRID_M;
    if near(east_m) && near(north_m) && sigma_m > 0.0 && sigma_m <= FARTHEST_GRID_M {
        Ok(())
    } else {
        refuse(
            place,
            "must lie within 100 km of the grid's origin, with an uncertainty above 0; are these \
             coordinates of a map? then take a point near the site as the origin",
        )
    }
}

pub fn check_gnss(place: &str, gnss: &Gnss) -> Result<(), Refusal> {
    let sane = gnss.latitude_deg.abs() <= MOST_POLAR_DEG && gnss.longitude_deg.abs() <= 180.0;
    let height = gnss.height_m.is_none_or(|h| h.abs() <= HIGHEST_M);
    if !sane || !height {
        return refuse(
            place,
            "must have a latitude of -89 to 89, a longitude of -180 to 180 and a height of -12 to 12 km; degrees, not \
             minutes or metres",
        );
    }
    if !(gnss.sigma_m > 0.0 && gnss.sigma_m <= 1000.0) {
        return refuse(place, "needs the receiver's uncertainty, above 0 and up to 1000 m");
    }
    Ok(())
}

pub fn check_anchor(anchor: &Anchor) -> Result<(), Refusal> {
    let sane = anchor.latitude_deg.abs() <= MOST_POLAR_DEG
        && anchor.longitude_deg.abs() <= 180.0
        && anchor.ellipsoid_height_m.abs() <= HIGHEST_M
        && (0.0..=1000.0).contains(&anchor.sigma_m)
        && anchor.bearing_deg.abs() <= 360.0
        && (0.0..=180.0).contains(&anchor.bearing_sigma_deg);
    if sane {
        return Ok(());
    }
    refuse(
        "anchor",
        "must have a latitude of -89 to 89, a longitude of -180 to 180, a height of -12 to 12 km, a sigma of 0 to 1000 m \
         and a bearing of -360 to 360 with a sigma of 0 to 180",
    )
}

pub fn check_figures(place: &str, run: &Run) -> Result<(), Refusal> {
    run.check().map_err(|Fault { place: figure, remedy }| {
        // The place is told once.
        let figure = figure.strip_prefix(&format!("{place}: ")).unwrap_or(&figure);
        Refusal { place: place.to_owned(), what: format!("{figure} {remedy}") }
    })
}

pub fn check_measured(place: &str, name: &str, value: Option<Measured>) -> Result<(), Refusal> {
    let sane = value.is_none_or(|m| m.value.abs() <= HIGHEST_M && (0.0..=1000.0).contains(&m.sigma));
    if sane {
        Ok(())
    } else {
        refuse(place, format!("{name} must be -12 to 12 km, with a sigma of 0 to 1000 m"))
    }
}
