//! Runs the core's work on known input, on the host and on an emulated Cortex-M4F.
//!
//! Both print a fingerprint of every result, bit for bit; the emulator also prints what the work cost in
//! instructions and memory. The output is TOML; the emulator's in the frames of `defmt`, which `nullwalk-figures` reads.
#![cfg_attr(target_os = "none", no_std, no_main)]

mod fingerprint;
mod handset;
mod mains;
mod parts;
mod samples;
mod tone;
mod walk;

#[cfg(target_os = "none")]
mod firmware;

#[cfg(target_os = "none")]
use defmt::println as say;
#[cfg(not(target_os = "none"))]
use std::println as say;

use fingerprint::Bits;

/// All the work, in the order of the signal chain.
fn measure_all(meter: &mut impl Meter) {
    meter.measure("tone", tone::ONE_SECOND, tone::Listening::start);
    meter.measure("scout", tone::ONE_SECOND, tone::Scouting::start);
    meter.measure("mains.followed", mains::TWO_HOPS, mains::Humming::live);
    meter.measure("mains.sought", mains::TWO_HOPS, mains::Humming::dead);
    parts::measure_all(meter);
    meter.measure("instrument", walk::PLAN, walk::Walk::start);
    handset::measure_all(meter);
}

/// Something whose cost is of interest. A closure is work without a state to speak of.
trait Work {
    /// What comes out of a step.
    type Outcome: Bits;

    /// Memory that a handset would set aside for this.
    #[cfg_attr(not(target_os = "none"), expect(dead_code, reason = "only the emulator counts"))]
    const STATE_BYTES: usize = 0;

    /// Get ready for the next round; this is not counted.
    fn prepare(&mut self) {}

    /// Do a step.
    fn step(&mut self, step: u32) -> Self::Outcome;
}

impl<F: FnMut(u32) -> R, R: Bits> Work for F {
    type Outcome = R;

    fn step(&mut self, step: u32) -> R {
        self(step)
    }
}

/// How much is done, and what the cost is divided by.
#[derive(Clone, Copy)]
#[cfg_attr(not(target_os = "none"), expect(dead_code, reason = "only the emulator counts"))]
struct Plan {
    /// Each round is prepared for and timed as one.
    rounds: u32,
    /// Steps in a round; they are numbered from zero on through all rounds.
    steps: u32,
    /// What all the steps together do this many of,
    units: u32,
    /// and what to call the cost of one.
    cost: &'static str,
    /// Whether the dearest round is what counts.
    dearest: bool,
    /// What to call the cost of the dearest round, where that is told besides.
    at_most: Option<&'static str>,
}

impl Plan {
    /// One round, where every step counts.
    const fn steps(steps: u32) -> Self {
        Self { rounds: 1, steps, units: steps, cost: "instructions", dearest: false, at_most: None }
    }

    /// As many rounds of one step: without hardware for floats, together they would outrun the counter.
    const fn one_by_one(steps: u32) -> Self {
        Self { rounds: steps, steps: 1, ..Self::steps(steps) }
    }

    /// The dearest of so many steps.
    const fn dearest_of(steps: u32) -> Self {
        Self { units: 1, dearest: true, ..Self::one_by_one(steps) }
    }
}

/// What has the work done and reports on it.
trait Meter {
    /// Report under `name` on the steps from a fresh `start`.
    fn measure<W: Work>(&mut self, name: &str, plan: Plan, start: impl Fn() -> W);

    /// Report under `name` on the stack that `work` takes.
    fn stack(&mut self, name: &str, work: impl FnOnce());
}

#[cfg(not(target_os = "none"))]
fn main() {
    struct OnHost;
    impl Meter for OnHost {
        fn measure<W: Work>(&mut self, name: &str, plan: Plan, start: impl Fn() -> W) {
            say!("bits.{name} = {:#010x}", fingerprint::of(plan, start()));
        }

        fn stack(&mut self, _: &str, work: impl FnOnce()) {
            work();
        }
    }
    measure_all(&mut OnHost);
}
