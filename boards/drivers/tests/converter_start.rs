//! Starting the converter, byte by byte as it goes over the wires.
//!
//! Commands, registers and times are from memory of the data sheets SBAS950 and SBAS951. The checksums in the literal
//! frames come from Python 3.11: `binascii.crc_hqx(words, 0xFFFF)`.

mod common;

use common::{Chip, Wires, answer_frame};
use embedded_hal_mock::eh1::delay::{CheckedDelay, NoopDelay, Transaction as Wait};
use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as Level};
use embedded_hal_mock::eh1::spi::{Mock as Spi, Transaction};
use nullwalk_drivers::converter::{
    Clock, Converter, Gains, Input, Part, Rate, SPI_MODE, Setup, StartError,
};

fn setup(part: Part) -> Setup {
    let gains = Gains::new(&[1, 4, 16, 64]).unwrap();
    Setup { part, rate: Rate::Hz8000, clock: Clock::Crystal, gains, ticks_hz: 1_000_000 }
}

/// A frame of the ADS131M08 from the bytes that are not zero.
fn frame(start: &[u8]) -> Vec<u8> {
    let mut frame = start.to_vec();
    frame.resize(30, 0);
    frame
}

/// A command frame, and what the part sends meanwhile.
fn exchange(sent: &[u8], answer: u16) -> [Transaction<u8>; 3] {
    [
        Transaction::transaction_start(),
        Transaction::transfer_in_place(frame(sent), answer_frame(answer, &[0; 8])),
        Transaction::transaction_end(),
    ]
}

#[test]
fn every_byte_of_a_start() {
    const NULL: &[u8] = &[0x00, 0x00, 0x00, 0xCC, 0x9C];
    let conversation: [(&[u8], u16); 24] = [
        (&[0xA0, 0x00, 0x00, 0x71, 0x00], 0xFF28), // what are you?
        (NULL, 0x2803),
        (&[0x06, 0x55, 0x00, 0x8F, 0x76], 0x0500), // unlock
        (NULL, 0x0655),
        (&[0x61, 0x00, 0x00, 0x11, 0x10, 0x00, 0x63, 0x88], 0x0500), // MODE
        (NULL, 0x4100),
        (&[0xA1, 0x00, 0x00, 0x46, 0x30], 0x0100),
        (NULL, 0x1110),
        (&[0x61, 0x80, 0x00, 0x3F, 0x0A, 0x00, 0x30, 0x27], 0x0100), // CLOCK: six channels, 8000 a second
        (NULL, 0x4180),
        (&[0xA1, 0x80, 0x00, 0x5D, 0xA8], 0x0100),
        (NULL, 0x3F0A),
        (&[0x63, 0x00, 0x00, 0x06, 0x00, 0x00, 0x2D, 0x48], 0x0100), // CFG
        (NULL, 0x4300),
        (&[0xA3, 0x00, 0x00, 0x28, 0x50], 0x0100),
        (NULL, 0x0600),
        (&[0x62, 0x00, 0x00, 0x00, 0x00, 0x00, 0xDA, 0x48], 0x0100), // GAIN1
        (NULL, 0x4200),
        (&[0xA2, 0x00, 0x00, 0x1F, 0x60], 0x0100),
        (NULL, 0x0000),
        (&[0x62, 0x80, 0x00, 0x00, 0x00, 0x00, 0xF8, 0x98], 0x0100), // GAIN2
        (NULL, 0x4280),
        (&[0xA2, 0x80, 0x00, 0x04, 0xF8], 0x0100),
        (NULL, 0x0000),
    ];
    let mut spi = Spi::new(&conversation.map(|(sent, answer)| exchange(sent, answer)).concat());
    let mut reset = Pin::new(&[Level::set(State::Low), Level::set(State::High)]);
    // A reset takes 2048 clocks of 8.192 MHz, 250 us; shorter is no reset.
    let mut delay = CheckedDelay::new(&[Wait::delay_us(1000), Wait::delay_us(10_000)]);
    assert!(Converter::<_, 6>::start(spi.clone(), &mut reset, &mut delay, setup(Part::Eight)).is_ok());
    spi.done();
    reset.done();
    delay.done();
}

#[test]
fn both_parts_start() {
    for (part, channels) in [(Part::Six, 6), (Part::Eight, 8)] {
        let mut wires = Wires::to(Chip::new(channels));
        let chip = wires.0.clone();
        let started = Converter::<_, 6>::start(wires.clone(), &mut wires, &mut NoopDelay, setup(part));
        assert!(started.is_ok());
        assert_eq!(chip.borrow().registers[2..=6], [0x1110, 0x3F0A, 0, 0, 0x0600]);
    }
    assert_eq!(SPI_MODE, embedded_hal::spi::MODE_1);
}

fn start_with(chip: Chip, part: Part) -> StartError<core::convert::Infallible> {
    let mut wires = Wires::to(chip);
    Converter::<_, 6>::start(wires.clone(), &mut wires, &mut NoopDelay, setup(part)).unwrap_err()
}

#[test]
fn what_does_not_start_is_said_in_words() {
    let mut garbling = Chip::new(8);
    garbling.turn_out = vec![100];
    assert_eq!(start_with(garbling, Part::Eight), StartError::Garbled);

    let mut deaf = Chip::new(8);
    deaf.stuck_register = Some((3, 0xFF0E));
    let error = start_with(deaf, Part::Eight);
    assert_eq!(error, StartError::NotHeld { address: 3, written: 0x3F0A, held: 0xFF0E });
    assert!(error.to_string().contains("register 03 holds FF0E, not 3F0A"), "{error}");
}

#[test]
fn nothing_connected_is_no_part() {
    // A data wire that floats or is held gives all ones or all zeros.
    for level in [0x00, 0xFF] {
        let answer =
            Transaction::transfer_in_place(frame(&[0xA0, 0x00, 0x00, 0x71, 0x00]), vec![level; 30]);
        let mut spi = Spi::new(&[Transaction::transaction_start(), answer, Transaction::transaction_end()]);
        let mut reset = Pin::new(&[Level::set(State::Low), Level::set(State::High)]);
        let started = Converter::<_, 6>::start(spi.clone(), &mut reset, &mut NoopDelay, setup(Part::Eight));
        assert_eq!(started.unwrap_err(), StartError::Garbled);
        spi.done();
        reset.done();
    }
}

#[test]
fn another_member_of_the_family_is_recognised() {
    let mut chip = Chip::new(8);
    chip.identity = 0x2401;
    let error = start_with(chip, Part::Eight);
    assert_eq!(error, StartError::NotThePart { identity: 0x2401 });
    assert!(error.to_string().starts_with("Identity 2401 is not the converter"), "{error}");
}

#[test]
fn channels_listen_to_a_test_inside_the_part() {
    let mut wires = Wires::to(Chip::new(8));
    let chip = wires.0.clone();
    let mut converter =
        Converter::<_, 6>::start(wires.clone(), &mut wires, &mut NoopDelay, setup(Part::Eight)).unwrap();
    converter.listen_to(Input::Positive).unwrap();
    // Addresses 09h, 0Eh, 13h, 18h, 1Dh, 22h: one for each channel in use.
    let inputs =
        [0x09, 0x0E, 0x13, 0x18, 0x1D, 0x22, 0x27, 0x2C].map(|at: usize| chip.borrow().registers[at]);
    assert_eq!(inputs, [2, 2, 2, 2, 2, 2, 0, 0]);
}
