//! The firmware: two sides, and a bounded queue between them.
//!
//! ```text
//! interrupt side  sampling: data-ready -> DMA -> conversation -> Inlet -> queue
//! slow side       main loop: queue -> App on a Pico2 (screen, sound, buttons, sensors, field book)
//! ```
//!
//! Nothing here has run on hardware yet.

mod board;
mod book;
mod bus;
mod headphones;
mod mast;
mod panel;
mod restart;
mod sampling;
mod slow;
mod start;

use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{entry, exception};
use embassy_rp::gpio::{Level, Output};
use embassy_rp::interrupt::{self, InterruptExt, Priority};
use embassy_rp::peripherals::{DMA_CH0, DMA_CH1, UART0, UART1};
use embassy_rp::uart::BufferedInterruptHandler;
use embassy_rp::watchdog::Watchdog;
use embassy_rp::{bind_interrupts, clocks, dma};
use heapless::String;
use nullwalk_core::record::Reset;
use nullwalk_drivers::sounder::Sounder;
use nullwalk_handset::Handset;
use nullwalk_handset::app::{App, Board};
use nullwalk_handset::intake::{Inlet, Packets};
use nullwalk_pico2::fitting::{self, CHANNELS, DEPTH, FRAMES, TONE_HZ};
use nullwalk_pico2::wiring::{Converter, Parts};
use static_cell::StaticCell;

use board::Pico2;
use headphones::Headphones;
use mast::Mast;
use panel::{Battery, Keys};
use slow::Slow;

bind_interrupts!(struct Interrupts {
    DMA_IRQ_0 => dma::InterruptHandler<DMA_CH0>, dma::InterruptHandler<DMA_CH1>;
    UART0_IRQ => BufferedInterruptHandler<UART0>;
    UART1_IRQ => BufferedInterruptHandler<UART1>;
});

/// The slow side wakes up so often, and at every interrupt besides.
const WAKE_HZ: u32 = 1000;

static PACKETS: StaticCell<Packets<CHANNELS, FRAMES, DEPTH>> = StaticCell::new();
static APP: StaticCell<App<'static, CHANNELS, FRAMES>> = StaticCell::new();

#[entry]
fn main() -> ! {
    let parts = Parts::of(embassy_rp::init(embassy_rp::config::Config::default()));
    // Data-ready first, then what follows from it, then serial ports: these hold 16 bytes themselves.
    interrupt::IO_IRQ_BANK0.set_priority(Priority::P0);
    interrupt::DMA_IRQ_0.set_priority(Priority::P0);
    interrupt::SWI_IRQ_1.set_priority(Priority::P1);
    interrupt::UART0_IRQ.set_priority(Priority::P2);
    interrupt::UART1_IRQ.set_priority(Priority::P2);
    // An even rhythm of the supply makes less noise than one that follows the load. It stays so.
    let _supply_mode = Output::new(parts.own.supply_mode, Level::High);

    let watchdog = Watchdog::new(parts.own.watchdog);
    let (reset, last_words) = (restart::cause(&watchdog), restart::last_words());
    let mut board = Pico2 {
        watchdog,
        light: Output::new(parts.own.light, Level::High),
        keys: Keys::new(parts.buttons),
        sounder: Sounder::new(Headphones::new(parts.headphones), TONE_HZ),
        battery: Battery::new(parts.battery),
        mast: Mast::new(parts.tilt, parts.gnss),
        slow: Slow::new(parts.slow, parts.link),
        silent_ms: None,
    };
    tick();
    start::open_book(&mut board);

    let app = make_handset(&mut board, parts.converter, reset, last_words);
    loop {
        app.turn(&mut board);
        board.sounder.set_tone(app.handset.view().tone_hz);
        if let Some(fault) = board.fault() {
            app.handset.fault(fault, None, 1, board.book());
        }
        board.revive_converter(app.handset.is_silent());
        cortex_m::asm::wfi();
    }
}

/// Never inlined: a handset takes a lot of stack until it is where it stays, and the loop must not stand on that.
#[inline(never)]
fn make_handset(
    board: &mut Pico2,
    converter: Converter,
    reset: Reset,
    last_words: String<128>,
) -> &'static mut App<'static, CHANNELS, FRAMES> {
    let (producer, mut outlet) = PACKETS.init(Packets::new()).split();
    sampling::start(converter, Inlet::new(producer));
    board.guard();
    let report = start::self_test(board, &mut outlet);
    let fitting = fitting::fitting(reset, last_words).expect("a test builds a handset of this fitting");
    let mut handset = Handset::new(fitting).expect("a test builds a handset of this fitting");
    handset.resume_after(board.book().last_station());
    handset.begin(&report, board.book());
    APP.init(App::new(handset, outlet))
}

/// Without samples nothing else would wake the slow side.
fn tick() {
    if let Some(core) = cortex_m::Peripherals::take() {
        let mut timer = core.SYST;
        timer.set_clock_source(SystClkSource::Core);
        timer.set_reload(clocks::clk_sys_freq() / WAKE_HZ - 1);
        timer.clear_current();
        timer.enable_interrupt();
        timer.enable_counter();
    }
}

#[exception]
fn SysTick() {}
