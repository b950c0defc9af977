//! The same work on the microcontroller, with its cost.

use core::hint::black_box;

use cortex_m::Peripherals;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{ExceptionFrame, entry, exception};
use cortex_m_semihosting::{debug, hprintln};

use crate::{Meter, Plan, Work, fingerprint, measure_all};

/// SysTick counts 25 MHz in a machine whose instructions take 1 ns each.
const INSTRUCTIONS_PER_TICK: u64 = 40;
/// SysTick is 24 bits wide.
const TOP: u32 = 0x00ff_ffff;

#[entry]
fn main() -> ! {
    let Some(Peripherals { SYST: mut clock, .. }) = Peripherals::take() else { fail() };
    clock.set_clock_source(SystClkSource::Core);
    clock.set_reload(TOP);
    clock.enable_counter();

    measure_all(&mut OnBoard { clock });

    hprintln!("firmware.stack_bytes = {}", stack_peak_bytes());
    debug::exit(debug::EXIT_SUCCESS);
    fail()
}

struct OnBoard {
    clock: SYST,
}

impl Meter for OnBoard {
    // Never inlined, so that no two works share a stack frame.
    #[inline(never)]
    fn measure<W: Work>(&mut self, name: &str, plan: Plan, start: impl Fn() -> W) {
        let nothing = self.instructions(plan, |step| step);
        let everything = self.instructions(plan, start());
        let hundredths = everything.saturating_sub(nothing) * 100 / u64::from(plan.units);
        hprintln!("{}.{} = {}.{:02}", name, plan.cost, hundredths / 100, hundredths % 100);
        if W::STATE_BYTES > 0 {
            hprintln!("{}.state_bytes = {}", name, W::STATE_BYTES);
        }
        hprintln!("bits.{} = {:#010x}", name, fingerprint::of(plan, start()));
    }

    fn say(&mut self, text: core::fmt::Arguments<'_>) {
        hprintln!("# {}", text);
    }
}

impl OnBoard {
    /// Instructions taken by all rounds, or by the dearest one, the loop around the steps included.
    #[inline(never)]
    fn instructions(&mut self, plan: Plan, mut work: impl Work) -> u64 {
        let mut ticks = 0;
        for round in 0..plan.rounds {
            work.prepare();
            self.restart_clock();
            for step in round * plan.steps..(round + 1) * plan.steps {
                black_box(work.step(black_box(step)));
            }
            let round_ticks = u64::from(TOP - SYST::get_current());
            ticks = if plan.dearest { round_ticks.max(ticks) } else { ticks + round_ticks };
            assert!(!self.clock.has_wrapped(), "a round too long for the counter");
        }
        ticks * INSTRUCTIONS_PER_TICK
    }

    fn restart_clock(&mut self) {
        self.clock.clear_current();
        // It starts from the top with the next tick.
        while SYST::get_current() == 0 {}
        let _ = self.clock.has_wrapped();
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
