//! Headphones or a buzzer on a timer's output.

use embedded_hal::pwm::SetDutyCycle;
use nullwalk_core::locate::Sound;

/// A timer's output whose frequency can be set too, which `embedded-hal` leaves to the board.
pub trait SetPitch: SetDutyCycle {
    /// Sound this pitch, millihertz. The duty cycle keeps its share of a period.
    ///
    /// # Errors
    /// That of the timer.
    fn set_pitch_millihertz(&mut self, pitch: u32) -> Result<(), Self::Error>;
}

/// The pitches that are played, hertz: what small headphones can do, and the ear can tell.
const LOWEST_HZ: f32 = 100.0;
const HIGHEST_HZ: f32 = 4000.0;
/// No overtone comes nearer than this to the tone that is listened for, hertz. The core's window lets 12 Hz beside the
/// tone pass with less than -90 dB.
const GUARD_HZ: f32 = 12.0;
/// The duty cycle of greatest loudness: a square wave's fundamental is strongest at one half.
const LOUDEST_PERCENT: f32 = 50.0;

/// Plays what the core says.
///
/// The current in the headphones' cord makes a field at its pitch and all multiples. Where one of them meets the tone,
/// the instrument would hear itself, so such pitches are shifted up: with a tone of 512 Hz by less than a semitone.
#[derive(Debug)]
pub struct Sounder<P> {
    output: P,
    tone_hz: f32,
    playing: Option<(u32, u8)>,
}

impl<P: SetPitch> Sounder<P> {
    /// A silent sounder, for an instrument that listens for `tone_hz`.
    pub const fn new(output: P, tone_hz: f32) -> Self {
        Self { output, tone_hz, playing: None }
    }

    /// From now on the instrument listens for this tone.
    pub const fn set_tone(&mut self, tone_hz: f32) {
        self.tone_hz = tone_hz;
    }

    /// Play a sound until the next. What is playing already is left alone, since setting a timer clicks.
    ///
    /// # Errors
    /// That of the timer.
    pub fn play(&mut self, sound: Sound) -> Result<(), P::Error> {
        let pitch = (1000.0 * clear_of(self.tone_hz, sound.pitch_hz)) as u32;
        // Twice as loud to the ear is far more than twice the power, so small steps go to the quiet end.
        let loudness = if sound.loudness > 0.0 { sound.loudness.min(1.0) } else { 0.0 };
        let percent = (LOUDEST_PERCENT * loudness * loudness + 0.5) as u8;
        if self.playing == Some((pitch, percent)) {
            return Ok(());
        }
        self.playing = None;
        if percent == 0 {
            self.output.set_duty_cycle_fully_off()?;
        } else {
            self.output.set_pitch_millihertz(pitch)?;
            self.output.set_duty_cycle_percent(percent)?;
        }
        self.playing = Some((pitch, percent));
        Ok(())
    }

    /// The output back.
    pub fn release(self) -> P {
        self.output
    }
}

/// The pitch, or the next above it of which no multiple comes near the tone.
fn clear_of(tone_hz: f32, pitch_hz: f32) -> f32 {
    let pitch_hz = if pitch_hz > LOWEST_HZ { pitch_hz.min(HIGHEST_HZ) } else { LOWEST_HZ };
    let overtone = nullwalk_core::math::round(tone_hz / pitch_hz);
    let is_near = (overtone * pitch_hz - tone_hz).abs() < GUARD_HZ;
    if overtone >= 1.0 && is_near { (tone_hz + GUARD_HZ) / overtone } else { pitch_hz }
}

#[cfg(test)]
mod tests {
    use std::vec::Vec;

    use core::convert::Infallible;
    use embedded_hal::pwm::ErrorType;
    use proptest::prelude::*;

    use super::*;

    #[derive(Debug, PartialEq)]
    enum Set {
        Pitch(u32),
        Duty(u16),
    }

    /// A timer that writes down what it is told.
    #[derive(Default)]
    struct Timer(Vec<Set>);

    impl ErrorType for Timer {
        type Error = Infallible;
    }

    impl SetDutyCycle for Timer {
        fn max_duty_cycle(&self) -> u16 {
            1000
        }

        fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Infallible> {
            self.0.push(Set::Duty(duty));
            Ok(())
        }
    }

    impl SetPitch for Timer {
        fn set_pitch_millihertz(&mut self, pitch: u32) -> Result<(), Infallible> {
            self.0.push(Set::Pitch(pitch));
            Ok(())
        }
    }

    #[test]
    fn loud_soft_and_silent() {
        let mut sounder = Sounder::new(Timer::default(), 512.0);
        for (pitch_hz, loudness) in
            [(300.0, 1.0), (300.0, 1.0), (300.0, 0.5), (400.0, 0.0), (400.0, f32::NAN)]
        {
            sounder.play(Sound { pitch_hz, loudness }).unwrap();
        }
        let set = [Set::Pitch(300_000), Set::Duty(500), Set::Pitch(300_000), Set::Duty(130), Set::Duty(0)];
        assert_eq!(sounder.release().0, set);
    }

    #[test]
    fn another_tone_is_kept_off_at_once() {
        let mut sounder = Sounder::new(Timer::default(), 512.0);
        sounder.play(Sound { pitch_hz: 640.0, loudness: 1.0 }).unwrap();
        sounder.set_tone(640.0);
        sounder.play(Sound { pitch_hz: 640.0, loudness: 1.0 }).unwrap();
        let set = [Set::Pitch(640_000), Set::Duty(500), Set::Pitch(652_000), Set::Duty(500)];
        assert_eq!(sounder.release().0, set);
    }

    #[test]
    fn the_tone_itself_is_never_played() {
        assert_eq!(clear_of(512.0, 512.0), 524.0);
        assert_eq!(clear_of(512.0, 256.0), 262.0);
        assert_eq!(clear_of(512.0, 300.0), 300.0);
        assert_eq!(clear_of(512.0, 600.0), 600.0);
    }

    proptest! {
        /// Over all tones that an instrument may be set to and all that the core may say.
        #[test]
        fn no_overtone_meets_the_tone(tone_hz in 50.0..24_000.0_f32, snr_db in -10.0..90.0_f32) {
            let sound = Sound::of(snr_db);
            let mut sounder = Sounder::new(Timer::default(), tone_hz);
            sounder.play(Sound { loudness: 1.0, ..sound }).unwrap();
            let Some(Set::Pitch(millihertz)) = sounder.release().0.into_iter().next() else { panic!("nothing played") };
            let pitch_hz = f64::from(millihertz) / 1000.0;
            let nearest = (f64::from(tone_hz) / pitch_hz).round();
            let off_hz = (nearest * pitch_hz - f64::from(tone_hz)).abs();
            // A millihertz of rounding counts as often as the overtone.
            prop_assert!(nearest < 1.0 || off_hz > f64::from(GUARD_HZ) - 0.0015 * nearest - 0.01, "{off_hz}");
            prop_assert!((pitch_hz / f64::from(sound.pitch_hz) - 1.0).abs() < 0.17);
        }

        #[test]
        fn any_sound_is_survived(tone_hz: f32, pitch_hz: f32, loudness: f32) {
            let mut sounder = Sounder::new(Timer::default(), tone_hz);
            let sound = Sound { pitch_hz, loudness };
            prop_assert!(sounder.play(sound).is_ok());
        }
    }
}
