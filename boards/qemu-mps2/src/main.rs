//! Runs the core's work on known input, on the host and on an emulated Cortex-M4F.
//!
//! Both print a fingerprint of every result, bit for bit; the emulator also prints what the work cost in
//! instructions and memory. The output is TOML.
#![cfg_attr(target_os = "none", no_std, no_main)]

mod fingerprint;
mod samples;
mod work;

#[cfg(target_os = "none")]
mod firmware;

/// What carries out the work and reports on it.
trait Meter {
    /// From a fresh `start`, `step` as often as the plan says, and report on it under `name`.
    fn measure<S, R: fingerprint::Bits>(
        &mut self,
        name: &str,
        plan: Plan,
        start: impl Fn() -> S,
        step: impl Fn(&mut S, u32) -> R,
    );
}

/// How much is done.
#[cfg_attr(not(target_os = "none"), expect(dead_code, reason = "the host does not count instructions"))]
struct Plan {
    /// Number of steps, counted from zero.
    steps: u32,
    /// What the steps together do this many of,
    units: u32,
    /// and what to call the cost of one.
    cost: &'static str,
}

impl Plan {
    /// Count the cost of every step.
    const fn steps(steps: u32) -> Self {
        Self { steps, units: steps, cost: "instructions" }
    }
}

#[cfg(not(target_os = "none"))]
fn main() {
    struct OnHost;
    impl Meter for OnHost {
        fn measure<S, R: fingerprint::Bits>(
            &mut self,
            name: &str,
            plan: Plan,
            start: impl Fn() -> S,
            step: impl Fn(&mut S, u32) -> R,
        ) {
            println!("bits.{name} = {:#010x}", fingerprint::of(plan.steps, start(), step));
        }
    }
    work::all(&mut OnHost);
}
