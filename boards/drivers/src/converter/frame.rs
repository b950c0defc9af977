//! A finished raw frame into counts.

use super::Part;
use super::command::{CHECKSUM, WORD_BYTES};

/// What came back in one frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame<const C: usize> {
    /// The answer to the command of the frame before.
    pub answer: u16,
    /// One count per channel, of the first `C` channels.
    pub counts: [i32; C],
}

/// The frame is too short, or its checksum is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Garbled;

/// Decode the bytes of a frame. Bytes beyond the frame's length are ignored.
///
/// # Errors
/// [`Garbled`]: nothing in the frame may be believed.
///
/// ```
/// use nullwalk_drivers::converter::{Part, decode};
/// let silence = [
///     0x05, 0x3F, 0x00, // the status
///     0x00, 0x00, 0x01, 0xFF, 0xFF, 0xFF, 0x7F, 0xFF, 0xFF, // 1, -1, the most
///     0x80, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, // the least, 0, 0
///     0x02, 0x36, 0x00, // the checksum
/// ];
/// let frame = decode::<6>(Part::Six, &silence).unwrap();
/// assert_eq!(frame.counts, [1, -1, 8_388_607, -8_388_608, 0, 0]);
/// ```
pub fn decode<const C: usize>(part: Part, raw: &[u8]) -> Result<Frame<C>, Garbled> {
    const { assert!(C >= 1 && C <= 6, "both parts have six channels") };
    let (checked, checksum) =
        raw.get(..part.frame_bytes()).and_then(<[u8]>::split_last_chunk::<WORD_BYTES>).ok_or(Garbled)?;
    let [high, low, _] = *checksum;
    if CHECKSUM.checksum(checked) != u16::from_be_bytes([high, low]) {
        return Err(Garbled);
    }
    let mut words = checked.chunks_exact(WORD_BYTES);
    let answer = words.next().map_or(0, |word| (left_justified(word) >> 16) as u16);
    let mut counts = [0; C];
    for (count, word) in counts.iter_mut().zip(words) {
        // Shifting down again keeps the sign.
        *count = left_justified(word) as i32 >> 8;
    }
    Ok(Frame { answer, counts })
}

fn left_justified(word: &[u8]) -> u32 {
    match *word {
        [high, middle, low] => u32::from_be_bytes([high, middle, low, 0]),
        _ => 0,
    }
}
