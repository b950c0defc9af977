//! The same work on the microcontroller, with its cost.

use core::hint::black_box;

use cortex_m::Peripherals;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{ExceptionFrame, entry, exception};
use defmt_semihosting as _;
use semihosting::process::exit;

use crate::{Meter, Plan, Work, fingerprint, measure_all, say};

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
    exit(0)
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
        let cost =
            if plan.dearest { everything.dearest - nothing.dearest } else { everything.all - nothing.all };
        let hundredths = cost * 100 / u64::from(plan.units);
        say!("{}.{} = {}.{:02}", name, plan.cost, hundredths / 100, hundredths % 100);
        if let Some(at_most) = plan.at_most {
            say!("{}.{} = {}", name, at_most, everything.dearest);
        }
        if W::STATE_BYTES > 0 {
            say!("{}.state_bytes = {}", name, W::STATE_BYTES);
        }
        say!("bits.{} = {:#010x}", name, fingerprint::of(plan, start()));
    }

    #[inline(never)]
    fn stack(&mut self, name: &str, work: impl FnOnce()) {
        let from = cortex_m::register::msp::read() as usize;
        paint_stack_below(from - MARGIN);
        work();
        say!("{}.stack_bytes = {}", name, stack_bytes_below(from));
    }
}

/// What a work took.
struct Instructions {
    all: u64,
    dearest: u64,
}

impl OnBoard {
    /// Instructions taken by all rounds, and by the dearest one, the loop around the steps included.
    #[inline(never)]
    fn instructions(&mut self, plan: Plan, mut work: impl Work) -> Instructions {
        let mut taken = Instructions { all: 0, dearest: 0 };
        for round in 0..plan.rounds {
            work.prepare();
            self.restart_clock();
            for step in round * plan.steps..(round + 1) * plan.steps {
                black_box(work.step(black_box(step)));
            }
            let instructions = u64::from(TOP - SYST::get_current()) * INSTRUCTIONS_PER_TICK;
            taken.all += instructions;
            taken.dearest = taken.dearest.max(instructions);
            assert!(!self.clock.has_wrapped(), "a round too long for the counter");
        }
        taken
    }

    fn restart_clock(&mut self) {
        self.clock.clear_current();
        // It starts from the top with the next tick.
        while SYST::get_current() == 0 {}
        let _ = self.clock.has_wrapped();
    }
}

unsafe extern "C" {
    static _stack_end: u32;
}

/// What this function and those that it calls to paint may use themselves, bytes.
const MARGIN: usize = 512;

/// The most stack that was in use since it was painted, counted from an address on it.
fn stack_bytes_below(from: usize) -> usize {
    let mut deepest = &raw const _stack_end;
    // SAFETY: the linker script puts the stack, all of it readable, between these two addresses.
    while (deepest as usize) < from && unsafe { deepest.read_volatile() } == cortex_m_rt::STACK_PAINT_VALUE
    {
        deepest = deepest.wrapping_add(1);
    }
    from - deepest as usize
}

/// Paint what lies below an address on the stack, itself below everything in use.
fn paint_stack_below(from: usize) {
    let mut at = (&raw const _stack_end).cast_mut();
    while (at as usize) < from {
        // SAFETY: between these addresses lies the unused part of the stack.
        unsafe { at.write_volatile(cortex_m_rt::STACK_PAINT_VALUE) };
        at = at.wrapping_add(1);
    }
}

fn fail() -> ! {
    exit(1)
}

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    say!("{}", defmt::Display2Format(info));
    fail()
}

#[exception]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    say!("hard fault");
    fail()
}
