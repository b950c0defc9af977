//! A mast with known errors, laid into slots near a sonde: what its coils read, and captures of that.

use std::f64::consts::TAU;
use std::path::Path;

use glam::{DMat3, DQuat, DVec3};
use nullwalk::calibrate::{CoilReading, Plan, Reading};
use nullwalk::capture::{CaptureWriter, Description};
use nullwalk::equipment::ArrayFile;
use nullwalk_core::field::dipole;
use nullwalk_core::frame::BlockInfo;
use num_complex::Complex64;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;

/// The plan that the book shows.
pub const PLAN: &str = include_str!("../../../docs/src/calibration-plan.toml");

/// Distance of the slots P and Q, and P and R, metres: the spacing of the nodes.
const SPACING_M: f64 = 0.4;
/// The sonde, as seen from slot P, metres.
const SONDE_M: DVec3 = DVec3::new(1.2, 1.0, 1.5);

/// What is wrong with an instrument and with how it is laid.
pub struct Bench {
    /// The coils as they really are.
    pub truth: ArrayFile,
    /// The sonde's dipole moment, A m2, in the room.
    pub moment_a_m2: DVec3,
    /// By how much a node misses its slot, each way, metres.
    pub place_m: f64,
    /// By how much the mast is turned away from its attitude, each way, degrees.
    pub angle_deg: f64,
    /// Noise of each real number of a reading, tesla.
    pub noise_t: f64,
    /// By how much the source weakens from each attitude to the next, relative.
    pub fading: f64,
    random: Xoshiro256PlusPlus,
}

impl Bench {
    /// An instrument whose coils are off by `gain` (relative), `phase_deg` and `axis_deg` (standard
    /// deviations), laid perfectly and without noise.
    pub fn new(seed: u64, gain: f64, phase_deg: f64, axis_deg: f64) -> Self {
        let mut bench = Self {
            truth: ArrayFile::default(),
            moment_a_m2: DVec3::new(0.12, -0.08, 0.14),
            place_m: 0.0,
            angle_deg: 0.0,
            noise_t: 0.0,
            fading: 0.01,
            random: Xoshiro256PlusPlus::seed_from_u64(seed),
        };
        let mut truth = bench.truth.clone();
        for coil in truth.node.iter_mut().flat_map(|n| &mut n.coil) {
            coil.gain = (gain * bench.normal()).exp();
            coil.phase_deg = phase_deg * bench.normal();
            let axis = DVec3::from_array(coil.axis);
            let (p, q) = axis.any_orthonormal_pair();
            let lean = axis_deg.to_radians();
            coil.axis =
                (axis + p * lean * bench.normal() + q * lean * bench.normal()).normalize().to_array();
        }
        bench.truth = truth;
        bench
    }

    pub fn normal(&mut self) -> f64 {
        self.random.sample(StandardNormal)
    }

    fn three(&mut self, size: f64) -> DVec3 {
        DVec3::new(self.normal(), self.normal(), self.normal()) * size
    }

    /// The field in the room, `at` from slot P.
    pub fn field_t(&self, at: DVec3) -> DVec3 {
        DVec3::from_array(dipole(self.moment_a_m2.to_array(), (at - SONDE_M).to_array()))
    }

    /// The field along each coil, with the gain and phase of the coil, for each attitude of a plan. The
    /// source's phase is another each time.
    pub fn signals(&mut self, plan: &Plan) -> Vec<Vec<Complex64>> {
        let coils = self.truth.clone();
        let mut signals = Vec::new();
        for (k, attitude) in plan.attitude.iter().enumerate() {
            let phase = self.random.random_range(0.0..TAU);
            let source = Complex64::from_polar((1.0 - self.fading).powi(k as i32), phase);
            let turn = self.three(self.angle_deg.to_radians());
            let miss = self.three(self.place_m);
            let to_room = attitude.rotation() * DMat3::from_quat(DQuat::from_scaled_axis(turn));
            let mut of_coils = Vec::new();
            for (node, slot) in coils.node.iter().zip(&attitude.slots) {
                let field = to_room.transpose() * self.field_t(place(slot) + miss);
                of_coils.extend(node.coil.iter().map(|coil| {
                    let gain = Complex64::from_polar(coil.gain, coil.phase_deg.to_radians());
                    source * gain * DVec3::from_array(coil.axis).dot(field)
                }));
            }
            signals.push(of_coils);
        }
        signals
    }

    /// Readings with noise, as the detector would give them.
    pub fn readings(&mut self, plan: &Plan) -> Vec<Reading> {
        let sigma_t = self.noise_t;
        let mut readings = Vec::new();
        for signal in self.signals(plan) {
            let noisy = signal
                .into_iter()
                .map(|z| {
                    let noise = Complex64::new(self.normal(), self.normal()) * sigma_t;
                    CoilReading { field_t: z + noise, sigma_t: sigma_t.max(1e-15) }
                })
                .collect();
            readings.push(noisy);
        }
        readings
    }

    /// Captures of `seconds` each where the plan wants them, under `folder`, with white noise of
    /// `noise_t_per_root_hz` and a carrier that is off by 0.7 Hz.
    pub fn record(&mut self, plan: &Plan, folder: &Path, seconds: f64, noise_t_per_root_hz: f64) {
        const RUNG: u8 = 3;
        let description = Description::default();
        let rate_hz = description.signal.sample_rate_hz;
        let carrier_hz = description.signal.tone_hz + 0.7;
        let front_end = &description.front_end;
        let counts_per_volt = f64::from(front_end.full_scale_counts) / front_end.full_scale_v
            * front_end.rungs[usize::from(RUNG)].gain;
        let volts_per_tesla = TAU * carrier_hz * 20.0;
        let hiss_v = TAU * description.signal.tone_hz * 20.0 * noise_t_per_root_hz * (rate_hz / 2.0).sqrt();
        let signals = self.signals(plan);
        for (signal, attitude) in signals.iter().zip(&plan.attitude) {
            let target = folder.join(&attitude.capture);
            let mut writer = CaptureWriter::<6>::create(&target, &description).unwrap();
            let block = 400;
            for start in (0..(seconds * rate_hz) as u64).step_by(block) {
                let frames: Vec<[i32; 6]> = (start..start + block as u64)
                    .map(|n| {
                        let wave = Complex64::i() * Complex64::cis(TAU * carrier_hz * n as f64 / rate_hz);
                        std::array::from_fn(|c| {
                            let volts = (signal[c] * wave).re * volts_per_tesla + hiss_v * self.normal();
                            (volts * counts_per_volt).round() as i32
                        })
                    })
                    .collect();
                let info = BlockInfo { frames: block, start, rung: RUNG, mast: None };
                writer.append(&info, &frames, true).unwrap();
            }
            writer.finish().unwrap();
        }
    }
}

/// Where a slot is, metres from P.
fn place(slot: &str) -> DVec3 {
    match slot {
        "P" => DVec3::ZERO,
        "Q" => DVec3::X * SPACING_M,
        "R" => DVec3::Y * SPACING_M,
        other => panic!("no slot {other}"),
    }
}
