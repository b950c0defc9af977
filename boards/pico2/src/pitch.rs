//! From a pitch to the settings of the headphones' timer.

/// The timer's clock: the chip's 150 MHz, divided by [`DIVIDER`].
pub const TIMER_HZ: u32 = 150_000_000 / DIVIDER as u32;
/// With this, pitches from 36 Hz up fit the timer's 16 bits, and one of 4 kHz still has 585 steps.
pub const DIVIDER: u8 = 64;

/// What the timer counts up to, for a pitch in millihertz. A pitch that is too low or too high becomes the nearest one.
///
/// ```
/// use nullwalk_pico2::pitch::{TIMER_HZ, top};
/// assert_eq!(top(1_000_000), (TIMER_HZ / 1000 - 1) as u16);
/// ```
pub const fn top(millihertz: u32) -> u16 {
    let ticks = match (TIMER_HZ as u64 * 1000).checked_div(millihertz as u64) {
        Some(ticks) => ticks.saturating_sub(1),
        None => u16::MAX as u64,
    };
    // One below the end, so that an output that is on all the time can be told from the highest count.
    if ticks >= u16::MAX as u64 { u16::MAX - 1 } else { ticks as u16 }
}

/// The compare value that keeps its share of a period when the period changes.
pub fn share(duty: u16, old_top: u16, new_top: u16) -> u16 {
    let scaled = u32::from(duty) * u32::from(new_top);
    scaled.checked_div(u32::from(old_top)).map_or(0, |duty| duty.min(u32::from(new_top)) as u16)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sounder plays 100 Hz to 4 kHz, and keeps 12 Hz away from the tone: the timer must follow far more closely.
    #[test]
    fn pitches_are_hit_to_a_part_in_five_hundred() {
        for millihertz in (100_000..4_000_000).step_by(997) {
            let played = f64::from(TIMER_HZ) / (f64::from(top(millihertz)) + 1.0);
            let off = played * 1000.0 / f64::from(millihertz) - 1.0;
            assert!((0.0..1.0 / 500.0).contains(&off), "{millihertz}: {played}");
        }
    }

    #[test]
    fn absurd_pitches_and_shares_are_survived() {
        assert_eq!((top(0), top(1), top(u32::MAX)), (u16::MAX - 1, u16::MAX - 1, 0));
        assert_eq!((share(5, 0, 100), share(u16::MAX, 1, 100)), (0, 100));
        assert_eq!(share(500, 1000, 3000), 1500);
    }
}
