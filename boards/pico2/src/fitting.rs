//! What this handset is made of. Whoever builds one writes the own calibration in here.

use core::num::NonZeroU32;

use glam::Vec3;
use heapless::String;
use nullwalk_core::array::{Array, CalibrationSigma, Coil, Node};
use nullwalk_core::error::ConfigError;
use nullwalk_core::gain::Ladder;
use nullwalk_core::locate::Settings;
use nullwalk_core::record::{Reset, clipped};
use nullwalk_drivers::battery::{Divider, Levels};
use nullwalk_drivers::converter::{Clock, FULL_SCALE_COUNTS, FULL_SCALE_V, Gains, Part, Rate, Setup};
use nullwalk_drivers::tilt::Mounting;
use nullwalk_field_book::Layout;
use nullwalk_handset::Fitting;
use nullwalk_handset::selftest::{Expected, Level};

use crate::nor;

/// Coils, and channels of the converter that are used.
pub const CHANNELS: usize = 6;
/// Frames in a packet: 5 ms.
pub const FRAMES: usize = 40;
/// The queue between the two sides holds one packet less: 155 ms. An erase of the book's flash takes 45 ms, and a fit of a
/// whole walk 10 ms; a worn flash may take 400 ms, and then samples are lost, counted and bridged.
pub const DEPTH: usize = 32;

/// Samples a second.
pub const RATE: Rate = Rate::Hz8000;
/// Which converter is fitted.
pub const PART: Part = Part::Eight;
/// The tone at the start, hertz.
pub const TONE_HZ: f32 = 512.0;
/// Ticks a second of the clock that data-ready is timed by.
pub const TICKS_HZ: u32 = 1_000_000;
/// The converter's own gains that are the ladder.
pub const GAINS: [u8; 4] = [1, 4, 16, 64];
/// Gain of an amplifier in front of the converter, 1 for none, and the share of full scale at which it clips.
const BEFORE: f32 = 1.0;
const RAIL_FRACTION: f32 = 1.0;

/// Clocks of the buses, hertz. The chip makes 150 MHz divided by whole, even numbers.
pub const CONVERTER_HZ: u32 = 8_000_000;
/// Of the book's flash,
pub const FLASH_HZ: u32 = 25_000_000;
/// of the display,
pub const DISPLAY_HZ: u32 = 8_000_000;
/// of the tilt sensor,
pub const TILT_HZ: u32 = 400_000;
/// and bits a second of satellite receiver
pub const GNSS_BAUD: u32 = 9_600;
/// and live link.
pub const LINK_BAUD: u32 = 460_800;

/// The battery's divider, at the chip's own converter of 12 bits.
pub const DIVIDER: Divider =
    Divider { upper_ohm: 100_000, lower_ohm: 100_000, reference_mv: 3300, full_scale_counts: 4095 };
/// Less than this is no cell but a board on a desk's supply, millivolts.
pub const NO_CELL_MV: u32 = 1000;
/// The battery.
pub const BATTERY: Levels = Levels::LITHIUM_CELL;

/// Where the antenna stands in the mast frame, metres.
pub const ANTENNA_M: Vec3 = Vec3::new(0.0, 0.0, 1.0);
/// Coils of one node at right angles, turns times area, m2; heights of the nodes above the lower one, and of the lower
/// one above the foot, metres.
pub const TURNS_AREA_M2: f32 = 20.0;
const NODE_M: [f32; 2] = [0.0, 0.4];
const FOOT_M: f32 = 0.05;
/// Of coils that nobody has calibrated (our guess).
const UNCALIBRATED: CalibrationSigma = CalibrationSigma { node_ratio: 0.02, scale: 0.2, tilt_rad: 0.02 };

/// Own noise of the converter at a gain of 1 and 8000 samples a second, with inputs shorted, counts rms: a dynamic range
/// of 102 dB at 4000 (from memory of the data sheet), and twice the bandwidth.
const NOISE_COUNTS: f32 = 66.0;
/// The test levels in the converter, a share of full scale on every rung (from memory of the data sheet).
const TEST_SHARE: f32 = 2.0 / 15.0;

/// How the converter is to run.
///
/// # Errors
/// When the ladder's gains are not the part's.
pub fn setup() -> Result<Setup, ConfigError> {
    Ok(Setup {
        part: PART,
        rate: RATE,
        clock: Clock::Crystal,
        gains: Gains::new(&GAINS)?,
        ticks_hz: TICKS_HZ,
    })
}

/// Ticks from one sample to the next.
pub const PERIOD: NonZeroU32 = NonZeroU32::new(TICKS_HZ / RATE.hz()).expect("ticks are finer than samples");

/// The gain ladder.
///
/// # Errors
/// When gains, rail or rate make no ladder.
pub fn ladder() -> Result<Ladder, ConfigError> {
    Gains::new(&GAINS)?.ladder(RATE, BEFORE, RAIL_FRACTION)
}

/// The coils: as built, not as measured.
///
/// # Errors
/// When they are no array.
pub fn array() -> Result<Array, ConfigError> {
    let coil =
        |channel, axis| Coil { channel, axis, turns_area_m2: TURNS_AREA_M2, gain: 1.0, phase_rad: 0.0 };
    let node = |first: u8, height_m: f32| Node {
        position_m: Vec3::Z * height_m,
        coils: [coil(first, Vec3::X), coil(first + 1, Vec3::Y), coil(first + 2, Vec3::Z)],
    };
    let [lower_m, upper_m] = NODE_M;
    Array::new(&[node(0, lower_m), node(3, upper_m)], UNCALIBRATED, FOOT_M)
}

/// How the tilt sensor sits on the mast: axes as the mast's, and nobody has measured its errors.
pub fn mounting() -> Mounting {
    Mounting::default()
}

/// Where the book stands in its flash: 1 MiB for what must never go, an hour and a half of hops behind it.
pub const fn layout() -> Layout {
    const KEPT: u32 = 1 << 20;
    Layout::new(0..KEPT, KEPT..nor::CAPACITY)
}

/// What the self-test is to find.
///
/// # Errors
/// As [`ladder`].
pub fn expected() -> Result<Expected, ConfigError> {
    Ok(Expected {
        ladder: ladder()?,
        full_scale_counts: FULL_SCALE_COUNTS,
        noise_counts: NOISE_COUNTS,
        level: Level::Share(TEST_SHARE),
    })
}

/// Volts of one count at the converter's pins, at a gain of 1.
pub const COUNT_V: f32 = FULL_SCALE_V / FULL_SCALE_COUNTS as f32;

/// All of it, for the handset.
///
/// # Errors
/// When something does not fit; a test sees that it does.
pub fn fitting(reset: Reset, last_words: String<128>) -> Result<Fitting, ConfigError> {
    Ok(Fitting {
        rate_hz: RATE.hz() as f32,
        ticks_hz: TICKS_HZ,
        tone_hz: TONE_HZ,
        ladder: ladder()?,
        array: array()?,
        settings: Settings::default(),
        build: clipped(concat!("nullwalk-pico2 ", env!("CARGO_PKG_VERSION"))),
        calibration: clipped("none: coils as built"),
        reset,
        last_words,
    })
}

#[cfg(test)]
mod tests {
    use nullwalk_handset::Handset;

    use super::*;

    #[test]
    fn everything_fits_together() {
        let fitting = fitting(Reset::PowerOn, String::new()).unwrap();
        assert!(Handset::<CHANNELS>::new(fitting).is_ok());
        assert_eq!(u32::from(setup().unwrap().gains.top()), GAINS.len() as u32 - 1);
        expected().unwrap();
    }

    /// A frame must be moved in much less than the time between two.
    #[test]
    fn a_frame_takes_a_quarter_of_a_period() {
        let bits = 8 * PART.frame_bytes() as u32;
        assert!(bits * 4 <= CONVERTER_HZ / RATE.hz(), "{bits}");
        assert_eq!(PERIOD.get() * RATE.hz(), TICKS_HZ);
    }
}
