//! Coils and nodes: from phasors to field vectors.

use core::f32::consts::TAU;

use glam::{Mat3, Vec3};
use heapless::Vec;
use num_complex::Complex32;

use crate::error::ConfigError;
use crate::frame::{MAX_CHANNELS, MastReading, SampleIndex};
use crate::math;
use crate::tone::{Marks, Phasors};

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
    /// Standard uncertainty of the mast's tilt while walking, radians: it turns one field component into another.
    pub tilt_rad: f32,
}

/// The geometry and calibration of all nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Array {
    nodes: Vec<Node, MAX_NODES>,
    /// For each node, the matrix from its three coil readings to the field vector.
    unmix: Vec<Mat3, MAX_NODES>,
    sigma: CalibrationSigma,
    foot_m: f32,
    coupling: Option<AcCoupling>,
}

/// How amplifiers that block direct current pass a frequency other than the one at which the coils were calibrated: a
/// first-order high-pass, the same for all channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AcCoupling {
    /// The frequency at which gains and phases of the coils hold, hertz.
    pub calibrated_hz: f32,
    /// Corner of the high-pass, hertz.
    pub corner_hz: f32,
}

impl AcCoupling {
    /// What passes at a frequency, over what passes at the calibrated one.
    fn at(&self, frequency_hz: f32) -> Complex32 {
        let Self { calibrated_hz, corner_hz } = *self;
        let share = frequency_hz / calibrated_hz;
        Complex32::new(corner_hz, calibrated_hz) / Complex32::new(corner_hz, frequency_hz) * share
    }
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
            (0.0..=0.5).contains(&sigma.node_ratio)
                && (0.0..=1.0).contains(&sigma.scale)
                && (0.0..=0.2).contains(&sigma.tilt_rad),
            "array.calibration",
            "must have node_ratio_sigma of 0 to 0.5, scale_sigma of 0 to 1 and tilt_sigma_deg of 0 to 11",
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
        Ok(Self { nodes, unmix, sigma, foot_m, coupling: None })
    }

    /// The same behind amplifiers whose high-pass is known, so that its calibration holds at other frequencies than the
    /// one it was made at: those of mains while it is set to a tone.
    ///
    /// # Errors
    /// When a frequency cannot be.
    pub fn coupled(self, coupling: AcCoupling) -> Result<Self, ConfigError> {
        ConfigError::unless(
            coupling.calibrated_hz >= 1.0 && coupling.calibrated_hz <= 1e6,
            "array.calibration.tone_hz",
            "must be 1 to 1000000 Hz",
        )?;
        ConfigError::unless(
            (0.0..=1000.0).contains(&coupling.corner_hz),
            "front_end.high_pass_hz",
            "must be 0 to 1000 Hz",
        )?;
        Ok(Self { coupling: Some(coupling), ..self })
    }

    /// Whether every coil has its channel.
    pub(crate) fn wired_within(&self, channels: usize) -> Result<(), ConfigError> {
        let mut coils = self.nodes.iter().flat_map(|node| &node.coils);
        ConfigError::unless(
            coils.all(|coil| usize::from(coil.channel) < channels),
            "array.node.coil.channel",
            "must be below signal.channels",
        )
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

/// The field at one node, in the levelled mast frame.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct NodeField {
    /// In-phase field vector, tesla (peak). Its sign is relative to an arbitrary transmitter phase.
    pub field_t: Vec3,
    /// Standard uncertainty of each component from noise, tesla.
    pub sigma_t: f32,
}

/// What one instant of the array says.
#[derive(Debug, Clone, PartialEq)]
pub struct Glimpse {
    /// The instant.
    pub at: SampleIndex,
    /// Field at each node, lower one first.
    pub nodes: Vec<NodeField, MAX_NODES>,
    /// What is in quadrature to the field at each node, tesla, levelled as it is.
    pub quadrature_t: [Vec3; MAX_NODES],
    /// Share of the field that is in quadrature: zero for a single source, noise already taken off. A
    /// second source of another phase, or currents in iron or ground, raise it.
    pub ellipticity: f32,
    /// Signal-to-noise ratio over all components, decibels.
    pub snr_db: f32,
    /// How the mast was held at this instant.
    pub mast: MastReading,
    /// Offset of the tracked carrier from nominal, hertz.
    pub carrier_offset_hz: f32,
    /// Fraction of the window that had to be bridged.
    pub bridged: f32,
    /// What happened within the window.
    pub marks: Marks,
}

impl Glimpse {
    /// The lower node.
    pub fn lower(&self) -> NodeField {
        self.nodes.first().copied().unwrap_or_default()
    }
}

/// What a glimpse says besides the field and the mast's attitude.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Circumstances {
    /// Offset of the tracked carrier from nominal, hertz.
    pub carrier_offset_hz: f32,
    /// Fraction of the window that had to be bridged.
    pub bridged: f32,
    /// What happened within the window.
    pub marks: Marks,
}

impl Glimpse {
    /// A glimpse from the complex fields at the nodes, levelled by the mast's tilt.
    ///
    /// All components of a single source rise and fall together. Their common phase is
    /// `arg(sum z^2) / 2`; what is in step with it is the field, the rest is the ellipticity.
    pub fn new(
        at: SampleIndex,
        fields: &[NodePhasor],
        phase: &mut CommonPhase,
        mast: MastReading,
        circumstances: Circumstances,
    ) -> Self {
        // In nanotesla, so that squares of picoteslas stay far from the smallest numbers.
        let square = |z: &Complex32| (z * 1e9) * (z * 1e9);
        let squares: Complex32 = fields.iter().flat_map(|f| &f.field_t).map(square).sum();
        let (s, c) = math::sin_cos(phase.follow(squares));
        let levelling = mast.tilt.unwrap_or_default().levelling();
        let (mut in_phase, mut quadrature, mut noise) = (0.0, 0.0, 0.0);
        let mut nodes = Vec::new();
        let mut quadrature_t = [Vec3::ZERO; MAX_NODES];
        for (field, quadrature_t) in fields.iter().zip(&mut quadrature_t) {
            let turned = field.field_t.map(|z| z * Complex32::new(c, -s) * 1e9);
            in_phase += turned.iter().map(|z| z.re * z.re).sum::<f32>();
            quadrature += turned.iter().map(|z| z.im * z.im).sum::<f32>();
            noise += 3.0 * field.sigma_t * 1e9 * field.sigma_t * 1e9;
            let field_t = levelling * Vec3::from_array(turned.map(|z| z.re)) * 1e-9;
            *quadrature_t = levelling * Vec3::from_array(turned.map(|z| z.im)) * 1e-9;
            // There is room: no more are taken than the vector holds.
            let _ = nodes.push(NodeField { field_t, sigma_t: field.sigma_t });
        }
        let ratio = |a: f32, b: f32| if b > 0.0 { math::sqrt((a / b).max(0.0)) } else { 0.0 };
        let Circumstances { carrier_offset_hz, bridged, marks } = circumstances;
        Self {
            at,
            nodes,
            quadrature_t,
            ellipticity: ratio(quadrature - noise, in_phase).min(1.0),
            snr_db: math::db(ratio(in_phase + quadrature, 2.0 * noise)),
            mast,
            carrier_offset_hz,
            bridged,
            marks,
        }
    }
}

/// The transmitter's phase as last seen, which gives field components a lasting sign.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CommonPhase {
    phase_rad: Option<f32>,
}

impl CommonPhase {
    /// The phase that the last glimpse was turned back by, radians: what it was before, is it turned on by so much.
    pub fn phase_rad(&self) -> f32 {
        self.phase_rad.unwrap_or(0.0)
    }

    /// Of the two phases half a turn apart that the field allows, the one nearer to the last.
    fn follow(&mut self, sum_of_squares: Complex32) -> f32 {
        let half = 0.5 * math::atan2(sum_of_squares.im, sum_of_squares.re);
        let last = self.phase_rad.unwrap_or(half);
        let phase = last + math::wrap_half_pi(half - last);
        self.phase_rad = Some(math::wrap_pi(phase));
        phase
    }
}

/// Complex field at one node in the mast frame, tesla, with the standard uncertainty of each real number in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NodePhasor {
    /// The three components.
    pub field_t: [Complex32; 3],
    /// Standard uncertainty of each real (and each imaginary) part.
    pub sigma_t: f32,
}

impl Array {
    /// The field phasors behind coil voltages taken at `tone_hz`: EMF to tesla, calibration, cross-axis.
    ///
    /// ```
    /// use nullwalk_core::array::{AcCoupling, Array, CalibrationSigma, Coil, Node};
    /// use nullwalk_core::tone::{Marks, Phasors};
    /// use num_complex::Complex32;
    ///
    /// let axes = [glam::Vec3::X, glam::Vec3::Y, glam::Vec3::Z];
    /// let coil = |channel: u8| {
    ///     let axis = axes[usize::from(channel)];
    ///     Coil { channel, axis, turns_area_m2: 20.0, gain: 1.0, phase_rad: 0.0 }
    /// };
    /// let node = Node { position_m: glam::Vec3::ZERO, coils: [0, 1, 2].map(coil) };
    /// let sigma = CalibrationSigma { node_ratio: 0.003, scale: 0.05, tilt_rad: 0.0 };
    /// let array = Array::new(&[node], sigma, 0.05).unwrap();
    /// let coupling = AcCoupling { calibrated_hz: 512.0, corner_hz: 20.0 };
    /// let coupled = array.clone().coupled(coupling).unwrap();
    ///
    /// // A corner at 20 Hz takes 5 % off 60 Hz (1/sqrt(1 + (20/60)^2)), and 0.08 % off the tone.
    /// let (value_v, sigma_v) = ([Complex32::new(1e-6, 0.0); 3], [1e-9; 3]);
    /// let (carrier_offset_hz, bridged, marks) = (0.0, 0.0, Marks::default());
    /// let phasors = Phasors { centre: 0, value_v, sigma_v, carrier_offset_hz, bridged, marks };
    /// let size = |array: &Array, hz: f32| array.fields(hz, &phasors)[0].field_t[0].norm();
    /// assert!((size(&coupled, 60.0) / size(&array, 60.0) - 1.0533).abs() < 1e-3);
    /// assert_eq!(size(&coupled, 512.0), size(&array, 512.0));
    /// ```
    pub fn fields<const C: usize>(&self, tone_hz: f32, phasors: &Phasors<C>) -> Vec<NodePhasor, MAX_NODES> {
        let frequency_hz = tone_hz + phasors.carrier_offset_hz;
        let omega = TAU * frequency_hz;
        let passed = self.coupling.map_or(Complex32::ONE, |coupling| coupling.at(frequency_hz));
        let unpassed = passed.conj() / passed.norm_sqr().max(1e-6);
        let mut fields = Vec::new();
        for (node, unmix) in self.nodes.iter().zip(&self.unmix) {
            let mut along = [Complex32::ZERO; 3];
            let mut variance = 0.0;
            for (along, coil) in along.iter_mut().zip(&node.coils) {
                let channel = usize::from(coil.channel);
                let volts = phasors.value_v.get(channel).copied().unwrap_or_default();
                let noise = phasors.sigma_v.get(channel).copied().unwrap_or_default();
                // V = i w N A mu gain e^{i phase} B
                let volts_per_tesla = omega * coil.turns_area_m2 * coil.gain;
                let (s, c) = math::sin_cos(coil.phase_rad);
                *along = volts * Complex32::new(-s, -c) / volts_per_tesla * unpassed;
                variance += noise * noise / (volts_per_tesla * volts_per_tesla) / 3.0 * unpassed.norm_sqr();
            }
            let re = *unmix * Vec3::from_array(along.map(|z| z.re));
            let im = *unmix * Vec3::from_array(along.map(|z| z.im));
            let field_t =
                [Complex32::new(re.x, im.x), Complex32::new(re.y, im.y), Complex32::new(re.z, im.z)];
            // One node too many cannot be: `Array::new` admits no more than the vector holds.
            let _ = fields.push(NodePhasor { field_t, sigma_t: math::sqrt(variance) });
        }
        fields
    }

    /// The glimpse behind coil voltages taken at `tone_hz` while the mast was held so.
    pub fn glimpse<const C: usize>(
        &self,
        tone_hz: f32,
        phasors: &Phasors<C>,
        phase: &mut CommonPhase,
        mast: MastReading,
    ) -> Glimpse {
        let circumstances = Circumstances {
            carrier_offset_hz: phasors.carrier_offset_hz,
            bridged: phasors.bridged,
            marks: phasors.marks,
        };
        Glimpse::new(phasors.centre, &self.fields(tone_hz, phasors), phase, mast, circumstances)
    }

    /// Height of the upper node above the lower one along the mast, metres; `None` unless there are two
    /// nodes, one above the other within a tenth of their distance.
    pub fn spacing_m(&self) -> Option<f32> {
        let [lower, upper] = self.nodes.as_slice() else { return None };
        let apart = upper.position_m - lower.position_m;
        let aside = math::sqrt(apart.x * apart.x + apart.y * apart.y);
        (apart.z > 0.0 && aside < 0.1 * apart.z).then_some(apart.z)
    }
}
