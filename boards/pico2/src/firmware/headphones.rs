//! The headphones on a timer's output.

use embassy_rp::pwm::{Config, Pwm, PwmError};
use embedded_hal::pwm::{ErrorType, SetDutyCycle};
use nullwalk_drivers::sounder::SetPitch;
use nullwalk_pico2::pitch::{DIVIDER, share, top};
use nullwalk_pico2::wiring;

/// The timer, as it is set.
pub struct Headphones {
    pwm: Pwm<'static>,
    config: Config,
}

impl Headphones {
    /// Silent.
    pub fn new(parts: wiring::Headphones) -> Self {
        let mut config = Config::default();
        config.divider = DIVIDER.into();
        config.top = top(1_000_000);
        Self { pwm: Pwm::new_output_b(parts.timer, parts.output, config.clone()), config }
    }
}

impl ErrorType for Headphones {
    type Error = PwmError;
}

impl SetDutyCycle for Headphones {
    fn max_duty_cycle(&self) -> u16 {
        self.config.top
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), PwmError> {
        self.config.compare_b = duty.min(self.config.top);
        self.pwm.set_config(&self.config);
        Ok(())
    }
}

impl SetPitch for Headphones {
    fn set_pitch_millihertz(&mut self, pitch: u32) -> Result<(), PwmError> {
        let top = top(pitch);
        self.config.compare_b = share(self.config.compare_b, self.config.top, top);
        self.config.top = top;
        self.pwm.set_config(&self.config);
        Ok(())
    }
}
