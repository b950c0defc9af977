//! Display and flash on one bus, and the live link.

use core::cell::RefCell;

use embassy_embedded_hal::shared_bus::blocking::spi::SpiDeviceWithConfig;
use embassy_rp::gpio::{Level, Output};
use embassy_rp::spi::{self, Spi};
use embassy_rp::uart::{self, BufferedUartTx};
use embassy_sync::blocking_mutex::{Mutex, raw::NoopRawMutex};
use embassy_time::Delay;
use nullwalk_pico2::fitting::{DISPLAY_HZ, FLASH_HZ, LINK_BAUD};
use nullwalk_pico2::nor::Nor;
use nullwalk_pico2::wiring;
use ssd1306::Ssd1306;
use ssd1306::mode::BufferedGraphicsMode;
use ssd1306::prelude::{DisplayConfig as _, DisplayRotation, DisplaySize128x64, SPIInterface};
use static_cell::StaticCell;

use super::Interrupts;
use super::book::Books;
use super::bus::{Bus, BusUser};

/// The display, and a picture of what it shows.
pub type Display = Ssd1306<
    SPIInterface<BusUser, Output<'static>>,
    DisplaySize128x64,
    BufferedGraphicsMode<DisplaySize128x64>,
>;

static BUS: StaticCell<Mutex<NoopRawMutex, RefCell<Bus>>> = StaticCell::new();
static SAID: StaticCell<[u8; 4096]> = StaticCell::new();

/// What is on the bus.
pub struct Slow {
    pub display: Display,
    pub books: Books,
}

impl Slow {
    /// The display on, and the flash found.
    pub fn new(parts: wiring::Slow, link: wiring::Link) -> Self {
        // Nobody on the bus is selected before it is spoken to.
        let flash_select = Output::new(parts.flash_select, Level::High);
        let display_select = Output::new(parts.display_select, Level::High);
        let config = |frequency| {
            let mut config = spi::Config::default();
            config.frequency = frequency;
            config
        };
        let bus = Spi::new_blocking(parts.bus, parts.clock, parts.mosi, parts.miso, config(DISPLAY_HZ));
        let bus = &*BUS.init(Mutex::new(RefCell::new(bus)));

        let user = SpiDeviceWithConfig::new(bus, display_select, config(DISPLAY_HZ));
        let interface = SPIInterface::new(user, Output::new(parts.display_data, Level::Low));
        let mut display = Ssd1306::new(interface, DisplaySize128x64, DisplayRotation::Rotate0)
            .into_buffered_graphics_mode();
        let mut reset = Output::new(parts.display_reset, Level::High);
        // A display that is not there shows nothing; the rest goes on.
        let _ = display.reset(&mut reset, &mut Delay);
        let _ = display.init();
        // Let go, the pin would float, and so might the display's reset.
        core::mem::forget(reset);

        let flash = Nor::start(SpiDeviceWithConfig::new(bus, flash_select, config(FLASH_HZ)), Delay).ok();
        let mut config = uart::Config::default();
        config.baudrate = LINK_BAUD;
        let link = BufferedUartTx::new(link.port, Interrupts, link.tx, SAID.init([0; 4096]), config);
        Self { display, books: Books::new(flash, link) }
    }
}
