//! The tilt sensor, byte by byte. Registers and scales are from memory of the data sheet of the LSM303AGR (DocID027765);
//! the driver crate's authors wrote them down on their own.

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use embedded_hal_mock::eh1::delay::NoopDelay;
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use nullwalk_drivers::tilt::{Compass, Mounting, StartError};

const ACCELEROMETER: u8 = 0x19;
const MAGNETOMETER: u8 = 0x1E;

fn ask(address: u8, register: u8, answer: &[u8]) -> Transaction {
    Transaction::write_read(address, vec![register], answer.to_vec())
}

fn write(address: u8, register: u8, value: u8) -> Transaction {
    Transaction::write(address, vec![register, value])
}

fn start() -> Vec<Transaction> {
    vec![
        ask(ACCELEROMETER, 0x0F, &[0x33]),
        ask(MAGNETOMETER, 0x4F, &[0x40]),
        write(ACCELEROMETER, 0x23, 0x80), // CTRL_REG4_A: no reading is torn in two
        write(ACCELEROMETER, 0x1F, 0xC0), // TEMP_CFG_REG_A
        write(MAGNETOMETER, 0x62, 0x10),  // CFG_REG_C_M: no reading is torn in two
        write(ACCELEROMETER, 0x20, 0x47), // CTRL_REG1_A: 50 a second, three axes
        write(ACCELEROMETER, 0x23, 0x88), // CTRL_REG4_A: 12 bits, 2 g
        write(MAGNETOMETER, 0x60, 0x0B),  // CFG_REG_A_M: 50 a second
        write(MAGNETOMETER, 0x60, 0x08),  // CFG_REG_A_M: continuous
        write(MAGNETOMETER, 0x61, 0x02),  // CFG_REG_B_M: offset cancelled
    ]
}

/// Axes as they come from the part: three words, low byte first.
fn words(xyz: [i16; 3]) -> Vec<u8> {
    xyz.into_iter().flat_map(i16::to_le_bytes).collect()
}

fn attitude(acceleration: [i16; 3], field: [i16; 3]) -> Option<nullwalk_drivers::tilt::Attitude> {
    let mut conversation = start();
    conversation.push(ask(ACCELEROMETER, 0xA8, &words(acceleration)));
    conversation.push(ask(MAGNETOMETER, 0xE8, &words(field)));
    let i2c = Mock::new(&conversation);
    let mut compass = Compass::start(i2c, &mut NoopDelay, Mounting::default()).unwrap();
    let attitude = compass.read().unwrap();
    compass.release().done();
    attitude
}

#[test]
fn a_reading_becomes_pitch_roll_and_heading() {
    // 1 mg is 16 in the register, left-justified; one unit of the magnetometer is 150 nT.
    let level = attitude([0, 0, 16_000], [133, 0, -266]).unwrap();
    assert_eq!((level.tilt.pitch_rad, level.tilt.roll_rad, level.heading_rad), (0.0, 0.0, Some(0.0)));
    // Forward end raised by 30 degrees: half of gravity along x.
    let raised = attitude([8000, 0, 13_856], [133, 0, -266]).unwrap();
    assert!((raised.tilt.pitch_rad.to_degrees() - 30.0).abs() < 0.01);
    // Left side raised by 30 degrees.
    let rolled = attitude([0, 8000, 13_856], [133, 0, -266]).unwrap();
    assert!((rolled.tilt.roll_rad.to_degrees() - 30.0).abs() < 0.01);
    // North to the right is west ahead.
    let west = attitude([0, 0, 16_000], [0, -133, -266]).unwrap();
    assert!((west.heading_rad.unwrap().to_degrees() + 90.0).abs() < 0.01);
    assert_eq!(attitude([0, 0, 4000], [133, 0, -266]), None);
}

fn fails_with(conversation: &[Transaction]) -> StartError {
    let mut i2c = Mock::new(conversation);
    let error = Compass::start(i2c.clone(), &mut NoopDelay, Mounting::default()).unwrap_err();
    i2c.done();
    error
}

#[test]
fn what_does_not_start_is_said_in_words() {
    let silent =
        ask(ACCELEROMETER, 0x0F, &[0]).with_error(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
    assert_eq!(fails_with(&[silent]), StartError::Silent);
    let other = fails_with(&[ask(ACCELEROMETER, 0x0F, &[0x33]), ask(MAGNETOMETER, 0x4F, &[0x3C])]);
    assert_eq!(other, StartError::NotThePart { accelerometer: 0x33, magnetometer: 0x3C });
    assert!(other.to_string().contains("says 33 and 3C"), "{other}");
}
