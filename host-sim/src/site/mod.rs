//! Site files: a TOML description of the ground, the sources in it, the noise around, the instrument
//! and the walk, from which the simulator makes samples.
//!
//! A site describes a *run*: a list of stations that share ground, noise and equipment. At each station
//! the sonde lies somewhere else and the technician starts from somewhere else. A site without
//! `[[station]]` is one station with the sources listed at its top level.
//!
//! Every key may be left out; the defaults are written at each field. Unknown keys are reported as
//! notices and ignored. The built-in sites ([`builtin`]) are commented examples.
//!
//! ```
//! let (site, notices) = nullwalk::site::Site::from_toml(
//!     "title = 'one sonde'\n[[source]]\ndepth_m = 1.5\n",
//!     "example.toml",
//! )?;
//! assert_eq!(site.stations().len(), 1);
//! assert!(notices.is_empty());
//! # Ok::<(), nullwalk::site::SiteError>(())
//! ```

mod builtin;
mod line;
mod noise;
mod sonde;
mod validate;
mod walk;

use std::path::Path;

use serde::{Deserialize, Serialize};

pub use builtin::{Builtin, builtin};
pub use line::{Line, LineTruth};
pub use noise::{Earth, HumLine, Impulses, Mains, Noise, Sway, Track};
pub use sonde::{Iron, Sonde};
pub use validate::SiteError;
pub use walk::{Direction, Home, Lane, Lanes, Leg, Lift, Settle, Stand, Sweep, To, Walker, default_walk};

use crate::book::Pipe;
use crate::equipment::{ArrayFile, FrontEnd, Signal};
use crate::tolerant_toml::{self, Notice};

/// A site and everything that happens there.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Site {
    /// A short name. Default: empty.
    pub title: String,
    /// What there is to see or learn here. Default: empty.
    pub description: String,
    /// What is listened for. Defaults: 512 Hz, sampled at 8000 Hz, 6 channels.
    pub signal: Signal,
    /// Amplifier and converter. Defaults: five rungs from 1 to 256, 24 bits, 2.5 V.
    pub front_end: FrontEnd,
    /// The coils, as the instrument believes them to be: the calibration error of [`Noise`] is drawn
    /// around this. Default: two 3-axis nodes 0.4 m apart.
    pub array: ArrayFile,
    /// What is known of the pipe. Default: nothing, so no depth of cover is stated.
    pub pipe: Pipe,
    /// The ground surface. Default: level, at height 0.
    pub ground: Ground,
    /// How the technician moves. Defaults at [`Walker`].
    pub walker: Walker,
    /// Everything that is not the sonde. Defaults at [`Noise`].
    pub noise: Noise,
    /// Sources that are there at every station. Default: none.
    pub source: Vec<Sonde>,
    /// Conductors that carry the tone or live power, there at every station. Default: none.
    pub line: Vec<Line>,
    /// What the technician does at each station. Default: [`default_walk`].
    pub walk: Vec<Leg>,
    /// The stations of the run, in order. Default: none, which means one station with default values.
    pub station: Vec<Station>,
}

/// The ground surface: level.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Ground {
    /// Height of the surface in the site frame, metres. Default 0.
    pub up_m: f64,
}

/// One station of a run: where the sonde lies meanwhile and where the technician starts.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Station {
    /// A name for the books. Default: empty; it is then known by its number.
    pub name: String,
    /// Where the technician stands at first.
    pub start: Start,
    /// The sources of this station, its own sonde first. Default: none.
    pub source: Vec<Sonde>,
    /// Conductors that are there at this station only, or carry something else than at others. Default: none.
    pub line: Vec<Line>,
    /// What is looked for here. Default: a sonde.
    pub seek: Seek,
    /// The tone that the instrument is set to here, and calibrated at, hertz. Default: that of `signal`.
    pub tone_hz: Option<f64>,
    /// What the technician does here. Default: the walk of the site.
    pub walk: Vec<Leg>,
    /// Whether the trouble that is looked for lies here. Default: no.
    pub trouble_spot: bool,
}

/// What is looked for at a station.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Seek {
    /// A sonde, as `nullwalk locate` does.
    #[default]
    Sonde,
    /// A line that carries the tone, as `nullwalk trace` does.
    Line,
    /// A line that carries live power.
    Mains,
}

/// Where the technician stands at first, and which way the mast faces.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Start {
    /// Metres east of the site's origin. Default -3.
    pub east_m: f64,
    /// Metres north of the site's origin. Default -2.
    pub north_m: f64,
    /// Bearing of the mast's forward axis, degrees clockwise from north. Default 0.
    pub heading_deg: f64,
}

impl Default for Start {
    fn default() -> Self {
        Self { east_m: -3.0, north_m: -2.0, heading_deg: 0.0 }
    }
}

/// What is really there at a station.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// East coordinate of the point on the ground straight above the sonde, metres.
    pub east_m: f64,
    /// North coordinate of that point, metres.
    pub north_m: f64,
    /// Depth of the sonde below the ground surface there, metres.
    pub depth_m: f64,
    /// Bearing of the dipole, radians clockwise from north.
    pub lay_rad: f64,
    /// Tilt of the dipole, radians, positive when its end towards the lay is raised.
    pub pitch_rad: f64,
    /// Peak dipole moment at the first sample, A m2, as it is in free space.
    pub moment_a_m2: f64,
    /// Carrier frequency at the first sample, hertz.
    pub tone_hz: f64,
}

impl Site {
    /// Read and check a site from TOML. `file` is the name that errors and notices carry.
    ///
    /// # Errors
    /// When the text is no TOML or describes a site that cannot be; the message names file, key and remedy.
    pub fn from_toml(text: &str, file: &str) -> Result<(Self, Vec<Notice>), SiteError> {
        let (site, notices) = tolerant_toml::parse::<Self>(text, file)?;
        site.validate().map_err(|e| e.in_file(file))?;
        Ok((site, notices))
    }

    /// Read and check a site file.
    ///
    /// # Errors
    /// As [`Site::from_toml`], or when the file cannot be read.
    pub fn load(path: &Path) -> Result<(Self, Vec<Notice>), SiteError> {
        let file = path.display().to_string();
        match std::fs::read_to_string(path) {
            Ok(text) => Self::from_toml(&text, &file),
            Err(source) => Err(SiteError::Read { file, source }),
        }
    }

    /// The stations of the run; one with default values where none are listed.
    pub fn stations(&self) -> Vec<Station> {
        if self.station.is_empty() { vec![Station::default()] } else { self.station.clone() }
    }

    /// The sources that are there at a station, the sonde to be found first.
    pub fn sources(&self, station: &Station) -> Vec<Sonde> {
        station.source.iter().chain(&self.source).copied().collect()
    }

    /// The conductors that are there at a station, its own first.
    pub fn lines(&self, station: &Station) -> Vec<Line> {
        station.line.iter().chain(&self.line).cloned().collect()
    }

    /// What the instrument listens for at a station.
    pub fn signal(&self, station: &Station) -> Signal {
        Signal { tone_hz: station.tone_hz.unwrap_or(self.signal.tone_hz), ..self.signal.clone() }
    }

    /// The site with the instrument set to a station's tone. Amplifiers make the same noise in volts at every tone, and
    /// impulses the same voltage, so the fields that these are given as weigh less the higher the tone is.
    pub fn tuned(&self, station: &Station) -> Self {
        let signal = self.signal(station);
        let share = self.signal.tone_hz / signal.tone_hz;
        let mut site = Self { signal, ..self.clone() };
        site.noise.field_pt_per_root_hz *= share;
        if let Some(impulses) = &mut site.noise.impulses {
            impulses.median_t *= share;
        }
        site
    }

    /// The line at a station whose current is strongest at a place, of those that carry the tone or, with `order`, that harmonic
    /// of the grid.
    pub fn line_near(
        &self,
        station: &Station,
        place_m: [f64; 2],
        order: Option<usize>,
    ) -> Option<LineTruth> {
        let truth = |line: &Line| LineTruth {
            aside_m: line.aside_of_m(place_m.into()),
            depth_m: line.depth_m,
            current_a: match order {
                None => line.current_a,
                Some(order) => line.mains_a.get(order.wrapping_sub(1)).copied().unwrap_or(0.0),
            },
        };
        let strength = |truth: &LineTruth| truth.current_a / truth.aside_m.hypot(truth.depth_m).max(0.01);
        let lines = self.lines(station);
        let near = lines.iter().map(truth).filter(|truth| truth.current_a > 0.0);
        near.max_by(|a, b| strength(a).total_cmp(&strength(b)))
    }

    /// What the technician does at a station.
    pub fn walk(&self, station: &Station) -> Vec<Leg> {
        [&station.walk, &self.walk]
            .into_iter()
            .find(|legs| !legs.is_empty())
            .cloned()
            .unwrap_or_else(default_walk)
    }

    /// What is really there at each station: its first source. `None` where there is no source at all.
    pub fn truth(&self) -> Vec<Option<Truth>> {
        let first = |station: &Station| self.sources(station).first().copied();
        let of = |station: &Station| {
            first(station).map(|sonde| Self::truth_of(&sonde, self.signal(station).tone_hz))
        };
        self.stations().iter().map(of).collect()
    }

    fn truth_of(sonde: &Sonde, tone_hz: f64) -> Truth {
        Truth {
            east_m: sonde.east_m,
            north_m: sonde.north_m,
            depth_m: sonde.depth_m,
            lay_rad: sonde.lay_deg.to_radians(),
            pitch_rad: sonde.pitch_deg.to_radians(),
            moment_a_m2: sonde.moment_a_m2,
            tone_hz: sonde.tone_hz.unwrap_or(tone_hz) + sonde.offset_hz,
        }
    }
}
