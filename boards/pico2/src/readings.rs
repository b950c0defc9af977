//! What to read while bringing a board up, computed from the same values that the firmware uses. The book shows it.

use std::fmt::Write as _;

use nullwalk_core::field::dipole;
use nullwalk_drivers::converter::{FULL_SCALE_COUNTS, FULL_SCALE_V, SETTLE_SAMPLES};
use nullwalk_handset::selftest::Level;
use nullwalk_pico2::fitting::{self, DEPTH, FRAMES};
use nullwalk_pico2::{nor, pitch};

/// A sonde that is often met, A m2.
const MOMENT_AM2: f32 = 0.2;

/// All tables.
pub fn tables() -> String {
    let mut text = String::new();
    // Writing to a string does not fail.
    let _ = write_all(&mut text);
    text
}

fn write_all(text: &mut String) -> std::fmt::Result {
    let expected = fitting::expected().expect("a test makes these");
    let rate_hz = fitting::RATE.hz();
    // The chip divides 150 MHz by an even number.
    let clock_hz = 75_000_000 / 75_000_000_u32.div_ceil(fitting::CONVERTER_HZ);
    let frame_us = 8.0 * fitting::PART.frame_bytes() as f32 / clock_hz as f32 * 1e6;

    writeln!(text, "Times")?;
    writeln!(text, "data-ready          {rate_hz} Hz, every {} us", 1_000_000 / rate_hz)?;
    writeln!(
        text,
        "a frame             {} bytes, {frame_us:.0} us of clock at {:.1} MHz",
        fitting::PART.frame_bytes(),
        clock_hz as f32 / 1e6
    )?;
    writeln!(text, "change of gain      {:.2} ms to settle", SETTLE_SAMPLES as f32 / rate_hz as f32 * 1e3)?;
    let queue_ms = (DEPTH - 1) * FRAMES * 1000 / rate_hz as usize;
    writeln!(text, "queue holds out     {queue_ms} ms")?;
    let flash_s = 8.0 * nor::CAPACITY as f32 / fitting::FLASH_HZ as f32;
    writeln!(text, "whole flash read    {flash_s:.1} s at least")?;
    for hz in [100_u32, 1000] {
        writeln!(text, "sound of {hz:>4} Hz    timer counts to {}", pitch::top(hz * 1000))?;
    }

    writeln!(text, "\nBattery     at the tap   counts of 4095")?;
    let divider = fitting::DIVIDER;
    for millivolts in [4200_u32, 3700, fitting::BATTERY.low_mv, fitting::BATTERY.empty_mv] {
        let tap_mv = millivolts * divider.lower_ohm / (divider.lower_ohm + divider.upper_ohm);
        let counts = tap_mv * u32::from(divider.full_scale_counts) / divider.reference_mv;
        writeln!(text, "{:.2} V      {:.3} V      {counts}", millivolts as f32 / 1e3, tap_mv as f32 / 1e3)?;
    }

    writeln!(text, "\nRung  gain   full scale   one count   test level")?;
    let Level::Share(share) = expected.level else { return Ok(()) };
    for (rung, gain) in fitting::GAINS.into_iter().enumerate() {
        let scale_v = FULL_SCALE_V / f32::from(gain);
        writeln!(
            text,
            "{rung:>4}  x {gain:<3}  {:>7.2} mV  {:>6.2} nV  {:.0} counts",
            scale_v * 1e3,
            scale_v / FULL_SCALE_COUNTS as f32 * 1e9,
            share * FULL_SCALE_COUNTS as f32,
        )?;
    }

    let noise_v = expected.noise_counts * fitting::COUNT_V;
    writeln!(
        text,
        "\nInputs shorted, gain 1: {:.0} counts rms, {:.1} uV",
        expected.noise_counts,
        noise_v * 1e6
    )?;

    writeln!(
        text,
        "\nSonde of {MOMENT_AM2} A m2, level, below the lower node; its x coil along the sonde, gain 1"
    )?;
    writeln!(text, "distance   field       coil of {} m2   counts", fitting::TURNS_AREA_M2)?;
    for distance_m in [0.5_f32, 1.0, 2.0, 3.0] {
        let [field_t, _, _] = dipole([MOMENT_AM2, 0.0, 0.0], [0.0, 0.0, distance_m]).map(f32::abs);
        let coil_v = core::f32::consts::TAU * fitting::TONE_HZ * fitting::TURNS_AREA_M2 * field_t;
        writeln!(
            text,
            "{distance_m:.1} m      {:>7.3} nT  {:>9.1} uV     {:>6.0}",
            field_t * 1e9,
            coil_v * 1e6,
            coil_v / fitting::COUNT_V,
        )?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    /// The book shows what this prints.
    #[test]
    fn the_book_shows_these_readings() {
        let page = include_str!("../../../docs/src/pico2.md");
        assert!(page.contains(&super::tables()), "to be pasted into the book:\n{}", super::tables());
    }
}
