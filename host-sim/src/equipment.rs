//! The description of one instrument, as it stands in site files and captures: signal, front end, array.
//!
//! Every default is written here once; `docs/src/capture-format.md` lists them.

use glam::Vec3;
use nullwalk_core::array::{AcCoupling, Array, CalibrationSigma, Coil, Node};
use nullwalk_core::depth::Measured;
use nullwalk_core::error::ConfigError;
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::locate::Settings;
use serde::{Deserialize, Serialize};

/// How far a carrier may stray from the nominal tone, with a filter's skirt, hertz.
const CARRIER_ROOM_HZ: f64 = 10.0;

/// What is listened for, and how often it is sampled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Signal {
    /// Sampling rate, hertz.
    pub sample_rate_hz: f64,
    /// Nominal frequency of the tone, hertz.
    pub tone_hz: f64,
    /// Number of channels.
    pub channels: usize,
    /// Strength of the beacon, if it was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bench: Option<Bench>,
}

impl Default for Signal {
    fn default() -> Self {
        Self { sample_rate_hz: 8000.0, tone_hz: 512.0, channels: 6, bench: None }
    }
}

/// What a beacon measured on the bench.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bench {
    /// Its moment, A m2.
    pub moment_a_m2: f64,
    /// Standard uncertainty of that, with what batteries and warmth do to it.
    pub sigma_a_m2: f64,
}

/// The amplifier and converter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct FrontEnd {
    /// Volts at the converter that give `full_scale_counts`.
    pub full_scale_v: f64,
    /// Counts at full scale: 2^23 for a 24-bit converter.
    pub full_scale_counts: i32,
    /// Fraction of full scale at which the chain clips.
    pub rail_fraction: f64,
    /// Gain settings, lowest first.
    pub rungs: Vec<RungFile>,
    /// Corner of the amplifier's first-order high-pass, hertz, where it is known: calibrations made at the tone then hold at
    /// mains.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub high_pass_hz: Option<f64>,
}

impl Default for FrontEnd {
    fn default() -> Self {
        let rungs = [1.0, 4.0, 16.0, 64.0, 256.0].map(|gain| RungFile { gain, settle_s: 0.03 });
        Self {
            full_scale_v: 2.5,
            full_scale_counts: 1 << 23,
            rail_fraction: 1.0,
            rungs: rungs.to_vec(),
            high_pass_hz: None,
        }
    }
}

/// One gain setting.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RungFile {
    /// Voltage gain.
    pub gain: f64,
    /// Settling time after switching to it, seconds.
    #[serde(default)]
    pub settle_s: f64,
}

/// The coils on the mast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ArrayFile {
    /// Height of the lower node above ground while the foot rests on it, metres.
    pub foot_m: f64,
    /// What the calibration leaves uncertain.
    pub calibration: CalibrationFile,
    /// Nodes, lower first. Empty for a recording whose coils are not 3-axis nodes.
    pub node: Vec<NodeFile>,
}

impl Default for ArrayFile {
    fn default() -> Self {
        let node = |height: f64, first: u8| NodeFile {
            position_m: [0.0, 0.0, height],
            coil: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
                .iter()
                .zip(first..)
                .map(|(&axis, channel)| CoilFile { channel, axis, ..CoilFile::default() })
                .collect(),
        };
        Self {
            foot_m: 0.05,
            calibration: CalibrationFile::default(),
            node: vec![node(0.0, 0), node(0.4, 3)],
        }
    }
}

/// Provenance and uncertainty of the calibration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CalibrationFile {
    /// Relative standard uncertainty of the ratio of the nodes' gains.
    pub node_ratio_sigma: f64,
    /// Relative standard uncertainty of the common scale.
    pub scale_sigma: f64,
    /// Standard uncertainty of the mast's tilt while walking, degrees.
    pub tilt_sigma_deg: f64,
    /// Frequency at which it was done, hertz, if it is not the tone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tone_hz: Option<f64>,
    /// How and when it was done, in words.
    pub note: String,
}

impl Default for CalibrationFile {
    fn default() -> Self {
        Self {
            node_ratio_sigma: 0.003,
            scale_sigma: 0.05,
            tilt_sigma_deg: 0.2,
            tone_hz: None,
            note: String::new(),
        }
    }
}

/// One 3-axis node.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NodeFile {
    /// Centre in the mast frame, metres.
    pub position_m: [f64; 3],
    /// Its three coils; none where phasors were recorded and the node is only placed.
    #[serde(default)]
    pub coil: Vec<CoilFile>,
}

/// One coil.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CoilFile {
    /// Channel, counted from zero.
    pub channel: u8,
    /// Direction of sensitivity in the mast frame.
    pub axis: [f64; 3],
    /// Turns times area times apparent permeability, m2.
    pub turns_area_m2: f64,
    /// Calibrated gain relative to nominal.
    pub gain: f64,
    /// Calibrated phase lead, degrees.
    pub phase_deg: f64,
}

impl Default for CoilFile {
    fn default() -> Self {
        Self { channel: 0, axis: [0.0, 0.0, 1.0], turns_area_m2: 20.0, gain: 1.0, phase_deg: 0.0 }
    }
}

impl Signal {
    /// Settings of a locate that knows as much of the beacon as is known here.
    pub fn settings(&self, settings: Settings) -> Settings {
        let measured = |bench: Bench| Measured::new(bench.moment_a_m2 as f32, bench.sigma_a_m2 as f32);
        Settings { bench_moment_a_m2: self.bench.map(measured), ..settings }
    }

    /// Whether the tone, with room for its carrier to stray, stays below half the sample rate.
    pub fn tone_fits(&self) -> bool {
        self.tone_hz >= 1.0 && self.tone_hz + CARRIER_ROOM_HZ < self.sample_rate_hz / 2.0
    }

    /// The lowest common sample rate that fits a tone, hertz.
    pub fn rate_for_tone_hz(tone_hz: f64) -> Option<f64> {
        [4000.0, 8000.0, 16_000.0, 24_000.0, 32_000.0, 48_000.0, 96_000.0]
            .into_iter()
            .find(|&sample_rate_hz| Self { sample_rate_hz, tone_hz, ..Self::default() }.tone_fits())
    }
}

impl FrontEnd {
    /// The core's gain ladder.
    ///
    /// # Errors
    /// As [`Ladder::new`].
    pub fn ladder(&self) -> Result<Ladder, ConfigError> {
        let rungs: Vec<Rung> =
            self.rungs.iter().map(|r| Rung { gain: r.gain as f32, settle_s: r.settle_s as f32 }).collect();
        Ladder::new(&rungs, self.full_scale_v as f32, self.full_scale_counts, self.rail_fraction as f32)
    }
}

impl ArrayFile {
    /// The core's array; `None` where no nodes are described.
    ///
    /// # Errors
    /// As [`Array::new`], or when a node does not have three coils.
    pub fn array(&self) -> Result<Option<Array>, ConfigError> {
        if !(0.0..=2.0).contains(&self.foot_m) {
            return Err(ConfigError::new("array.foot_m", "must be 0 to 2 m"));
        }
        if self.node.is_empty() {
            return Ok(None);
        }
        let nodes = self.node.iter().map(node).collect::<Result<Vec<_>, _>>()?;
        let sigma = CalibrationSigma {
            node_ratio: self.calibration.node_ratio_sigma as f32,
            scale: self.calibration.scale_sigma as f32,
            tilt_rad: self.calibration.tilt_sigma_deg.to_radians() as f32,
        };
        Array::new(&nodes, sigma, self.foot_m as f32).map(Some)
    }
}

/// The array behind its amplifiers, whose calibration so holds at mains, too; `None` where no nodes are described.
///
/// # Errors
/// As [`ArrayFile::array`], or when the high-pass cannot be.
pub fn coupled(
    array: &ArrayFile,
    front_end: &FrontEnd,
    signal: &Signal,
) -> Result<Option<Array>, ConfigError> {
    let Some(plain) = array.array()? else { return Ok(None) };
    let Some(corner_hz) = front_end.high_pass_hz else { return Ok(Some(plain)) };
    let calibrated_hz = array.calibration.tone_hz.unwrap_or(signal.tone_hz) as f32;
    plain.coupled(AcCoupling { calibrated_hz, corner_hz: corner_hz as f32 }).map(Some)
}

fn node(file: &NodeFile) -> Result<Node, ConfigError> {
    if !file.position_m.iter().all(|x| x.abs() <= 5.0) {
        return Err(ConfigError::new("array.node.position_m", "must be within 5 m of the mast"));
    }
    let coils: Vec<Coil> = file
        .coil
        .iter()
        .map(|c| Coil {
            channel: c.channel,
            axis: vec3(c.axis),
            turns_area_m2: c.turns_area_m2 as f32,
            gain: c.gain as f32,
            phase_rad: c.phase_deg.to_radians() as f32,
        })
        .collect();
    let coils = <[Coil; 3]>::try_from(coils)
        .map_err(|_| ConfigError::new("array.node.coil", "must list exactly three coils"))?;
    Ok(Node { position_m: vec3(file.position_m), coils })
}

fn vec3(v: [f64; 3]) -> Vec3 {
    Vec3::from_array(v.map(|x| x as f32))
}
