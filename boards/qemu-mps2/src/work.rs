//! The work that is measured: one entry for each figure.

use glam::Vec3;
use nullwalk_core::array::{
    Array, CalibrationSigma, Circumstances, Coil, CommonPhase, Glimpse, Node, NodeField,
};
use nullwalk_core::depth::{self, Measured};
use nullwalk_core::extrema::{Extrema, Prominence};
use nullwalk_core::frame::{MastReading, SampleIndex, Tilt};
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::tone::{Phasors, Scout, Tone, ToneState};
use nullwalk_core::{field, math};

use crate::samples::{CHANNELS, RATE_HZ, ROUND_BLOCKS, ROUND_FRAMES, TONE_HZ, next_block};
use crate::{Meter, Plan};

/// All of it, in the order of the signal chain.
pub fn all(meter: &mut impl Meter) {
    let stateless = || ();
    meter.measure("tone", ONE_SECOND, Listener::start, Listener::take_block);
    meter.measure(
        "scout",
        ONE_SECOND,
        || (Scout::new(640.0, RATE_HZ), 0),
        |(scout, start), number| {
            scout.push(&next_block(number, start)).map(|found| (found.tone_hz, found.snr_db))
        },
    );
    meter.measure("array.glimpse", Plan::steps(64), Looker::start, Looker::look);
    meter.measure(
        "extrema",
        Plan::steps(1024),
        || Extrema::new(Prominence::default(), 1.3),
        |search, i| {
            let (rise, _) = math::sin_cos_turn(i.wrapping_mul(1 << 26));
            let mut last = None;
            search.push(rise * 20e-9, 0.1e-9, |f| last = Some((f.fraction, f.sigma_samples)));
            last
        },
    );
    meter.measure("depth.ratio", Plan::steps(64), stateless, |(), i| {
        let at = |r: f32| NodeField { field_t: Vec3::new(2e-8, 1e-9, 0.0) / (r * r * r), sigma_t: 1e-12 };
        let lower_m = 0.5 + i as f32 / 64.0;
        depth::ratio(at(lower_m), at(lower_m + 0.4), 0.4, 0.01, Measured::new(0.05, 0.02))
            .ok()
            .map(|depth| (depth.depth_m, depth.sigma_m))
    });
    meter.measure("field.dipole", Plan::steps(256), stateless, |(), i| {
        field::dipole([0.2, 0.01, -0.02], [0.1, -0.4, 0.5 + i as f32 / 64.0])
    });
    meter.measure("math.sin_cos_turn", Plan::steps(256), stateless, |(), i| {
        math::sin_cos_turn(i.wrapping_mul(0x9e37_79b9))
    });
    meter.measure("math.cbrt", Plan::steps(256), stateless, |(), i| math::cbrt(0.37 + i as f32));
}

/// One second of samples in blocks of many lengths.
const ONE_SECOND: Plan = Plan {
    steps: 5 * ROUND_BLOCKS,
    units: 5 * ROUND_FRAMES * CHANNELS as u32,
    cost: "instructions_per_sample_and_channel",
};

/// The whole tone path of a handset: what listens, and what it remembers.
struct Listener {
    ladder: Ladder,
    tone: Tone,
    state: ToneState<CHANNELS>,
    next: SampleIndex,
}

impl Listener {
    /// A listener that has heard the tone for a while, so that it puts out phasors.
    fn start() -> Self {
        let rung = Rung { gain: 100.0, settle_s: 0.05 };
        let ladder = Ladder::new(&[rung], 2.5, 1 << 23, 0.95).expect("a fitting ladder");
        let tone = Tone::new(TONE_HZ, RATE_HZ).expect("a fitting tone");
        let state = tone.start();
        let mut listener = Self { ladder, tone, state, next: 0 };
        while listener.next < u64::from(listener.tone.settling_samples() + 4 * listener.tone.hop_samples())
        {
            listener.take_block(0);
        }
        listener
    }

    /// The last phasors that fell due within a block.
    fn take_block(&mut self, number: u32) -> Option<Phasors<CHANNELS>> {
        let mut last = None;
        let block = next_block(number, &mut self.next);
        self.tone.push(&mut self.state, &self.ladder, &block, |phasors| last = Some(*phasors));
        last
    }
}

/// An array of two nodes, held slightly aslant.
struct Looker {
    array: Array,
    phase: CommonPhase,
    phasors: Phasors<CHANNELS>,
}

impl Looker {
    fn start() -> Self {
        let axes = [Vec3::new(1.0, 0.01, 0.0), Vec3::new(0.0, 1.0, -0.02), Vec3::new(0.01, 0.0, 1.0)];
        let node = |first_channel: u8, height_m: f32| Node {
            position_m: Vec3::new(0.0, 0.0, height_m),
            coils: [0, 1, 2].map(|n| Coil {
                channel: first_channel + n,
                axis: axes[usize::from(n)],
                turns_area_m2: 10.0,
                gain: 1.01,
                phase_rad: 0.02,
            }),
        };
        let sigma = CalibrationSigma { node_ratio: 0.01, scale: 0.05 };
        let array = Array::new(&[node(0, 0.0), node(3, 0.4)], sigma, 0.1).expect("a fitting array");
        let mut listener = Listener::start();
        let phasors = (0..ROUND_BLOCKS).find_map(|number| listener.take_block(number));
        Self { array, phase: CommonPhase::default(), phasors: phasors.expect("two hops in a round") }
    }

    fn look(&mut self, number: u32) -> [(Vec3, f32); 2] {
        let tilt = Tilt { pitch_rad: 0.001 * number as f32, roll_rad: -0.02 };
        let mast = MastReading { tilt: Some(tilt), ..MastReading::default() };
        let fields = self.array.fields(TONE_HZ, &self.phasors);
        let glimpse = Glimpse::new(0, &fields, &mut self.phase, mast, Circumstances::default());
        let mut fields = glimpse.nodes.iter().map(|node| (node.field_t, node.sigma_t));
        [(); 2].map(|()| fields.next().unwrap_or_default())
    }
}
