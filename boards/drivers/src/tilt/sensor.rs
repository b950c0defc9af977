//! The part itself.

use core::fmt;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use glam::Vec3;
use lsm303agr::interface::I2cInterface;
use lsm303agr::mode::MagContinuous;
use lsm303agr::{AccelMode, AccelOutputDataRate, Error, Lsm303agr, MagMode, MagOutputDataRate};

use super::{Attitude, Mounting};

/// Why the part did not start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StartError {
    /// Nothing answers on the bus.
    Silent,
    /// What answers is another part.
    NotThePart {
        /// What the accelerometer says it is.
        accelerometer: u8,
        /// What the magnetometer says it is.
        magnetometer: u8,
    },
}

impl fmt::Display for StartError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Silent => {
                f.write_str("The tilt sensor does not answer: look at its two wires and its supply.")
            }
            Self::NotThePart { accelerometer, magnetometer } => write!(
                f,
                "The tilt sensor says {accelerometer:02X} and {magnetometer:02X}, an LSM303AGR says 33 and 40."
            ),
        }
    }
}

impl<E> From<Error<E>> for StartError {
    fn from(_: Error<E>) -> Self {
        Self::Silent
    }
}

/// The part on I2C, running at 50 readings a second.
#[derive(Debug)]
pub struct Compass<I2C> {
    part: Lsm303agr<I2cInterface<I2C>, MagContinuous>,
    mounting: Mounting,
}

impl<I2C: I2c> Compass<I2C> {
    /// See that it is the right part, and set it running: 2 g and 12 bits, both sensors 50 times a second, the
    /// magnetometer cancelling its own offset.
    ///
    /// # Errors
    /// [`StartError`], in words for the self-test.
    pub fn start(i2c: I2C, delay: &mut impl DelayNs, mounting: Mounting) -> Result<Self, StartError> {
        let mut part = Lsm303agr::new_with_i2c(i2c);
        let (accelerometer, magnetometer) = (part.accelerometer_id()?, part.magnetometer_id()?);
        if !(accelerometer.is_correct() && magnetometer.is_correct()) {
            let (accelerometer, magnetometer) = (accelerometer.raw(), magnetometer.raw());
            return Err(StartError::NotThePart { accelerometer, magnetometer });
        }
        part.init()?;
        part.set_accel_mode_and_odr(delay, AccelMode::HighResolution, AccelOutputDataRate::Hz50)?;
        part.set_mag_mode_and_odr(delay, MagMode::HighResolution, MagOutputDataRate::Hz50)?;
        let mut part = part.into_mag_continuous().map_err(|error| StartError::from(error.error))?;
        part.enable_mag_offset_cancellation()?;
        Ok(Self { part, mounting })
    }

    /// The latest attitude; `None` while the mast is knocked about.
    ///
    /// # Errors
    /// That of the bus.
    pub fn read(&mut self) -> Result<Option<Attitude>, Error<I2C::Error>> {
        let acceleration_mg = vector(self.part.acceleration()?.xyz_mg());
        let field_nt = vector(self.part.magnetic_field()?.xyz_nt());
        Ok(Attitude::of(&self.mounting, acceleration_mg, field_nt))
    }

    /// The bus back.
    pub fn release(self) -> I2C {
        self.part.destroy()
    }
}

fn vector((x, y, z): (i32, i32, i32)) -> Vec3 {
    Vec3::new(x as f32, y as f32, z as f32)
}
