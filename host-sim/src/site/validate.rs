//! Checks of a site's values. Every error names the key, the value and what would be accepted.

use std::fmt::Display;
use std::ops::RangeInclusive;

use nullwalk_core::error::ConfigError;
use nullwalk_core::frame::MAX_CHANNELS;

use super::{
    Direction, Home, Iron, Lane, Lanes, Leg, Lift, Line, Mains, Noise, Settle, Site, Sonde, Stand, Start,
    Station, Sweep, To, Walker,
};
use crate::equipment::coupled;
use crate::tolerant_toml::ParseError;

/// Why a site cannot be simulated.
#[derive(Debug, thiserror::Error)]
pub enum SiteError {
    /// The file cannot be read.
    #[error("{file}: cannot be read ({source}); check the name and that it is UTF-8 text")]
    Read {
        /// The file.
        file: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// The text is no TOML, or a value is of the wrong kind.
    #[error(transparent)]
    Parse(#[from] ParseError),
    /// A value that cannot be.
    #[error("{}{key} {problem}", file.as_ref().map(|f| format!("{f}: ")).unwrap_or_default())]
    Value {
        /// The file, when the site came from one.
        file: Option<String>,
        /// The key, as in `station.2.source.1.depth_m`, entries of lists counted from 1.
        key: String,
        /// The value and the remedy.
        problem: String,
    },
}

impl SiteError {
    pub(crate) fn new(key: impl Into<String>, problem: impl Into<String>) -> Self {
        Self::Value { file: None, key: key.into(), problem: problem.into() }
    }

    /// The same error, naming the file it was found in.
    pub(crate) fn in_file(mut self, name: &str) -> Self {
        if let Self::Value { file, .. } = &mut self {
            *file = Some(name.to_owned());
        }
        self
    }
}

impl From<ConfigError> for SiteError {
    fn from(e: ConfigError) -> Self {
        Self::new(e.parameter, e.remedy)
    }
}

/// Site coordinates further out than this are a slip of the pen, and would cost digits.
const FAR_M: f64 = 10_000.0;

impl Site {
    /// Check every value.
    ///
    /// # Errors
    /// Names the first key that cannot work, its value, and what would.
    pub fn validate(&self) -> Result<(), SiteError> {
        let signal = &self.signal;
        within("signal.sample_rate_hz", signal.sample_rate_hz, 4000.0..=48_000.0)?;
        within("signal.tone_hz", signal.tone_hz, 50.0..=signal.sample_rate_hz * 0.49)?;
        within("signal.channels", signal.channels, 1..=MAX_CHANNELS)?;
        if let Some(bench) = signal.bench {
            within("signal.bench.moment_a_m2", bench.moment_a_m2, 1e-4..=100.0)?;
            within("signal.bench.sigma_a_m2", bench.sigma_a_m2, 0.0..=bench.moment_a_m2)?;
        }
        self.front_end.ladder()?;
        coupled(&self.array, &self.front_end, signal)?;
        for (i, node) in self.array.node.iter().enumerate() {
            check_all(&format!("array.node.{}.position_m", i + 1), &node.position_m, |key, &m| {
                within(key, m, -5.0..=5.0)
            })?;
            for (k, coil) in node.coil.iter().enumerate() {
                let key = format!("array.node.{}.coil.{}.channel", i + 1, k + 1);
                within(&key, usize::from(coil.channel), 0..=signal.channels.saturating_sub(1))?;
            }
        }
        within("ground.up_m", self.ground.up_m, -FAR_M..=FAR_M)?;
        check_walker(&self.walker)?;
        check_noise(&self.noise)?;
        check_all("source", &self.source, |key, s| self.check_source(key, s))?;
        let stations = self.stations();
        check_all("line", &self.line, |key, line| self.check_line(key, line, &stations))?;
        check_all("walk", &self.walk, check_leg)?;
        check_all("station", &self.station, |key, station| {
            check_start(key, &station.start)?;
            check_all(&format!("{key}.source"), &station.source, |k, s| self.check_source(k, s))?;
            let here = std::slice::from_ref(station);
            check_all(&format!("{key}.line"), &station.line, |k, line| self.check_line(k, line, here))?;
            let highest_hz = signal.sample_rate_hz * 0.49;
            let tone_hz = station.tone_hz.unwrap_or(signal.tone_hz);
            within(&format!("{key}.tone_hz"), tone_hz, 50.0..=highest_hz)?;
            check_all(&format!("{key}.walk"), &station.walk, check_leg)
        })
    }

    fn check_source(&self, key: &str, s: &Sonde) -> Result<(), SiteError> {
        let key = |name: &str| format!("{key}.{name}");
        within(&key("east_m"), s.east_m, -FAR_M..=FAR_M)?;
        within(&key("north_m"), s.north_m, -FAR_M..=FAR_M)?;
        within(&key("depth_m"), s.depth_m, 0.05..=50.0)?;
        within(&key("lay_deg"), s.lay_deg, -360.0..=360.0)?;
        within(&key("pitch_deg"), s.pitch_deg, -90.0..=90.0)?;
        within(&key("moment_a_m2"), s.moment_a_m2, 0.0..=1000.0)?;
        within(&key("moment_drift_per_s"), s.moment_drift_per_s, -0.1..=0.1)?;
        self.check_tone(&key("tone_hz"), s.tone_hz)?;
        within(&key("offset_hz"), s.offset_hz, -20.0..=20.0)?;
        within(&key("drift_hz_per_s"), s.drift_hz_per_s, -1.0..=1.0)?;
        within(&key("phase_deg"), s.phase_deg, -360.0..=360.0)?;
        s.iron.map_or(Ok(()), |iron| check_iron(&key("iron"), &iron))
    }

    /// A line that is there at these stations.
    fn check_line(&self, key: &str, line: &Line, stations: &[Station]) -> Result<(), SiteError> {
        let key = |name: &str| format!("{key}.{name}");
        within(&key("east_m"), line.east_m, -FAR_M..=FAR_M)?;
        within(&key("north_m"), line.north_m, -FAR_M..=FAR_M)?;
        within(&key("bearing_deg"), line.bearing_deg, -360.0..=360.0)?;
        within(&key("aside_m"), line.aside_m, -100.0..=100.0)?;
        within(&key("depth_m"), line.depth_m, -100.0..=100.0)?;
        within(&key("length_m"), line.length_m, 0.1..=FAR_M)?;
        within(&key("bend_deg"), line.bend_deg, -180.0..=180.0)?;
        within(&key("bend_at_m"), line.bend_at_m, 0.0..=line.length_m)?;
        within(&key("current_a"), line.current_a, 0.0..=1000.0)?;
        if let Some(share) = line.share_at_sonde {
            within(&key("share_at_sonde"), share, 0.0..=1000.0)?;
            if stations.iter().any(|station| self.sources(station).is_empty()) {
                let problem = "needs a source at every station: add one, or give `current_a` in its place";
                return Err(SiteError::new(key("share_at_sonde"), problem));
            }
        }
        self.check_tone(&key("tone_hz"), line.tone_hz)?;
        within(&key("phase_deg"), line.phase_deg, -360.0..=360.0)?;
        check_all(&key("mains_a"), &line.mains_a, |key, &a| within(key, a, 0.0..=10_000.0))?;
        if !line.mains_a.is_empty() && self.noise.mains.is_none() {
            let problem = "needs [noise.mains]: add it, it says which grid there is";
            return Err(SiteError::new(key("mains_a"), problem));
        }
        check_all(&key("load_s"), &line.load_s, |key, &[from_s, to_s]| {
            within(key, from_s, 0.0..=86_400.0)?;
            let problem = format!("= [{from_s}, {to_s}]: must be from and to, the later one last");
            if to_s > from_s { Ok(()) } else { Err(SiteError::new(key, problem)) }
        })
    }

    fn check_tone(&self, key: &str, tone_hz: Option<f64>) -> Result<(), SiteError> {
        let highest_hz = self.signal.sample_rate_hz * 0.49;
        tone_hz.map_or(Ok(()), |tone_hz| within(key, tone_hz, 10.0..=highest_hz))
    }
}

fn check_iron(key: &str, iron: &Iron) -> Result<(), SiteError> {
    let key = |name: &str| format!("{key}.{name}");
    within(&key("weaken_db"), iron.weaken_db, 0.0..=120.0)?;
    within(&key("leak_share"), iron.leak_share, -10.0..=10.0)?;
    within(&key("ahead_m"), iron.ahead_m, 0.0..=100.0)?;
    within(&key("behind_m"), iron.behind_m, 0.0..=100.0)?;
    within(&key("lag_deg"), iron.lag_deg, -360.0..=360.0)
}

fn check_start(key: &str, s: &Start) -> Result<(), SiteError> {
    within(&format!("{key}.start.east_m"), s.east_m, -FAR_M..=FAR_M)?;
    within(&format!("{key}.start.north_m"), s.north_m, -FAR_M..=FAR_M)?;
    within(&format!("{key}.start.heading_deg"), s.heading_deg, -360.0..=360.0)
}

fn check_walker(w: &Walker) -> Result<(), SiteError> {
    within("walker.carry_m", w.carry_m, 0.0..=2.0)?;
    within("walker.pace_m_s", w.pace_m_s, 0.05..=3.0)?;
    within("walker.accel_m_s2", w.accel_m_s2, 0.1..=10.0)?;
    within("walker.turn_deg_s", w.turn_deg_s, 5.0..=360.0)?;
    within("walker.bob_m", w.bob_m, 0.0..=0.2)?;
    within("walker.weave_m", w.weave_m, 0.0..=0.2)
}

fn check_noise(n: &Noise) -> Result<(), SiteError> {
    within("noise.field_pt_per_root_hz", n.field_pt_per_root_hz, 0.0..=1e6)?;
    within("noise.high_pass_hz", n.high_pass_hz, 0.1..=1000.0)?;
    within("noise.calibration_scale", n.calibration_scale, 0.0..=1000.0)?;
    if let Some(fraction) = n.true_rail_fraction {
        within("noise.true_rail_fraction", fraction, 1e-6..=1.0)?;
    }
    if let Some(mains) = &n.mains {
        check_mains(mains)?;
    }
    if let Some(i) = &n.impulses {
        within("noise.impulses.rate_per_s", i.rate_per_s, 0.0..=100.0)?;
        within("noise.impulses.median_t", i.median_t, 0.0..=1e-3)?;
        within("noise.impulses.spread_db", i.spread_db, 0.0..=40.0)?;
        within("noise.impulses.length_s", i.length_s, 1e-4..=1.0)?;
    }
    within("noise.sway.rms_deg", n.sway.rms_deg, 0.0..=45.0)?;
    within("noise.sway.rate_hz", n.sway.rate_hz, 0.01..=10.0)?;
    within("noise.sway.footfall_deg", n.sway.footfall_deg, 0.0..=10.0)?;
    within("noise.earth.field_t", n.earth.field_t, 0.0..=1e-3)?;
    within("noise.earth.dip_deg", n.earth.dip_deg, -90.0..=90.0)?;
    let t = &n.track;
    within("noise.track.white_m", t.white_m, 0.0..=100.0)?;
    within("noise.track.wander_m", t.wander_m, 0.0..=100.0)?;
    within("noise.track.wander_s", t.wander_s, 0.1..=10_000.0)?;
    within("noise.track.up_m", t.up_m, 0.0..=100.0)?;
    within("noise.track.heading_deg", t.heading_deg, 0.0..=180.0)?;
    within("noise.track.tilt_deg", t.tilt_deg, 0.0..=45.0)?;
    within("noise.track.claimed_sigma_m", t.sigma_m(), 0.0001..=1000.0)
}

fn check_mains(m: &Mains) -> Result<(), SiteError> {
    within("noise.mains.frequency_hz", m.frequency_hz, 10.0..=500.0)?;
    within("noise.mains.wander_hz", m.wander_hz, 0.0..=5.0)?;
    within("noise.mains.wander_s", m.wander_s, 0.1..=10_000.0)?;
    within("noise.mains.drift_hz_per_s", m.drift_hz_per_s, -1.0..=1.0)?;
    within("noise.mains.bearing_deg", m.bearing_deg, -360.0..=360.0)?;
    within("noise.mains.elevation_deg", m.elevation_deg, -90.0..=90.0)?;
    check_all("noise.mains.harmonics_t", &m.harmonics_t, |key, &h| within(key, h, 0.0..=1e-2))?;
    let Some(line) = &m.line else { return Ok(()) };
    within("noise.mains.line.east_m", line.east_m, -FAR_M..=FAR_M)?;
    within("noise.mains.line.north_m", line.north_m, -FAR_M..=FAR_M)?;
    within("noise.mains.line.depth_m", line.depth_m, -100.0..=100.0)?;
    within("noise.mains.line.bearing_deg", line.bearing_deg, -360.0..=360.0)?;
    within("noise.mains.line.current_a", line.current_a, 0.0..=10_000.0)?;
    if m.harmonics_t.first().is_none_or(|&first| first <= 0.0) {
        return Err(SiteError::new(
            "noise.mains.harmonics_t",
            "must begin with a positive first harmonic, because the line's harmonics stand to it",
        ));
    }
    Ok(())
}

fn check_leg(key: &str, leg: &Leg) -> Result<(), SiteError> {
    let key = |name: &str| format!("{key}.{name}");
    match *leg {
        Leg::Stand(Stand { seconds }) => within(&key("stand.seconds"), seconds, 0.0..=3600.0),
        Leg::Sweep(Sweep { seconds }) => within(&key("sweep.seconds"), seconds, 3.0..=600.0),
        Leg::To(To { east_m, north_m, pace_m_s }) => {
            within(&key("to.east_m"), east_m, -FAR_M..=FAR_M)?;
            within(&key("to.north_m"), north_m, -FAR_M..=FAR_M)?;
            pace_m_s.map_or(Ok(()), |pace| within(&key("to.pace_m_s"), pace, 0.05..=3.0))
        }
        Leg::Home(Home { max_m }) => within(&key("home.max_m"), max_m, 0.0..=500.0),
        Leg::Lane(Lane { length_m, direction }) => {
            if let Direction::Bearing(bearing_deg) = direction {
                within(&key("lane.direction"), bearing_deg, -360.0..=360.0)?;
            }
            within(&key("lane.length_m"), length_m, 0.5..=500.0)
        }
        Leg::Lanes(Lanes { east_m, north_m, bearing_deg, length_m, count, apart_m }) => {
            within(&key("lanes.east_m"), east_m, -FAR_M..=FAR_M)?;
            within(&key("lanes.north_m"), north_m, -FAR_M..=FAR_M)?;
            within(&key("lanes.bearing_deg"), bearing_deg, -360.0..=360.0)?;
            within(&key("lanes.length_m"), length_m, 0.5..=500.0)?;
            within(&key("lanes.count"), count, 1..=100)?;
            within(&key("lanes.apart_m"), apart_m, 0.0..=100.0)
        }
        Leg::Settle(Settle { seconds }) => within(&key("settle.seconds"), seconds, 0.0..=3600.0),
        Leg::Lift(Lift { height_m, seconds }) => {
            within(&key("lift.height_m"), height_m, 0.0..=2.0)?;
            within(&key("lift.seconds"), seconds, 0.0..=3600.0)
        }
    }
}

/// Apply a check to each entry of a list, with the key `list.N`, counted from 1.
fn check_all<T>(
    list: &str,
    entries: &[T],
    check: impl Fn(&str, &T) -> Result<(), SiteError>,
) -> Result<(), SiteError> {
    entries.iter().enumerate().try_for_each(|(i, entry)| check(&format!("{list}.{}", i + 1), entry))
}

/// An error unless the value lies in the range; NaN lies in none.
fn within<T: PartialOrd + Display>(key: &str, value: T, range: RangeInclusive<T>) -> Result<(), SiteError> {
    if range.contains(&value) {
        return Ok(());
    }
    let problem = format!("= {value}: must be {} to {}", range.start(), range.end());
    Err(SiteError::new(key, problem))
}
