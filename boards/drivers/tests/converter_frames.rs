//! The converter's frames and registers against what others say of them.

mod common;

use ads131m08 as other;
use common::answer_frame;
use crc::{CRC_16_IBM_3740, Crc};
use nullwalk_drivers::converter::{Command, FRAME_BYTES, Gain, Garbled, Part, Register, Status, decode};
use proptest::prelude::*;

/// The catalogue of parametrised CRC algorithms (reveng.sourceforge.io) gives 29B1h over "123456789" for CRC-16/IBM-3740:
/// polynomial 1021h from all ones, not reflected.
#[test]
fn checksum_is_the_catalogue_s() {
    assert_eq!(Crc::<u16>::new(&CRC_16_IBM_3740).checksum(b"123456789"), 0x29B1);
    assert_eq!(common::checksum(b"123456789"), 0x29B1);
    assert_eq!(other::calculate_crc16_ccitt(b"123456789"), 0x29B1);
}

/// Another driver for the same part, written by others from the data sheet.
#[test]
fn another_driver_knows_the_same_registers() {
    use other::Register as Theirs;
    let pairs = [
        (Register::Id, Theirs::Id),
        (Register::Status, Theirs::Status),
        (Register::Mode, Theirs::Mode),
        (Register::Clock, Theirs::Clock),
        (Register::Gain1, Theirs::Gain1),
        (Register::Gain2, Theirs::Gain2),
        (Register::Config, Theirs::Cfg),
    ];
    assert!(pairs.into_iter().all(|(ours, theirs)| ours as u8 == theirs as u8));
    assert_eq!(other::Osr::Osr512 as u8, 2);
    assert_eq!(other::PowerMode::HighResolution as u8, 2);
    assert_eq!(other::Gain::Gain64 as u8, 6);
    assert_eq!(Command::WriteGains(Gain::of(64).unwrap()).frame()[3..8], [0x66, 0x66, 0, 0x66, 0x66]);
}

#[test]
fn another_driver_reads_the_same_status() {
    for raw in 0..=u16::MAX {
        let (ours, theirs) = (Status(raw), other::StatusFlags::from_raw(raw));
        assert_eq!(ours.was_reset(), theirs.reset_occurred);
        assert_eq!(ours.was_resynced(), theirs.f_resync);
        assert_eq!(ours.refused(), theirs.crc_err);
        assert_eq!(ours.fresh(), theirs.channel_ready_mask);
        if ours.is_ours() {
            assert!(!theirs.is_locked && theirs.word_len_bits == 24);
        }
    }
}

/// Words are 101a aaaa annn nnnn to read and 011a aaaa annn nnnn to write: `a` the address, `n` registers less one.
#[test]
fn command_words_are_those_of_the_data_sheet() {
    let words = [
        (Command::Null, 0x0000),
        (Command::Unlock, 0x0655),
        (Command::Read(Register::Clock as u8), 0xA180),
        (Command::Write(Register::Clock as u8, 0), 0x6180),
        (Command::WriteGains(Gain::of(1).unwrap()), 0x6201),
    ];
    assert!(words.into_iter().all(|(command, word)| command.word() == word));
    // Answers: the register's own value, 010a aaaa ammm mmmm to a write, the word itself to the rest.
    assert_eq!(
        words.map(|(command, _)| command.acknowledged()),
        [None, Some(0x0655), None, Some(0x4180), Some(0x4201)]
    );
}

fn part() -> impl Strategy<Value = Part> {
    prop_oneof![Just(Part::Six), Just(Part::Eight)]
}

fn counts() -> impl Strategy<Value = [i32; 8]> {
    prop::array::uniform8(-8_388_608..8_388_608)
}

proptest! {
    #[test]
    fn what_the_part_sends_is_what_is_read(part in part(), answer: u16, counts in counts()) {
        let raw = answer_frame(answer, &counts[..part.channels()]);
        let frame = decode::<6>(part, &raw).unwrap();
        prop_assert_eq!(frame.answer, answer);
        prop_assert_eq!(&frame.counts[..], &counts[..6]);
        // A buffer may be longer than the frame, never shorter.
        let mut longer = raw.clone();
        longer.push(0x55);
        prop_assert_eq!(decode(part, &longer), Ok(frame));
        prop_assert_eq!(decode::<6>(part, &raw[..raw.len() - 1]), Err(Garbled));
    }

    /// The polynomial finds any three wrong bits in frames of this length, and any run of up to 16. What follows the
    /// checksum in its word is not covered, and means nothing.
    #[test]
    fn a_few_wrong_bits_never_pass(
        part in part(), counts in counts(), bits in prop::collection::btree_set(0..232_usize, 1..=3),
        run in 1..0x8000_u16, at in 0..216_usize,
    ) {
        let raw = answer_frame(0x013F, &counts[..part.channels()]);
        let end = 8 * (raw.len() - 1);
        let turned = |bits: &mut dyn Iterator<Item = usize>| {
            let mut raw = raw.clone();
            bits.for_each(|bit| raw[bit / 8] ^= 0x80 >> (bit % 8));
            decode::<6>(part, &raw)
        };
        let mut few = bits.iter().copied().filter(|bit| *bit < end).peekable();
        prop_assert!(few.peek().is_none() || turned(&mut few) == Err(Garbled));
        let at = at.min(end - 16);
        prop_assert_eq!(turned(&mut (0..16).filter(|n| run >> n & 1 != 0).map(|n| at + n)), Err(Garbled));
    }

    #[test]
    fn any_bytes_are_survived(part in part(), raw in prop::collection::vec(any::<u8>(), 0..64)) {
        if let Ok(frame) = decode::<6>(part, &raw) {
            prop_assert!(frame.counts.into_iter().all(|count| (-8_388_608..8_388_608).contains(&count)));
        }
    }

    /// A command is as long as the longest frame, and its checksum stands right behind its words.
    #[test]
    fn commands_carry_their_checksum(address in 0..64_u8, value: u16) {
        let frame: [u8; FRAME_BYTES] = Command::Write(address, value).frame();
        prop_assert_eq!(&frame[6..8], &other::calculate_crc16_ccitt(&frame[..6]).to_be_bytes()[..]);
        prop_assert!(frame[8..].iter().all(|byte| *byte == 0));
    }
}
