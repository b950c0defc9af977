//! The same work on the microcontroller, with its cost.

use core::hint::black_box;

use cortex_m::Peripherals;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{ExceptionFrame, entry, exception};
use cortex_m_semihosting::{debug, hprintln};

use crate::fingerprint::{self, Bits};
use crate::{Meter, Plan, work};

/// SysTick counts 25 MHz in a machine whose instructions take 1 ns each.
const INSTRUCTIONS_PER_TICK: u32 = 40;
/// SysTick is 24 bits wide.
const TOP: u32 = 0x00ff_ffff;

#[entry]
fn main() -> ! {
    let Some(Peripherals { SYST: mut clock, .. }) = Peripherals::take() else { fail() };
    clock.set_clock_source(SystClkSource::Core);
    clock.set_reload(TOP);
    clock.enable_counter();

    work::all(&mut OnBoard { clock });

    hprintln!("firmware.stack_bytes = {}", stack_peak_bytes());
    debug::exit(debug::EXIT_SUCCESS);
    fail()
}

struct OnBoard {
    clock: SYST,
}

impl Meter for OnBoard {
    // Never inlined, so that no two of the measured states share a stack frame.
    #[inline(never)]
    fn measure<S, R: Bits>(
        &mut self,
        name: &str,
        plan: Plan,
        start: impl Fn() -> S,
        step: impl Fn(&mut S, u32) -> R,
    ) {
        let loop_alone = self.instructions(plan.steps, (), |(), number| number);
        let with_work = self.instructions(plan.steps, start(), &step);
        let hundredths = u64::from(with_work.saturating_sub(loop_alone)) * 100 / u64::from(plan.units);
        hprintln!("{}.{} = {}.{:02}", name, plan.cost, hundredths / 100, hundredths % 100);
        if size_of::<S>() > 0 {
            hprintln!("{}.state_bytes = {}", name, size_of::<S>());
        }
        hprintln!("bits.{} = {:#010x}", name, fingerprint::of(plan.steps, start(), step));
    }
}

impl OnBoard {
    /// Instructions taken by a loop over `step`.
    #[inline(never)]
    fn instructions<S, R>(&mut self, steps: u32, mut state: S, step: impl Fn(&mut S, u32) -> R) -> u32 {
        self.clock.clear_current();
        let _ = self.clock.has_wrapped();
        for number in 0..steps {
            black_box(step(&mut state, black_box(number)));
        }
        let left = SYST::get_current();
        assert!(!self.clock.has_wrapped(), "too long for the counter: plan fewer steps");
        (TOP - left) * INSTRUCTIONS_PER_TICK
    }
}

/// The most stack ever in use. The start-up code has painted all of it.
fn stack_peak_bytes() -> usize {
    unsafe extern "C" {
        static _stack_start: u32;
        static _stack_end: u32;
    }
    let top = &raw const _stack_start;
    let mut deepest = &raw const _stack_end;
    // SAFETY: the linker script puts the stack, all of it readable, between these two addresses.
    while deepest < top && unsafe { deepest.read_volatile() } == cortex_m_rt::STACK_PAINT_VALUE {
        deepest = deepest.wrapping_add(1);
    }
    top as usize - deepest as usize
}

fn fail() -> ! {
    loop {
        debug::exit(debug::EXIT_FAILURE);
    }
}

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    hprintln!("{}", info);
    fail()
}

#[exception]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    hprintln!("hard fault");
    fail()
}
