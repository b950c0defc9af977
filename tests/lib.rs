//! Shared helpers of the tests.

pub mod reference_data;

use nullwalk::run::{self, Outcome};
use nullwalk::site::{Site, Truth, builtin};
use nullwalk::synth::{Guided, Simulation};
use nullwalk_core::frame::SampleSource;
use nullwalk_core::instrument::{Instrument, Update};

/// A built-in site.
///
/// # Panics
/// When there is none of that name.
pub fn site(name: &str) -> Site {
    let found = builtin().iter().find(|b| b.name == name).expect("a built-in site");
    found.site().expect("built-in sites are sound")
}

/// The simulator at a station of a site, counted from 0.
///
/// # Panics
/// When the site does not hold water.
pub fn simulation(site: &Site, station: usize, seed: u64) -> Simulation<6> {
    Simulation::new(site, station, seed).expect("a site that can be simulated")
}

/// The instrument that a site describes.
///
/// # Panics
/// When it cannot be built.
pub fn instrument(site: &Site) -> Instrument<6> {
    let ladder = site.front_end.ladder().expect("a gain ladder");
    let array = site.array.array().expect("sound coils").expect("nodes");
    run::instrument(&site.signal, ladder, array).expect("an instrument")
}

/// Run a source to its end, and keep everything it gave rise to.
///
/// # Panics
/// When the source fails.
pub fn located<S>(instrument: &Instrument<6>, source: &mut S) -> (Outcome, Vec<Update<6>>)
where
    S: SampleSource<6, Error: std::fmt::Debug> + Guided,
{
    let mut updates = Vec::new();
    let outcome = run::locate(instrument, source, None, |update| updates.push(update.clone()));
    (outcome.expect("a source that can be read"), updates)
}

/// What a locate found, beside the truth.
#[derive(Debug, Clone, Copy)]
pub struct Compared {
    /// Depth found, from the ground to the source, metres.
    pub depth_m: f64,
    /// Its stated standard uncertainty.
    pub sigma_m: f64,
    /// Its stated 95 % range.
    pub range_m: [f64; 2],
    /// True depth.
    pub true_depth_m: f64,
    /// Distance of the mark from the point above the source, if there is a mark.
    pub off_m: Option<f64>,
    /// Stated standard uncertainty of each coordinate of the mark.
    pub place_sigma_m: Option<f64>,
    /// Angle between the lay found and the true one, degrees.
    pub lay_off_deg: Option<f64>,
    /// Pitch found, whose sign means nothing, less the true one without its sign, degrees.
    pub pitch_off_deg: Option<f64>,
}

impl Compared {
    /// Compare; `None` where no depth was stated.
    pub fn new(outcome: &Outcome, truth: &Truth) -> Option<Self> {
        let fix = outcome.fix.as_ref()?;
        let (depth, range) = outcome.judgement.depth.zip(outcome.judgement.range)?;
        let degrees = |m: nullwalk_core::depth::Measured| f64::from(m.value).to_degrees();
        let off = |p: nullwalk_core::verdict::Place| {
            (f64::from(p.east_m) - truth.east_m).hypot(f64::from(p.north_m) - truth.north_m)
        };
        // A lay has no sense: what is more than a quarter turn off is less than that off the other way.
        let lay_off = |deg: f64| {
            let turn = (deg - truth.lay_rad.to_degrees()).rem_euclid(180.0);
            turn.min(180.0 - turn)
        };
        Some(Self {
            depth_m: f64::from(depth.depth_m),
            sigma_m: f64::from(depth.sigma_m),
            range_m: [f64::from(range.low_m), f64::from(range.high_m)],
            true_depth_m: truth.depth_m,
            off_m: fix.place.map(off),
            place_sigma_m: fix.place.map(|p| f64::from(p.sigma_m)),
            lay_off_deg: fix.lay_rad.map(|lay| lay_off(degrees(lay))),
            pitch_off_deg: fix.pitch_rad.map(|p| degrees(p).abs() - truth.pitch_rad.to_degrees().abs()),
        })
    }

    /// Depth found less the true one, metres.
    pub fn error_m(&self) -> f64 {
        self.depth_m - self.true_depth_m
    }

    /// Whether the truth is within the 95 % range, made `times` as wide about its middle.
    pub fn holds_truth(&self, times: f64) -> bool {
        let [low, high] = self.range_m;
        (self.true_depth_m - 0.5 * (low + high)).abs() <= times * 0.5 * (high - low)
    }

    /// What a mark may be off by: 3 cm and 2 % of the depth.
    pub fn place_tolerance_m(&self) -> f64 {
        0.03 + 0.02 * self.true_depth_m
    }
}

impl std::fmt::Display for Compared {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let [low, high] = self.range_m;
        write!(
            f,
            "depth {:.3} m ({low:.3} to {high:.3}), truth {:.3}, off {:+.1} mm = {:+.1} sigma",
            self.depth_m,
            self.true_depth_m,
            1e3 * self.error_m(),
            self.error_m() / self.sigma_m
        )?;
        if let (Some(off_m), Some(sigma_m)) = (self.off_m, self.place_sigma_m) {
            write!(f, "; mark off {:.1} mm, sigma {:.1}", 1e3 * off_m, 1e3 * sigma_m)?;
        }
        if let Some(lay) = self.lay_off_deg {
            write!(f, "; lay off {lay:.2} deg")?;
        }
        self.pitch_off_deg.map_or(Ok(()), |pitch| write!(f, "; pitch off {pitch:+.2} deg"))
    }
}

/// Codes of the reasons of a verdict, in one line.
pub fn codes(outcome: &Outcome) -> String {
    let codes: Vec<&str> = outcome.judgement.reasons.as_slice().iter().map(|r| r.code()).collect();
    codes.join(" ")
}
