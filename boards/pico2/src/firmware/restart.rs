//! Why the handset started, and what the last panic said.

use core::panic::PanicInfo;

use embassy_rp::pac;
use embassy_rp::peripherals::WATCHDOG;
use embassy_rp::watchdog::{ResetReason, Watchdog};
use heapless::String;
use nullwalk_core::record::{Reset, clipped};

/// Why it started. The chip's register remembers the last cause that took the power away; the watchdog has its own.
pub fn cause(watchdog: &Watchdog) -> Reset {
    match watchdog.reset_reason() {
        Some(ResetReason::TimedOut) => Reset::Watchdog,
        Some(ResetReason::Forced) => Reset::Software,
        None => {
            let chip = pac::POWMAN.chip_reset().read();
            if chip.had_bor() {
                Reset::BrownOut
            } else if chip.had_run_low() || chip.had_dp_reset_req() {
                Reset::Pin
            } else if chip.had_por() {
                Reset::PowerOn
            } else {
                Reset::Unknown
            }
        }
    }
}

/// What the last panic said, once. After power was off, memory holds anything: only text is believed.
pub fn last_words() -> String<128> {
    let bytes = panic_persist::get_panic_message_bytes().unwrap_or_default();
    clipped(str::from_utf8(bytes).unwrap_or_default().trim_end())
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    panic_persist::report_panic_info(info);
    // SAFETY: nobody else runs any more.
    let mut watchdog = Watchdog::new(unsafe { WATCHDOG::steal() });
    watchdog.trigger_reset();
    loop {
        cortex_m::asm::nop();
    }
}
