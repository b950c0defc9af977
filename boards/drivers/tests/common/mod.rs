//! A stand-in for the converter: what the data sheets SBAS950 and SBAS951 say it does (from memory), written apart
//! from the driver and with a checksum of its own.
#![allow(dead_code, reason = "each test file uses its part")]

use std::cell::RefCell;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::rc::Rc;

use embedded_hal::digital::{self, OutputPin};
use embedded_hal::spi::{self, Operation, SpiDevice};

/// CRC-16 with the polynomial 1021h from all ones, bit by bit.
pub fn checksum(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc: u16, byte| {
        (0..8).fold(crc ^ u16::from(*byte) << 8, |crc, _| {
            if crc & 0x8000 != 0 { crc << 1 ^ 0x1021 } else { crc << 1 }
        })
    })
}

/// A frame that the part would send.
pub fn answer_frame(answer: u16, counts: &[i32]) -> Vec<u8> {
    let mut frame = vec![(answer >> 8) as u8, answer as u8, 0];
    counts.iter().for_each(|count| frame.extend(&count.to_be_bytes()[1..]));
    let crc = checksum(&frame);
    frame.extend([(crc >> 8) as u8, crc as u8, 0]);
    frame
}

#[derive(Debug)]
pub struct Chip {
    pub channels: usize,
    pub registers: [u16; 64],
    /// Taken and not yet read, at most two, oldest first.
    pub waiting: VecDeque<Vec<i32>>,
    last: Vec<i32>,
    answer: u16,
    answer_is_status: bool,
    crc_error: bool,
    /// Bits of the next frame to turn, to the part and from it.
    pub turn_in: Vec<usize>,
    pub turn_out: Vec<usize>,
    /// Commands received, in order.
    pub heard: Vec<u16>,
    /// Ignores writes to the gain registers.
    pub deaf_to_gain: bool,
    /// A register that holds its value whatever is written.
    pub stuck_register: Option<(usize, u16)>,
    /// What the identity register says.
    pub identity: u16,
}

impl Chip {
    pub fn new(channels: usize) -> Self {
        let mut chip = Self {
            channels,
            registers: [0; 64],
            waiting: VecDeque::new(),
            last: vec![0; channels],
            answer: 0,
            answer_is_status: true,
            crc_error: false,
            turn_in: Vec::new(),
            turn_out: Vec::new(),
            heard: Vec::new(),
            deaf_to_gain: false,
            stuck_register: None,
            identity: 0x2000 | (channels as u16) << 8,
        };
        chip.reset();
        chip
    }

    /// What a reset leaves behind.
    pub fn reset(&mut self) {
        self.registers = [0; 64];
        self.registers[0] = self.identity;
        self.registers[2] = 0x0510;
        self.registers[3] = ((1 << self.channels) - 1) << 8 | 0x0E;
        self.registers[6] = 0x0600;
        self.answer_is_status = true;
        self.waiting.clear();
    }

    /// Gain field of a channel.
    pub fn gain(&self, channel: usize) -> u16 {
        self.registers[4 + channel / 4] >> (4 * (channel % 4)) & 7
    }

    /// A conversion is finished.
    pub fn convert(&mut self, counts: Vec<i32>) {
        if self.waiting.len() == 2 {
            self.waiting.pop_front();
        }
        self.waiting.push_back(counts);
    }

    fn status(&self) -> u16 {
        let fresh = if self.waiting.is_empty() { 0 } else { self.registers[3] >> 8 };
        let mode = self.registers[2];
        u16::from(self.crc_error) << 12 | mode & 0x0F00 | fresh
    }

    /// One frame, both ways.
    pub fn exchange(&mut self, frame: &mut [u8]) {
        assert_eq!(frame.len(), 3 * (self.channels + 2), "every frame has its full length");
        let answer = if self.answer_is_status { self.status() } else { self.answer };
        if let Some(counts) = self.waiting.pop_front() {
            self.last = counts;
        }
        let mut out = answer_frame(answer, &self.last);
        for bit in self.turn_in.drain(..) {
            frame[bit / 8] ^= 0x80 >> (bit % 8);
        }
        self.hear(frame);
        if self.registers[2] & 0x0B00 != 0x0100 {
            // Words of another length, or another checksum: nothing that a reader of ours can follow.
            out.iter_mut().for_each(|byte| *byte ^= 0x5A);
        }
        for bit in self.turn_out.drain(..) {
            out[bit / 8] ^= 0x80 >> (bit % 8);
        }
        frame.copy_from_slice(&out);
    }

    fn hear(&mut self, frame: &[u8]) {
        let word = |n: usize| u16::from_be_bytes([frame[3 * n], frame[3 * n + 1]]);
        let command = word(0);
        let address = usize::from(command >> 7 & 0x3F);
        let count = usize::from(command & 0x7F) + 1;
        let is_write = command >> 13 == 0b011;
        let crc_at = if is_write { 1 + count } else { 1 };
        let checks = self.registers[2] & 1 << 12 != 0;
        self.crc_error =
            checks && crc_at < frame.len() / 3 && checksum(&frame[..3 * crc_at]) != word(crc_at);
        self.heard.push(command);
        self.answer_is_status = true;
        if is_write {
            // Carried out even when its checksum fails.
            for n in 0..count.min(frame.len() / 3 - 1) {
                let is_gain = matches!(address + n, 4 | 5);
                if address + n >= 2 && address + n < 64 && !(is_gain && self.deaf_to_gain) {
                    self.registers[address + n] = word(1 + n);
                }
            }
            if let Some((address, value)) = self.stuck_register {
                self.registers[address] = value;
            }
            (self.answer, self.answer_is_status) = (0x4000 | command & 0x1FFF, false);
        } else if self.crc_error {
            // Not carried out.
        } else if command >> 13 == 0b101 && count == 1 {
            let value = if address == 1 { self.status() } else { self.registers[address] };
            (self.answer, self.answer_is_status) = (value, false);
        } else if command == 0x0655 {
            (self.answer, self.answer_is_status) = (command, false);
        }
    }
}

/// The chip's SPI and its reset pin, while a test holds on to the chip itself.
#[derive(Debug, Clone)]
pub struct Wires(pub Rc<RefCell<Chip>>);

impl Wires {
    pub fn to(chip: Chip) -> Self {
        Self(Rc::new(RefCell::new(chip)))
    }
}

impl spi::ErrorType for Wires {
    type Error = Infallible;
}

impl SpiDevice for Wires {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        for operation in operations {
            match operation {
                Operation::TransferInPlace(frame) => self.0.borrow_mut().exchange(frame),
                other => panic!("a frame is moved in one piece, not by {other:?}"),
            }
        }
        Ok(())
    }
}

impl digital::ErrorType for Wires {
    type Error = Infallible;
}

impl OutputPin for Wires {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().reset();
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
