//! The coils on the mast: what fraction of a field each one sees, and how it turns it into volts.

use std::array;
use std::f64::consts::TAU;

use glam::{DMat3, DVec3};
use nullwalk_core::array::MAX_NODES;
use num_complex::Complex64;

use super::pose::Pose;
use super::random::{Purpose, normal, stream};
use crate::site::Site;

/// One channel's coil.
#[derive(Debug, Clone, Copy)]
struct Coil {
    node: usize,
    axis: DVec3,
    /// Volts for one tesla per second, as a phasor: turns area, gain and phase.
    volts: Complex64,
}

/// All coils. A channel that no coil is wired to reads nothing.
#[derive(Debug, Clone)]
pub(super) struct Coils<const C: usize> {
    coils: [Option<Coil>; C],
    nodes_m: Vec<DVec3>,
    hiss_v: [f64; C],
}

/// The mast at one instant: the place of each node, and the way back into the mast frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mast {
    nodes_enu_m: [DVec3; MAX_NODES],
    from_site: DMat3,
}

impl<const C: usize> Coils<C> {
    /// The coils of a site's instrument, with the calibration errors that belong to a seed.
    pub(super) fn new(site: &Site, seed: u64) -> Self {
        let sigma = &site.array.calibration;
        let (scale, half_ratio) = if site.noise.calibration_error {
            let mut random = stream(seed, 0, Purpose::Calibration);
            let mut error = |claimed: f64| site.noise.calibration_scale * claimed * normal(&mut random);
            (error(sigma.scale_sigma), 0.5 * error(sigma.node_ratio_sigma))
        } else {
            (0.0, 0.0)
        };
        let w = TAU * site.signal.tone_hz;
        let hiss_t = site.noise.field_pt_per_root_hz * 1e-12;
        let half_band_hz = 0.5 * site.signal.sample_rate_hz;

        let mut coils = [None; C];
        let mut hiss_v = [0.0; C];
        for (node, described) in site.array.node.iter().enumerate() {
            // Logarithms: gains stay positive, and the ratio of the nodes is exp(2 half_ratio).
            let error = (scale + if node == 0 { -half_ratio } else { half_ratio }).exp();
            for coil in &described.coil {
                let channel = usize::from(coil.channel);
                let nominal = coil.turns_area_m2 * coil.gain;
                if let (Some(slot), Some(hiss)) = (coils.get_mut(channel), hiss_v.get_mut(channel)) {
                    *slot = Some(Coil {
                        node,
                        axis: DVec3::from_array(coil.axis).normalize_or_zero(),
                        volts: Complex64::from_polar(nominal * error, coil.phase_deg.to_radians()),
                    });
                    *hiss = w * nominal * hiss_t * half_band_hz.sqrt();
                }
            }
        }
        let nodes_m = site.array.node.iter().map(|n| DVec3::from_array(n.position_m)).collect();
        Self { coils, nodes_m, hiss_v }
    }

    /// Standard deviation of one sample of a channel's white noise, volts at the coil.
    pub(super) fn hiss_v(&self) -> [f64; C] {
        self.hiss_v
    }

    /// Where the nodes are in a pose.
    pub(super) fn mast(&self, pose: &Pose) -> Mast {
        let to_site = pose.rotation();
        let mut nodes_enu_m = [pose.enu_m; MAX_NODES];
        for (place, &node) in nodes_enu_m.iter_mut().zip(&self.nodes_m) {
            *place += to_site * node;
        }
        Mast { nodes_enu_m, from_site: to_site.transpose() }
    }

    /// The part of a field along each coil's axis. `field` gives the field at a place, both in the site frame.
    pub(super) fn along_axes(&self, mast: &Mast, field: impl Fn(DVec3) -> DVec3) -> [f64; C] {
        let mut fields = [DVec3::ZERO; MAX_NODES];
        for (field_at, &node) in fields.iter_mut().zip(&mast.nodes_enu_m).take(self.nodes_m.len()) {
            *field_at = mast.from_site * field(node);
        }
        self.coils
            .map(|coil| coil.map_or(0.0, |c| fields.get(c.node).map_or(0.0, |field| field.dot(c.axis))))
    }

    /// Each channel's volts for one tesla per second along its coil.
    pub(super) fn volts(&self) -> [Complex64; C] {
        array::from_fn(|c| self.coils.get(c).copied().flatten().map_or(Complex64::ZERO, |c| c.volts))
    }
}
