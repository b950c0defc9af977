//! A whole locate: a walk along a sonde and across it, then a hold above it.

use core::f32::consts::{FRAC_PI_2, PI, TAU};

use glam::{Mat3, Vec2, Vec3};
use nullwalk_core::array::{Array, CalibrationSigma, Coil, Node};
use nullwalk_core::field;
use nullwalk_core::frame::{Block, MastReading, Position, Tilt, heading_rotation};
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::instrument::{Instrument, InstrumentState};
use nullwalk_core::locate::Settings;
use nullwalk_core::math;
use nullwalk_core::tone::Tone;
use nullwalk_core::verdict::Fix;

use crate::samples::{CHANNELS, RATE_HZ, TONE_HZ};
use crate::{Plan, Work};

/// Frames in a block: 20 ms.
pub const BLOCK: usize = 160;
const BLOCK_S: f32 = BLOCK as f32 / RATE_HZ;
const TURNS_PER_FRAME: u32 = (TONE_HZ / RATE_HZ * 4_294_967_296.0) as u32;

/// Where the walk begins, metres east and north of the source, and where the mast faces then.
const START: (Vec2, f32) = (Vec2::new(-3.0, 0.0), FRAC_PI_2);
/// From there to one corner after the other, so facing on arrival, in this many seconds. At corners the mast is turned:
/// one that jumped would mix two places in a window.
const LEGS: [(Vec2, f32, f32); 8] = [
    (Vec2::new(3.0, 0.0), FRAC_PI_2, 10.0),
    (Vec2::new(3.0, 0.0), -0.98, 1.5),
    (Vec2::new(0.02, 2.0), -0.98, 4.0),
    (Vec2::new(0.02, 2.0), -PI, 1.5),
    (Vec2::new(0.02, -2.0), -PI, 8.0),
    (Vec2::new(0.02, -2.0), -TAU, 2.0),
    (Vec2::new(0.02, 0.0), -TAU, 4.0),
    (Vec2::new(0.02, 0.0), -TAU, 6.0),
];
const WALK_S: f32 = 37.0;
/// Blocks of the whole walk.
pub const BLOCKS: u32 = (WALK_S / BLOCK_S) as u32;

/// The whole walk, block by block.
pub const PLAN: Plan = Plan {
    rounds: BLOCKS,
    steps: 1,
    units: BLOCKS * (BLOCK * CHANNELS) as u32,
    cost: "instructions_per_sample_and_channel",
    dearest: false,
    at_most: None,
};

/// Moment of the sonde, A m2, and its depth below the ground, metres.
const MOMENT: [f32; 3] = [0.2, 0.0, 0.0];
pub const DEPTH_M: f32 = 1.2;
const FOOT_M: f32 = 0.1;
const SPACING_M: f32 = 0.4;
const TURNS_AREA_M2: f32 = 10.0;

const GAINS: [f32; 3] = [20.0, 100.0, 500.0];
const FULL_SCALE_V: f32 = 2.5;
const FULL_SCALE_COUNTS: i32 = 1 << 23;

/// Two nodes of three ideal coils.
pub fn array() -> Array {
    let node = |first_channel: u8, height_m: f32| {
        let coil = |n: u8, axis| Coil {
            channel: first_channel + n,
            axis,
            turns_area_m2: TURNS_AREA_M2,
            gain: 1.0,
            phase_rad: 0.0,
        };
        Node {
            position_m: Vec3::Z * height_m,
            coils: [coil(0, Vec3::X), coil(1, Vec3::Y), coil(2, Vec3::Z)],
        }
    };
    let sigma = CalibrationSigma { node_ratio: 0.005, scale: 0.05, tilt_rad: 0.003 };
    Array::new(&[node(0, 0.0), node(3, SPACING_M)], sigma, FOOT_M).expect("a fitting array")
}

/// The gains, and a converter that clips a little below full scale.
pub fn ladder() -> Ladder {
    let rungs = GAINS.map(|gain| Rung { gain, settle_s: 0.03 });
    Ladder::new(&rungs, FULL_SCALE_V, FULL_SCALE_COUNTS, 0.95).expect("a fitting ladder")
}

/// The hand that carries the mast, and the converter.
pub struct Stroll {
    pub frames: [[i32; CHANNELS]; BLOCK],
    pub mast: MastReading,
    pub rung: u8,
    /// Blocks so far, the one in `frames` included.
    pub blocks: u32,
    noise: u32,
}

impl Stroll {
    pub const fn start() -> Self {
        let mast = MastReading { position: None, heading_rad: None, tilt: None };
        Self { frames: [[0; CHANNELS]; BLOCK], mast, rung: 0, blocks: 0, noise: 1 }
    }

    /// Number of the first sample in `frames`.
    pub fn first(&self) -> u64 {
        u64::from(self.blocks.saturating_sub(1)) * BLOCK as u64
    }

    /// Fill the converter's buffer with the next block.
    pub fn go_on(&mut self, rung: u8) {
        let (node, heading_rad) = Self::pose(self.blocks as f32 * BLOCK_S);
        self.mast = MastReading {
            position: Some(Position { enu_m: node, sigma_m: 0.01 }),
            heading_rad: Some(heading_rad),
            tilt: Some(Tilt::default()),
        };
        self.rung = rung;
        let amplitudes = self.amplitudes(node, heading_rad);
        let first = self.blocks.wrapping_mul(BLOCK as u32);
        for n in 0..BLOCK {
            let phase = first.wrapping_add(n as u32).wrapping_mul(TURNS_PER_FRAME);
            let (sine, _) = math::sin_cos_turn(phase);
            self.frames[n] = amplitudes.map(|peak| (peak * sine) as i32 + self.noise());
        }
        self.blocks += 1;
    }

    /// Where the lower node is and where the mast faces, at a time since the start.
    fn pose(mut time_s: f32) -> (Vec3, f32) {
        let (mut at, mut heading_rad) = START;
        for (to, facing_rad, duration_s) in LEGS {
            let share = (time_s / duration_s).clamp(0.0, 1.0);
            at += (to - at) * share;
            heading_rad += (facing_rad - heading_rad) * share;
            if time_s < duration_s {
                break;
            }
            time_s -= duration_s;
        }
        (at.extend(FOOT_M), heading_rad)
    }

    /// Counts at the peak of the tone on every channel.
    fn amplitudes(&self, node: Vec3, heading_rad: f32) -> [f32; CHANNELS] {
        let to_mast: Mat3 = heading_rotation(heading_rad).transpose();
        let field_at = |height_m: f32| {
            let from_source = node + Vec3::Z * (height_m + DEPTH_M);
            to_mast * Vec3::from_array(field::dipole(MOMENT, from_source.to_array()))
        };
        let gain = GAINS[usize::from(self.rung)];
        let counts_per_tesla =
            TAU * TONE_HZ * TURNS_AREA_M2 * gain * FULL_SCALE_COUNTS as f32 / FULL_SCALE_V;
        let (lower, upper) = (field_at(0.0) * counts_per_tesla, field_at(SPACING_M) * counts_per_tesla);
        [lower.x, lower.y, lower.z, upper.x, upper.y, upper.z]
    }

    /// A few hundred counts either way (Numerical Recipes, quick and dirty generator).
    fn noise(&mut self) -> i32 {
        self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.noise >> 23) as i32 - 256
    }
}

/// The instrument, and what it hears.
pub struct Walk {
    instrument: Instrument<CHANNELS>,
    state: InstrumentState<CHANNELS>,
    stroll: Stroll,
}

impl Walk {
    pub fn start() -> Self {
        let tone = Tone::new(TONE_HZ, RATE_HZ).expect("a fitting tone");
        let instrument =
            Instrument::new(tone, ladder(), array(), Settings::default()).expect("a fitting instrument");
        let state = instrument.start();
        Self { instrument, state, stroll: Stroll::start() }
    }
}

impl Work for Walk {
    type Outcome = Option<Fix>;
    const STATE_BYTES: usize = size_of::<Instrument<CHANNELS>>() + size_of::<InstrumentState<CHANNELS>>();

    fn prepare(&mut self) {
        self.stroll.go_on(self.state.stepper().wanted());
    }

    fn step(&mut self, _: u32) -> Option<Fix> {
        let Stroll { frames, mast, rung, .. } = &self.stroll;
        let block = Block { frames, start: self.stroll.first(), rung: *rung };
        let mut fix = None;
        self.instrument.push(&mut self.state, &block, Some(*mast), |update| fix = update.fix);
        fix
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nullwalk_core::verdict::Verdict;

    #[test]
    fn the_walk_ends_in_a_fix_of_the_sonde() {
        let mut walk = Walk::start();
        let mut fix = None;
        for step in 0..BLOCKS {
            walk.prepare();
            fix = walk.step(step).or(fix);
        }
        let fix = fix.expect("a fix");
        let place = fix.place.expect("a place");
        let depth = fix.judgement.depth.expect("a depth");
        assert_eq!(fix.judgement.verdict, Verdict::Agree, "{fix:?}");
        assert!(place.east_m.abs() < 0.04 && place.north_m.abs() < 0.04, "{place:?}");
        assert!((depth.depth_m - DEPTH_M).abs() < 0.05, "{depth:?}");
    }
}
