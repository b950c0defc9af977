//! Places and entries as they are given on the command line.

use super::desk::Which;
use crate::cli::Failure;
use crate::job::{Datum, EntryId, Gnss, Heights, Job, Place, Side};
use crate::quantity::length;

/// Where something is.
#[derive(clap::Args)]
pub struct Where {
    /// Metres east on the site's grid, negative to the west
    #[arg(long, allow_negative_numbers = true, value_parser = finite, requires = "north")]
    east: Option<f64>,
    /// Metres north on the site's grid, negative to the south
    #[arg(long, allow_negative_numbers = true, value_parser = finite, requires = "east")]
    north: Option<f64>,
    /// Degrees north, by satellites
    #[arg(long, allow_negative_numbers = true, value_parser = finite, requires_all = ["longitude", "sigma"], conflicts_with = "east")]
    latitude: Option<f64>,
    /// Degrees east, by satellites
    #[arg(long, allow_negative_numbers = true, value_parser = finite, requires = "latitude")]
    longitude: Option<f64>,
    /// Height by satellites, metres, in the job's heights
    #[arg(long, allow_negative_numbers = true, value_parser = finite, requires = "latitude")]
    height: Option<f64>,
    /// The receiver's word for the quality, as in "RTK fixed"
    #[arg(long, default_value = "", requires = "latitude")]
    quality: String,
    /// Datum of the latitude and longitude; the job's own if left out
    #[arg(long, requires = "latitude")]
    datum: Option<Datum>,
    /// Standard uncertainty of the place, metres, east and north; 0.02 for the tape (common practice)
    #[arg(long)]
    sigma: Option<f64>,
}

/// A number that a place may have.
///
/// # Errors
/// When it is none, or not finite.
pub fn finite(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|number: &f64| number.is_finite())
        .ok_or_else(|| "give a number, as in -12.5".to_owned())
}

/// Of a tape along a grid that was laid out with it: common practice, no source.
const TAPE_SIGMA_M: f64 = 0.02;

impl Where {
    pub fn is_given(&self) -> bool {
        self.east.is_some() || self.latitude.is_some()
    }

    pub fn place(&self, job: &Job) -> Result<Place, Failure> {
        if let (Some(east_m), Some(north_m)) = (self.east, self.north) {
            return Ok(Place::Grid { east_m, north_m, sigma_m: self.sigma.unwrap_or(TAPE_SIGMA_M) });
        }
        let (Some(latitude_deg), Some(longitude_deg), Some(sigma_m)) =
            (self.latitude, self.longitude, self.sigma)
        else {
            return Err("no place is given; give --east and --north, or --latitude and --longitude".into());
        };
        let settings = job.state().settings();
        let datum = self.datum.or(settings.datum).ok_or(
            "--latitude: the job has no datum; give --datum, and the job its own with `nullwalk job correct JOB 1`",
        )?;
        let heights: Heights = settings.heights.unwrap_or_default();
        let quality = self.quality.clone();
        let height_m = self.height;
        Ok(Place::Gnss(Gnss { latitude_deg, longitude_deg, height_m, sigma_m, quality, datum, heights }))
    }
}

/// The entry of a station.
pub fn station(job: &Job, which: &Which) -> Result<EntryId, Failure> {
    let run = run(job, which.run.as_deref())?;
    let number = which.station;
    let file = job.path().display();
    let mut found = job.state().stations_of(run).into_iter().filter(|(_, s)| s.found.number == number);
    match (found.next(), found.next()) {
        (Some((id, _)), None) => Ok(id),
        (None, _) => Err(format!("{file}: no station {number} in this run; `nullwalk job show` lists them").into()),
        (Some((a, _)), Some((b, _))) => Err(format!(
            "{file}: station {number} is there twice, as entries {a} and {b}; give one of them another number with \
             `nullwalk job correct`"
        )
        .into()),
    }
}

/// The entry of a run: the one of this name, or the only one.
pub fn run(job: &Job, name: Option<&str>) -> Result<EntryId, Failure> {
    let state = job.state();
    let file = job.path().display();
    let names = || state.runs().map(|(_, r)| format!("{:?}", r.name)).collect::<Vec<_>>().join(", ");
    if let Some(name) = name {
        return state
            .run_named(name)
            .ok_or_else(|| format!("{file}: no run {name:?}; there are: {}", names()).into());
    }
    let mut runs = state.runs();
    match (runs.next(), runs.next()) {
        (Some((id, _)), None) => Ok(id),
        (None, _) => Err(format!("{file}: holds no run yet; import or mark stations first").into()),
        _ => Err(format!("{file}: holds several runs; name one with --run: {}", names()).into()),
    }
}

/// A length with its standard uncertainty, or `usual` if none was given.
pub fn measured(text: &str, option: &str, usual: f64) -> Result<crate::book::Measured, Failure> {
    let found = length(text).map_err(|e| format!("{option} {text:?}: {e}"))?;
    Ok(crate::book::Measured { value: found.value, sigma: found.sigma.unwrap_or(usual) })
}

#[derive(Clone, Copy, clap::ValueEnum)]
pub enum SideOption {
    Left,
    Right,
}

impl From<SideOption> for Side {
    fn from(side: SideOption) -> Self {
        match side {
            SideOption::Left => Self::Left,
            SideOption::Right => Self::Right,
        }
    }
}
