//! What firmware calls of the drivers, over a bus and pins that nobody knows anything about.

use core::convert::Infallible;
use core::hint::black_box;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::i2c::{self, I2c};
use embedded_hal::pwm::{self, SetDutyCycle};
use embedded_hal::spi::{self, SpiDevice};
use nullwalk_drivers::battery::{Divider, Gauge};
use nullwalk_drivers::buttons::Buttons;
use nullwalk_drivers::converter::{Collector, Converter, Faults, Filled, Gains, Setup, StartError, Stream};
use nullwalk_drivers::gnss::{Origin, Receiver, lower_node};
use nullwalk_drivers::sounder::{SetPitch, Sounder};
use nullwalk_drivers::tilt::{self, Attitude, Compass, Mounting};

use crate::{CHANNELS, keep};

/// Frames of a block, 5 ms at 8 kHz.
const FRAMES: usize = 40;

/// Keep every entry point, one line each.
pub fn keep_all() {
    keep(Gains::new as *const ());
    keep(Gains::ladder as *const ());
    keep(start_converter as *const ());
    keep(restart_converter as *const ());
    keep(Converter::<Unknown, CHANNELS>::listen_to as *const ());
    keep(Converter::<Unknown, CHANNELS>::read as *const ());
    keep(Stream::<CHANNELS>::new as *const ());
    keep(Stream::<CHANNELS>::set_rung as *const ());
    keep(Stream::<CHANNELS>::gain as *const ());
    keep(Stream::<CHANNELS>::is_silent as *const ());
    keep(Stream::<CHANNELS>::restarted as *const ());
    keep(Stream::<CHANNELS>::command as *const ());
    keep(Stream::<CHANNELS>::take as *const ());
    keep(Collector::<CHANNELS, FRAMES>::push as *const ());
    keep(Filled::<CHANNELS, FRAMES>::block as *const ());
    keep(name as *const ());
    keep(<StartError<Infallible> as core::fmt::Display>::fmt as *const ());

    keep(start_compass as *const ());
    keep(Compass::<Unknown>::read as *const ());
    keep(Attitude::of as *const ());
    keep(<tilt::StartError as core::fmt::Display>::fmt as *const ());

    keep(Receiver::push as *const ());
    keep(Receiver::take_utc as *const ());
    keep(Origin::at as *const ());
    keep(Origin::locate as *const ());
    keep(lower_node as *const ());

    keep(Divider::millivolts as *const ());
    keep(Gauge::push as *const ());
    keep(Buttons::<Unknown, 5>::poll as *const ());
    keep(Sounder::<Unknown>::play as *const ());
}

fn start_converter(spi: Unknown, reset: &mut Unknown, delay: &mut Unknown, setup: Setup) {
    black_box(Converter::<_, CHANNELS>::start(spi, reset, delay, setup).is_ok());
}

fn restart_converter(
    converter: &mut Converter<Unknown, CHANNELS>,
    reset: &mut Unknown,
    delay: &mut Unknown,
) {
    black_box(converter.restart(reset, delay).is_ok());
}

fn start_compass(i2c: Unknown, delay: &mut Unknown, mounting: Mounting) {
    black_box(Compass::start(i2c, delay, mounting).is_ok());
}

/// Names every fault that was seen.
fn name(faults: Faults) {
    faults.iter().for_each(|fault| {
        black_box(fault.sentence());
    });
}

/// A bus, a pin and a timer that may do anything.
struct Unknown;

/// Whether it fails this time, and with what it fills a buffer.
fn anything(buffer: &mut [u8]) -> Result<(), spi::ErrorKind> {
    black_box(buffer);
    black_box(Ok(()))
}

impl spi::ErrorType for Unknown {
    type Error = spi::ErrorKind;
}

impl SpiDevice for Unknown {
    fn transaction(&mut self, operations: &mut [spi::Operation<'_, u8>]) -> Result<(), spi::ErrorKind> {
        for operation in operations {
            match operation {
                spi::Operation::Read(buffer)
                | spi::Operation::Transfer(buffer, _)
                | spi::Operation::TransferInPlace(buffer) => anything(buffer)?,
                spi::Operation::Write(_) | spi::Operation::DelayNs(_) => anything(&mut [])?,
            }
        }
        Ok(())
    }
}

impl i2c::ErrorType for Unknown {
    type Error = i2c::ErrorKind;
}

impl I2c for Unknown {
    fn transaction(&mut self, _: u8, operations: &mut [i2c::Operation<'_>]) -> Result<(), i2c::ErrorKind> {
        for operation in operations {
            if let i2c::Operation::Read(buffer) = operation {
                anything(buffer).map_err(|_| i2c::ErrorKind::Other)?;
            }
        }
        black_box(Ok(()))
    }
}

impl digital::ErrorType for Unknown {
    type Error = digital::ErrorKind;
}

impl InputPin for Unknown {
    fn is_high(&mut self) -> Result<bool, digital::ErrorKind> {
        black_box(Ok(true))
    }

    fn is_low(&mut self) -> Result<bool, digital::ErrorKind> {
        black_box(Ok(true))
    }
}

impl OutputPin for Unknown {
    fn set_high(&mut self) -> Result<(), digital::ErrorKind> {
        black_box(Ok(()))
    }

    fn set_low(&mut self) -> Result<(), digital::ErrorKind> {
        black_box(Ok(()))
    }
}

impl DelayNs for Unknown {
    fn delay_ns(&mut self, ns: u32) {
        black_box(ns);
    }
}

impl pwm::ErrorType for Unknown {
    type Error = pwm::ErrorKind;
}

impl SetDutyCycle for Unknown {
    fn max_duty_cycle(&self) -> u16 {
        black_box(1000)
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), pwm::ErrorKind> {
        black_box(duty);
        black_box(Ok(()))
    }
}

impl SetPitch for Unknown {
    fn set_pitch_millihertz(&mut self, pitch: u32) -> Result<(), pwm::ErrorKind> {
        black_box(pitch);
        black_box(Ok(()))
    }
}
