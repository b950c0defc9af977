//! Buttons and battery.

use embassy_rp::adc::{self, Adc, Channel};
use embassy_rp::gpio::{Input, Pull};
use embassy_time::Delay;
use embedded_hal::delay::DelayNs as _;
use nullwalk_drivers::battery::{Charge, Gauge};
use nullwalk_drivers::buttons::Buttons;
use nullwalk_handset::menu::Key;
use nullwalk_pico2::fitting::{BATTERY, DIVIDER, NO_CELL_MV};
use nullwalk_pico2::wiring;

/// The battery is measured so often, milliseconds.
const BATTERY_MS: u32 = 250;

/// The buttons.
pub struct Keys {
    pub buttons: Buttons<Input<'static>, { Key::ALL.len() }>,
    /// Which were down at the start.
    pub held: [bool; Key::ALL.len()],
}

impl Keys {
    /// In the order of [`Key::ALL`].
    pub fn new(parts: wiring::Keys) -> Self {
        let pins = [
            Input::new(parts.up, Pull::Up),
            Input::new(parts.down, Pull::Up),
            Input::new(parts.enter, Pull::Up),
            Input::new(parts.mark, Pull::Up),
            Input::new(parts.mute, Pull::Up),
        ];
        // The pull-ups charge the wires.
        Delay.delay_ms(1);
        let held = pins.each_ref().map(Input::is_low);
        Self { buttons: Buttons::new(pins), held }
    }
}

/// The battery.
pub struct Battery {
    adc: Adc<'static, adc::Blocking>,
    tap: Channel<'static>,
    gauge: Gauge,
    measured_ms: Option<u32>,
}

impl Battery {
    /// Not measured yet.
    pub fn new(parts: wiring::Battery) -> Self {
        Self {
            adc: Adc::new_blocking(parts.adc, adc::Config::default()),
            tap: Channel::new_pin(parts.tap, Pull::None),
            gauge: Gauge::new(BATTERY),
            measured_ms: None,
        }
    }

    /// What it is good for, measured anew where it is time.
    pub fn charge(&mut self, now_ms: u32) -> Charge {
        if self.measured_ms.is_none_or(|measured_ms| now_ms.wrapping_sub(measured_ms) >= BATTERY_MS) {
            self.measured_ms = Some(now_ms);
            let counts = self.adc.blocking_read(&mut self.tap).ok();
            let millivolts = counts.and_then(|counts| DIVIDER.millivolts(counts));
            // A divider that is torn off says nothing about the battery.
            if let Some(millivolts) = millivolts.filter(|millivolts| *millivolts >= NO_CELL_MV) {
                self.gauge.push(millivolts);
            }
        }
        self.gauge.charge()
    }
}
