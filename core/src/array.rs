//! Coils and nodes: from phasors to field vectors.

use glam::{Mat3, Vec3};
use heapless::Vec;

use crate::error::ConfigError;
use crate::frame::MAX_CHANNELS;

/// The most 3-axis nodes one instrument may have.
pub const MAX_NODES: usize = 2;

/// One pick-up coil and its calibration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coil {
    /// Channel the coil is wired to, counted from zero.
    pub channel: u8,
    /// Direction of greatest sensitivity in the mast frame (any length). Three coils that are not quite
    /// at right angles, the cross-axis error of a real node, are described here.
    pub axis: Vec3,
    /// Turns times area times apparent permeability, m2: a field of amplitude B at w gives `w * this * B` volts.
    pub turns_area_m2: f32,
    /// Correction found by calibration: the channel reads this many times the nominal value.
    pub gain: f32,
    /// Correction found by calibration: the channel's phase leads by this much, radians.
    pub phase_rad: f32,
}

/// Three coils at one place on the mast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Node {
    /// Centre of the coils in the mast frame, metres. The first node is the lower one and the frame's origin.
    pub position_m: Vec3,
    /// The three coils.
    pub coils: [Coil; 3],
}

/// What a calibration leaves uncertain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationSigma {
    /// Relative standard uncertainty of the ratio of the nodes' gains.
    pub node_ratio: f32,
    /// Relative standard uncertainty of the common scale (tesla per volt).
    pub scale: f32,
}

/// The geometry and calibration of all nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Array {
    nodes: Vec<Node, MAX_NODES>,
    /// For each node, the matrix from its three coil readings to the field vector.
    unmix: Vec<Mat3, MAX_NODES>,
    sigma: CalibrationSigma,
    foot_m: f32,
}

impl Array {
    /// An array of one or two nodes. `foot_m` is the height of the lower node above the ground while the
    /// mast's foot rests on it.
    ///
    /// # Errors
    /// Names the parameter when channels repeat or do not exist, coil axes do not span space, nodes
    /// coincide, or a calibration figure is out of range.
    pub fn new(nodes: &[Node], sigma: CalibrationSigma, foot_m: f32) -> Result<Self, ConfigError> {
        ConfigError::unless(!nodes.is_empty(), "array.node", "must list at least one node")?;
        ConfigError::unless(
            (0.0..=0.5).contains(&sigma.node_ratio) && (0.0..=1.0).contains(&sigma.scale),
            "array.calibration",
            "must have node_ratio_sigma of 0 to 0.5 and scale_sigma of 0 to 1",
        )?;
        ConfigError::unless((0.0..=2.0).contains(&foot_m), "array.foot_m", "must be 0 to 2 m")?;
        let mut used = [false; MAX_CHANNELS];
        let mut unmix = Vec::new();
        for node in nodes {
            for coil in &node.coils {
                let sane = |x: f32| x > 0.0 && x.is_finite();
                ConfigError::unless(
                    sane(coil.turns_area_m2) && sane(coil.gain) && coil.phase_rad.is_finite(),
                    "array.node.coil",
                    "must have positive turns_area_m2 and gain, and a finite phase",
                )?;
                match used.get_mut(usize::from(coil.channel)) {
                    Some(slot) if !*slot => *slot = true,
                    _ => {
                        return Err(ConfigError::new(
                            "array.node.coil.channel",
                            "must name each channel at most once, counted from 0, below 8",
                        ));
                    }
                }
            }
            let [x, y, z] = node.coils.map(|c| c.axis.normalize_or_zero());
            let mixing = Mat3::from_cols(x, y, z).transpose();
            ConfigError::unless(
                mixing.determinant().abs() > 0.2,
                "array.node.coil.axis",
                "must be three directions that span space, near right angles",
            )?;
            unmix
                .push(mixing.inverse())
                .map_err(|_| ConfigError::new("array.node", "must list at most two nodes"))?;
        }
        if let [a, b] = nodes {
            ConfigError::unless(
                (0.05..=5.0).contains(&a.position_m.distance(b.position_m)),
                "array.node.position_m",
                "must put the nodes 0.05 to 5 m apart",
            )?;
        }
        let nodes = Vec::from_slice(nodes)
            .map_err(|_| ConfigError::new("array.node", "must list at most two nodes"))?;
        Ok(Self { nodes, unmix, sigma, foot_m })
    }

    /// The nodes, lower one first.
    pub fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// What the calibration leaves uncertain.
    pub fn sigma(&self) -> CalibrationSigma {
        self.sigma
    }

    /// Height of the lower node above the ground while the foot rests on it, metres.
    pub fn foot_m(&self) -> f32 {
        self.foot_m
    }
}
