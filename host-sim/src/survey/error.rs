//! Why a survey cannot be made.

use std::path::PathBuf;

use nullwalk_core::error::ConfigError;

use crate::capture::CaptureError;

/// See above. Each message names the file, the place and a remedy.
#[derive(Debug, thiserror::Error)]
pub enum SurveyError {
    /// A capture cannot be read.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// None was given.
    #[error("no capture: give at least one")]
    NoCapture,
    /// Mains is found in samples only.
    #[error("{path}: holds the fields of one tone; mains is found in samples only: leave --mains out")]
    NoMains {
        /// The capture.
        path: PathBuf,
    },
    /// A tone in samples has no phase that is known.
    #[error(
        "{path}: holds samples of a tone whose phase nobody knows; leave --phase common out, or give fields that were \
         demodulated against a reference"
    )]
    NoReference {
        /// The capture.
        path: PathBuf,
    },
    /// Its signal or its coils cannot be.
    #[error("{path}, capture.toml: {error}")]
    Config {
        /// The capture.
        path: PathBuf,
        /// What is wrong, and what it must be.
        error: ConfigError,
    },
    /// The height of the walk makes no sense.
    #[error(transparent)]
    Carried(#[from] ConfigError),
    /// Its coils form no nodes.
    #[error("{path}, capture.toml, array.node: no 3-axis node; a survey needs the field's direction")]
    Nodes {
        /// The capture.
        path: PathBuf,
    },
    /// Too little of it has a place and a heading.
    #[error(
        "{path}: {found} of {of} looks have east_m, north_m and heading_deg, 12 are needed; record a longer walk, with a \
         position and a compass"
    )]
    Poses {
        /// The capture.
        path: PathBuf,
        /// Looks with a pose.
        found: usize,
        /// All looks.
        of: usize,
    },
    /// Captures of several tones.
    #[error(
        "{path}, capture.toml, signal.tone_hz: {found_hz} Hz, but the captures before were made at {wanted_hz} Hz; \
         survey each tone on its own"
    )]
    Tones {
        /// The capture.
        path: PathBuf,
        /// Its tone.
        found_hz: f64,
        /// That of those before.
        wanted_hz: f64,
    },
    /// The box has no area, or is too large for a walk.
    #[error(
        "--box: {problem}; give EAST,NORTH of its south-west corner, its width and its height in metres"
    )]
    Box {
        /// What is wrong.
        problem: String,
    },
    /// No lane comes into the box.
    #[error(
        "--box {given}: none of the {sights} looks is in it; the walk covers {west:.1} to {east:.1} m east, \
         {south:.1} to {north:.1} m north: correct the box, or walk it"
    )]
    NeverIn {
        /// The box.
        given: String,
        /// How many looks there are.
        sights: usize,
        /// Their extent.
        west: f64,
        /// Their extent.
        east: f64,
        /// Their extent.
        south: f64,
        /// Their extent.
        north: f64,
    },
    /// Not walked around the centre.
    #[error("--centre: {problem}; walk a full circle of about 7.6 m (25 ft) around the transmitter")]
    Circle {
        /// What is wrong.
        problem: String,
    },
    /// A run of a job with too few currents.
    #[error(
        "run {run:?}: {found} of {of} stations have a place and a current, 3 are needed; add them with `nullwalk trace` and \
         --job, --run"
    )]
    Stations {
        /// Its name.
        run: String,
        /// Stations that can be used.
        found: usize,
        /// All of them.
        of: usize,
    },
    /// A table of currents that cannot be used.
    #[error("{path}{place}: {problem}; {remedy}")]
    Table {
        /// The table.
        path: PathBuf,
        /// Line and column.
        place: String,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: &'static str,
    },
}
