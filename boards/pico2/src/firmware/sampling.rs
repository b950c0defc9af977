//! The interrupt side: from data-ready to the queue. It runs in an interrupt of its own, above the slow side and below
//! that of data-ready.

use core::sync::atomic::{AtomicU8, AtomicU32, Ordering};

use embassy_executor::task;
use embassy_futures::select::{Either, select};
use embassy_rp::executor::InterruptExecutor;
use embassy_rp::gpio::{Input as Pin, Level, Output, Pull};
use embassy_rp::interrupt;
use embassy_rp::peripherals::SPI0;
use embassy_rp::spi::{self, Async, Phase, Polarity, Spi};
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::signal::Signal;
use embassy_time::{Delay, Instant, Timer};
use embedded_hal::delay::DelayNs as _;
use embedded_hal::spi::{ErrorType, Operation, SpiDevice};
use nullwalk_drivers::converter::{Converter, FRAME_BYTES, Input};
use nullwalk_handset::intake::Inlet;
use nullwalk_pico2::fitting::{self, CHANNELS, CONVERTER_HZ, FRAMES};
use nullwalk_pico2::wiring;

use super::Interrupts;

/// What the slow side asks for, between two samples.
#[derive(Clone, Copy)]
enum Wish {
    Listen(Input),
    StartAgain,
}

static EXECUTOR: InterruptExecutor = InterruptExecutor::new();
static WISH: Signal<CriticalSectionRawMutex, Wish> = Signal::new();
static RUNG: AtomicU8 = AtomicU8::new(0);
static LATEST: AtomicU32 = AtomicU32::new(0);
static STARTED: AtomicU8 = AtomicU8::new(NOT_TRIED);

const NOT_TRIED: u8 = 0;
const RUNS: u8 = 1;
const FAILED: u8 = 2;
/// A converter that does not start is tried again after this.
const AGAIN_MS: u64 = 1000;

#[interrupt]
unsafe fn SWI_IRQ_1() {
    // SAFETY: this is the interrupt that the executor was started on, and nothing else calls it.
    unsafe { EXECUTOR.on_interrupt() }
}

/// Start the interrupt side.
pub fn start(parts: wiring::Converter, inlet: Inlet<'static, CHANNELS, FRAMES>) {
    let mut config = spi::Config::default();
    config.frequency = CONVERTER_HZ;
    // The converter's mode 1: clock low when idle, data taken on its falling edge.
    (config.polarity, config.phase) = (Polarity::IdleLow, Phase::CaptureOnSecondTransition);
    let spi = Spi::new(
        parts.bus,
        parts.clock,
        parts.mosi,
        parts.miso,
        parts.dma_out,
        parts.dma_in,
        Interrupts,
        config,
    );
    let port = Port { spi, select: Output::new(parts.select, Level::High) };
    let reset = Output::new(parts.reset, Level::High);
    let data_ready = Pin::new(parts.data_ready, Pull::None);
    let spawner = EXECUTOR.start(interrupt::SWI_IRQ_1);
    spawner.spawn(sample(port, reset, data_ready, inlet).expect("it is started once"));
}

/// Whether the converter started; `None` while that is being tried.
pub fn started() -> Option<bool> {
    match STARTED.load(Ordering::Acquire) {
        NOT_TRIED => None,
        tried => Some(tried == RUNS),
    }
}

/// Lower half of the latest sample's number.
pub fn latest() -> u32 {
    LATEST.load(Ordering::Relaxed)
}

/// Ask for a rung.
pub fn set_rung(rung: u8) {
    RUNG.store(rung, Ordering::Relaxed);
}

/// Let all channels listen to this.
pub fn listen_to(input: Input) {
    WISH.signal(Wish::Listen(input));
}

/// Start the converter again: no samples come.
pub fn start_again() {
    WISH.signal(Wish::StartAgain);
}

/// Time in microseconds, wrapping.
pub fn ticks() -> u32 {
    Instant::now().as_ticks() as u32
}

#[task]
async fn sample(
    mut port: Port,
    mut reset: Output<'static>,
    mut data_ready: Pin<'static>,
    mut inlet: Inlet<'static, CHANNELS, FRAMES>,
) -> ! {
    let setup = fitting::setup().expect("a test makes this setup");
    let mut converter = loop {
        if let Ok(converter) =
            Converter::<_, CHANNELS>::start(&mut port, &mut reset, &mut Delay, setup.clone())
        {
            break converter;
        }
        STARTED.store(FAILED, Ordering::Release);
        Timer::after_millis(AGAIN_MS).await;
    };
    STARTED.store(RUNS, Ordering::Release);
    loop {
        let wish = match select(data_ready.wait_for_falling_edge(), WISH.wait()).await {
            Either::First(()) => {
                // The edge was some microseconds ago, and half a period is 62 of them.
                let tick = ticks();
                converter.stream().set_rung(RUNG.load(Ordering::Relaxed));
                loop {
                    let mut sent = converter.stream().command();
                    let length = converter.stream().frame_bytes();
                    let Some(sent) = sent.get_mut(..length) else { break };
                    let mut received = [0; FRAME_BYTES];
                    let Some(received) = received.get_mut(..length) else { break };
                    converter.bus().exchange(received, sent).await;
                    if let Some(sample) = converter.stream().take(tick, received) {
                        LATEST.store(sample.index as u32, Ordering::Relaxed);
                        inlet.push(&sample, tick);
                    }
                    if !converter.stream().wants_another() {
                        break;
                    }
                }
                converter.stream().is_down().then_some(Wish::StartAgain)
            }
            Either::Second(wish) => Some(wish),
        };
        let done = match wish {
            None => continue,
            Some(Wish::Listen(input)) => converter.listen_to(input),
            Some(Wish::StartAgain) => converter.restart(&mut reset, &mut Delay),
        };
        if done.is_err() {
            // It is silent or down, which the slow side and the next frame say; not to be tried without a pause.
            Timer::after_millis(AGAIN_MS).await;
        }
    }
}

/// The converter's bus and its select.
struct Port {
    spi: Spi<'static, SPI0, Async>,
    select: Output<'static>,
}

impl Port {
    /// Move a frame both ways by DMA.
    async fn exchange(&mut self, received: &mut [u8], sent: &[u8]) {
        self.select.set_low();
        // What fails its checksum is not believed, whatever the bus says.
        let _ = self.spi.transfer(received, sent).await;
        self.select.set_high();
    }
}

impl ErrorType for Port {
    type Error = spi::Error;
}

impl SpiDevice for Port {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), spi::Error> {
        self.select.set_low();
        let done = operations.iter_mut().try_for_each(|operation| match operation {
            Operation::Read(bytes) => self.spi.blocking_read(bytes),
            Operation::Write(bytes) => self.spi.blocking_write(bytes),
            Operation::Transfer(received, sent) => self.spi.blocking_transfer(received, sent),
            Operation::TransferInPlace(bytes) => self.spi.blocking_transfer_in_place(bytes),
            Operation::DelayNs(ns) => {
                Delay.delay_ns(*ns);
                Ok(())
            }
        });
        let flushed = self.spi.flush();
        self.select.set_high();
        done.and(flushed)
    }
}
