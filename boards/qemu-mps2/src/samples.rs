//! What the converter would deliver: 512 Hz and noise, from integers alone.

use nullwalk_core::frame::{Block, SampleIndex};

/// Channels of two 3-axis nodes.
pub const CHANNELS: usize = 6;
/// Frames a second.
pub const RATE_HZ: f32 = 8000.0;
/// The tone, whose 8 periods are 125 frames.
pub const TONE_HZ: f32 = 512.0;

const PERIOD: usize = 125;
const LONGEST_BLOCK: usize = 400;

/// Enough for a block to begin anywhere within the period.
static FRAMES: [[i32; CHANNELS]; PERIOD + LONGEST_BLOCK] = {
    let mut frames = [[0; CHANNELS]; PERIOD + LONGEST_BLOCK];
    let mut frame = 0;
    while frame < frames.len() {
        let mut channel = 0;
        while channel < CHANNELS {
            frames[frame][channel] = count((frame % PERIOD) as u32, channel as u32);
            channel += 1;
        }
        frame += 1;
    }
    frames
};

/// A triangle wave, weaker and later on each further channel, in noise of a few hundred counts.
const fn count(frame: u32, channel: u32) -> i32 {
    let period = PERIOD as u32;
    let phase = ((frame * 8 + channel * 9) % period) as i32;
    let half = PERIOD as i32 / 2;
    let triangle = (phase - half).abs() * 2 - half;
    let noise = (frame * CHANNELS as u32 + channel + 1).wrapping_mul(0x9e37_79b9);
    triangle * (20_000 >> channel) + ((noise >> 16) % 512) as i32 - 256
}

/// Lengths of successive blocks, over and over; the boxcars of the core, 40 frames, never fit.
const BLOCK_LENGTHS: [usize; 8] = [64, 173, 400, 256, 91, 320, 111, 185];
/// Number of blocks in one round of them, and of frames in all these.
pub const ROUND_BLOCKS: u32 = BLOCK_LENGTHS.len() as u32;
/// Frames in one round: 0.2 s.
pub const ROUND_FRAMES: u32 = 1600;
const _: () = {
    let mut sum = 0;
    let mut n = 0;
    while n < BLOCK_LENGTHS.len() {
        sum += BLOCK_LENGTHS[n];
        n += 1;
    }
    assert!(sum == ROUND_FRAMES as usize);
};

/// The block by number from `start` on; it leaves `start` where the next one begins.
pub fn next_block(number: u32, start: &mut SampleIndex) -> Block<'static, CHANNELS> {
    let length = BLOCK_LENGTHS[number as usize % BLOCK_LENGTHS.len()];
    let first = (*start % PERIOD as u64) as usize;
    let block = Block { frames: &FRAMES[first..first + length], start: *start, rung: 0 };
    *start += length as u64;
    block
}
