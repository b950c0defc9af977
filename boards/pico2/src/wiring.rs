//! Which pin goes where. This file is the one place: the firmware takes its pins from here, and a test holds the table in
//! the book against it.

/// A wire from the Pico 2.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wire {
    /// Number of the general-purpose pin.
    pub gpio: u8,
    /// Number of the pad, counted around the board from the USB socket.
    pub pad: u8,
    /// To what it goes.
    pub to: &'static str,
}

macro_rules! wiring {
    ($(
        $(#[$group_about:meta])*
        $group:ident: $Group:ident {
            $($(#[$about:meta])* $wire:ident: $pin:ident = $gpio:literal, $pad:literal => $to:literal;)*
            ;
            $($(#[$inside_about:meta])* $inside:ident: $peripheral:ident;)*
        }
    )*) => {
        /// All wires.
        pub const WIRES: &[Wire] = &[$($(Wire { gpio: $gpio, pad: $pad, to: $to },)*)*];

        $(
            $(#[$group_about])*
            #[cfg(target_os = "none")]
            pub struct $Group {
                $($(#[$about])* pub $wire: embassy_rp::Peri<'static, embassy_rp::peripherals::$pin>,)*
                $($(#[$inside_about])* pub $inside: embassy_rp::Peri<'static, embassy_rp::peripherals::$peripheral>,)*
            }
        )*

        /// The same as what the firmware takes: each pin and each part of the chip has one owner.
        #[cfg(target_os = "none")]
        pub struct Parts {
            $($(#[$group_about])* pub $group: $Group,)*
        }

        #[cfg(target_os = "none")]
        impl Parts {
            /// All that is used.
            pub fn of(all: embassy_rp::Peripherals) -> Self {
                Self { $($group: $Group { $($wire: all.$pin,)* $($inside: all.$peripheral,)* },)* }
            }
        }
    };
}

wiring! {
    /// The converter, with a bus of its own.
    converter: Converter {
        /// Data from it.
        miso: PIN_16 = 16, 21 => "converter DOUT";
        /// Selects it.
        select: PIN_17 = 17, 22 => "converter CS, 10 kΩ to 3V3";
        /// Clock of its bus.
        clock: PIN_18 = 18, 24 => "converter SCLK";
        /// Data to it.
        mosi: PIN_19 = 19, 25 => "converter DIN";
        /// Falls when a sample is ready.
        data_ready: PIN_20 = 20, 26 => "converter DRDY";
        /// Resets it while low.
        reset: PIN_21 = 21, 27 => "converter SYNC/RESET, 10 kΩ to 3V3";
        ;
        /// Its bus.
        bus: SPI0;
        /// Moves frames to it.
        dma_out: DMA_CH0;
        /// Moves frames from it.
        dma_in: DMA_CH1;
    }

    /// The bus of flash and display.
    slow: Slow {
        /// Data from the flash.
        miso: PIN_12 = 12, 16 => "flash DO";
        /// Selects the flash.
        flash_select: PIN_13 = 13, 17 => "flash CS, 10 kΩ to 3V3";
        /// Clock.
        clock: PIN_14 = 14, 19 => "flash CLK and display SCK";
        /// Data to both.
        mosi: PIN_15 = 15, 20 => "flash DI and display data (SDA, MOSI)";
        /// Selects the display.
        display_select: PIN_5 = 5, 7 => "display CS";
        /// Tells commands from data.
        display_data: PIN_27 = 27, 32 => "display D/C";
        /// Resets the display while low.
        display_reset: PIN_22 = 22, 29 => "display RES";
        ;
        /// The bus.
        bus: SPI1;
    }

    /// The tilt sensor.
    tilt: Tilt {
        /// I2C data.
        sda: PIN_2 = 2, 4 => "tilt sensor SDA, 4.7 kΩ to 3V3";
        /// I2C clock.
        scl: PIN_3 = 3, 5 => "tilt sensor SCL, 4.7 kΩ to 3V3";
        ;
        /// The bus.
        bus: I2C1;
    }

    /// The satellite receiver.
    gnss: Gnss {
        /// To it.
        tx: PIN_0 = 0, 1 => "satellite receiver RX (may be left out)";
        /// From it.
        rx: PIN_1 = 1, 2 => "satellite receiver TX";
        ;
        /// The port.
        port: UART0;
    }

    /// The live link.
    link: Link {
        /// To whoever follows.
        tx: PIN_4 = 4, 6 => "serial adapter RX";
        ;
        /// The port.
        port: UART1;
    }

    /// The buttons, each to ground.
    buttons: Keys {
        /// UP.
        up: PIN_6 = 6, 9 => "button UP";
        /// DOWN.
        down: PIN_7 = 7, 10 => "button DOWN";
        /// ENTER.
        enter: PIN_8 = 8, 11 => "button ENTER";
        /// MARK.
        mark: PIN_9 = 9, 12 => "button MARK (may be left out)";
        /// MUTE.
        mute: PIN_10 = 10, 14 => "button MUTE (may be left out)";
        ;
    }

    /// The headphones.
    headphones: Headphones {
        /// Through a resistor and a capacitor.
        output: PIN_11 = 11, 15 => "headphones, through 220 Ω and 10 µF";
        ;
        /// The timer.
        timer: PWM_SLICE5;
    }

    /// The battery.
    battery: Battery {
        /// Its divider.
        tap: PIN_26 = 26, 31 => "middle of the battery's divider, 100 nF to ground";
        ;
        /// Measures it.
        adc: ADC;
    }

    /// What has no wire.
    own: Own {
        ;
        /// Makes the 3.3 V with an even rhythm while high.
        supply_mode: PIN_23;
        /// The light on the board.
        light: PIN_25;
        /// Restarts the handset when it hangs.
        watchdog: WATCHDOG;
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::WIRES;

    #[test]
    fn no_pin_or_pad_has_two_wires() {
        for (n, wire) in WIRES.iter().enumerate() {
            assert!(WIRES.iter().skip(n + 1).all(|other| other.gpio != wire.gpio && other.pad != wire.pad));
        }
    }

    /// Pads of a Pico go around the board: GP0 to GP15 up one side and GP16 to GP22 down the other, ground at every fifth
    /// pad from the third on; then RUN, and the three analogue pins around their ground.
    #[test]
    fn pads_are_those_of_the_board() {
        for wire in WIRES {
            let pad = match wire.gpio {
                gpio @ 0..=22 => 1 + gpio + (gpio + 2) / 4,
                26 => 31,
                27 => 32,
                28 => 34,
                _ => 0,
            };
            assert_eq!(pad, wire.pad, "GP{}", wire.gpio);
        }
    }

    /// The table in the book is this one.
    #[test]
    fn the_book_shows_this_wiring() {
        let page = include_str!("../../../docs/src/pico2.md");
        let rows: std::vec::Vec<_> = page.lines().filter(|line| line.starts_with("| GP")).collect();
        let expected: std::vec::Vec<_> = WIRES
            .iter()
            .map(|wire| std::format!("| GP{} | {} | {} |", wire.gpio, wire.pad, wire.to))
            .collect();
        assert_eq!(rows, expected);
    }
}
