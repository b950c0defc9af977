//! The bus that display and flash share.

use embassy_embedded_hal::shared_bus::blocking::spi::SpiDeviceWithConfig;
use embassy_rp::gpio::Output;
use embassy_rp::peripherals::SPI1;
use embassy_rp::spi::{Blocking, Spi};
use embassy_sync::blocking_mutex::raw::NoopRawMutex;

/// The bus itself.
pub type Bus = Spi<'static, SPI1, Blocking>;
/// One of the two on it.
pub type BusUser = SpiDeviceWithConfig<'static, NoopRawMutex, Bus, Output<'static>>;
