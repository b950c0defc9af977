//! How a recording was made.

use glam::Vec3;
use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

use super::coded;
use super::plain::{self, Pair};
use crate::array::{Array, CalibrationSigma, Coil, MAX_NODES, Node};
use crate::gain::{MAX_RUNGS, Rung};
use crate::instrument::Instrument;
use crate::locate::Settings;

/// How a recording was made.
#[derive(Debug, Clone, PartialEq)]
pub struct Header {
    /// The program that made it, with its version.
    pub build: String<48>,
    /// Why the instrument started.
    pub reset: Reset,
    /// What the last panic or fault before that said; empty when there was none.
    pub last_words: String<128>,
    /// Seconds since 1970 (UTC), where a satellite told the time.
    pub utc_s: Option<u64>,
    /// Sampling rate, hertz.
    pub rate_hz: f32,
    /// Tone that is listened for, hertz.
    pub tone_hz: f32,
    /// Number of channels.
    pub channels: u8,
    /// The gain ladder.
    pub rungs: Vec<Rung, MAX_RUNGS>,
    /// Coil volts for one count on the lowest rung.
    pub count_v: f32,
    /// Counts from which a sample is clipped.
    pub rail_counts: i32,
    /// The coils and their calibration.
    pub array: Array,
    /// How and when they were calibrated.
    pub calibration: String<64>,
    /// Settings of the locate.
    pub settings: Settings,
}

/// Why the instrument started.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Reset {
    /// Nobody knows.
    #[default]
    Unknown,
    /// It was switched on.
    PowerOn,
    /// The reset button, or a debugger.
    Pin,
    /// The supply sagged.
    BrownOut,
    /// The watchdog bit.
    Watchdog,
    /// The program asked for it, after a panic or an update.
    Software,
}

impl Reset {
    /// All causes.
    pub const ALL: [Self; 6] =
        [Self::Unknown, Self::PowerOn, Self::Pin, Self::BrownOut, Self::Watchdog, Self::Software];

    const fn code(self) -> u8 {
        match self {
            Self::Unknown => 0,
            Self::PowerOn => 1,
            Self::Pin => 2,
            Self::BrownOut => 3,
            Self::Watchdog => 4,
            Self::Software => 5,
        }
    }

    /// The cause in words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Unknown => "unknown",
            Self::PowerOn => "switched on",
            Self::Pin => "reset button",
            Self::BrownOut => "supply sagged",
            Self::Watchdog => "watchdog",
            Self::Software => "restarted itself",
        }
    }
}

impl Header {
    /// What `instrument` can tell of itself; the rest is unknown or empty, for the caller to fill in.
    pub fn new<const C: usize>(instrument: &Instrument<C>, settings: Settings) -> Self {
        let ladder = instrument.ladder();
        Self {
            build: String::new(),
            reset: Reset::Unknown,
            last_words: String::new(),
            utc_s: None,
            rate_hz: instrument.tone().rate_hz(),
            tone_hz: instrument.tone().tone_hz(),
            channels: C as u8,
            rungs: plain::list(ladder.rungs().iter().copied()),
            count_v: ladder.coil_volts_per_count(0),
            rail_counts: ladder.rail_counts(),
            array: instrument.array().clone(),
            calibration: String::new(),
            settings,
        }
    }
}

#[derive(Serialize, Deserialize)]
struct Payload {
    build: String<48>,
    reset: u8,
    last_words: String<128>,
    utc_s: Option<u64>,
    rate_hz: f32,
    tone_hz: f32,
    channels: u8,
    /// Gain and settling time.
    rungs: Vec<Pair, MAX_RUNGS>,
    count_v: f32,
    rail_counts: i32,
    foot_m: f32,
    node_ratio_sigma: f32,
    scale_sigma: f32,
    tilt_sigma_rad: f32,
    nodes: Vec<NodeWritten, MAX_NODES>,
    calibration: String<64>,
    level_sigma_rad: f32,
    pace_m_per_s: Option<Pair>,
    unevenness: f32,
    bench_moment_a_m2: Option<Pair>,
}

#[derive(Serialize, Deserialize)]
struct NodeWritten {
    position_m: [f32; 3],
    coils: [CoilWritten; 3],
}

#[derive(Serialize, Deserialize)]
struct CoilWritten {
    channel: u8,
    axis: [f32; 3],
    turns_area_m2: f32,
    gain: f32,
    phase_rad: f32,
}

impl From<&Node> for NodeWritten {
    fn from(node: &Node) -> Self {
        let coil = |coil: Coil| CoilWritten {
            channel: coil.channel,
            axis: coil.axis.to_array(),
            turns_area_m2: coil.turns_area_m2,
            gain: coil.gain,
            phase_rad: coil.phase_rad,
        };
        Self { position_m: node.position_m.to_array(), coils: node.coils.map(coil) }
    }
}

impl NodeWritten {
    fn node(self) -> Node {
        let coil = |coil: CoilWritten| Coil {
            channel: coil.channel,
            axis: Vec3::from_array(coil.axis),
            turns_area_m2: coil.turns_area_m2,
            gain: coil.gain,
            phase_rad: coil.phase_rad,
        };
        Node { position_m: Vec3::from_array(self.position_m), coils: self.coils.map(coil) }
    }
}

pub fn write(header: &Header, out: &mut [u8]) -> Option<usize> {
    let (array, settings) = (&header.array, header.settings);
    let sigma = array.sigma();
    let payload = Payload {
        build: header.build.clone(),
        reset: header.reset.code(),
        last_words: header.last_words.clone(),
        utc_s: header.utc_s,
        rate_hz: header.rate_hz,
        tone_hz: header.tone_hz,
        channels: header.channels,
        rungs: plain::list(header.rungs.iter().map(|rung| (rung.gain, rung.settle_s))),
        count_v: header.count_v,
        rail_counts: header.rail_counts,
        foot_m: array.foot_m(),
        node_ratio_sigma: sigma.node_ratio,
        scale_sigma: sigma.scale,
        tilt_sigma_rad: sigma.tilt_rad,
        nodes: plain::list(array.nodes().iter().map(NodeWritten::from)),
        calibration: header.calibration.clone(),
        level_sigma_rad: settings.level_sigma_rad,
        pace_m_per_s: settings.pace_m_per_s.map(plain::pair),
        unevenness: settings.unevenness,
        bench_moment_a_m2: settings.bench_moment_a_m2.map(plain::pair),
    };
    plain::write(&payload, out)
}

pub fn read(bytes: &[u8]) -> Option<Header> {
    let payload: Payload = plain::read(bytes)?;
    let nodes: Vec<Node, MAX_NODES> = plain::list(payload.nodes.into_iter().map(NodeWritten::node));
    let sigma = CalibrationSigma {
        node_ratio: payload.node_ratio_sigma,
        scale: payload.scale_sigma,
        tilt_rad: payload.tilt_sigma_rad,
    };
    Some(Header {
        build: payload.build,
        reset: coded::find(&Reset::ALL, Reset::code, payload.reset).unwrap_or_default(),
        last_words: payload.last_words,
        utc_s: payload.utc_s,
        rate_hz: payload.rate_hz,
        tone_hz: payload.tone_hz,
        channels: payload.channels,
        rungs: plain::list(payload.rungs.iter().map(|&(gain, settle_s)| Rung { gain, settle_s })),
        count_v: payload.count_v,
        rail_counts: payload.rail_counts,
        array: Array::new(&nodes, sigma, payload.foot_m).ok()?,
        calibration: payload.calibration,
        settings: Settings {
            level_sigma_rad: payload.level_sigma_rad,
            pace_m_per_s: payload.pace_m_per_s.map(plain::measured),
            unevenness: payload.unevenness,
            bench_moment_a_m2: payload.bench_moment_a_m2.map(plain::measured),
        },
    })
}
