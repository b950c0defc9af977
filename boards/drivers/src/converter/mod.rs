//! The converter: ADS131M08 (eight channels) or ADS131M06 (six) of Texas Instruments, 24 bits, all channels at one
//! instant, gains of 1 to 128 in the part.
//!
//! Register addresses, bits, words and times in this module are from memory of the data sheets SBAS950 (ADS131M08) and
//! SBAS951 (ADS131M06); where another driver says the same, a test compares the two. What could not be checked that
//! way is said where it stands, and the bring-up guide measures it.
//!
//! ```text
//! command bytes -> [SPI or DMA] -> raw frame -> Stream -> Sample -> Collector -> Block
//! ```
//!
//! - [`Stream`] is the whole conversation and does no input or output: it says which bytes to send and takes the raw
//!   bytes that came back, so a board may move them by DMA.
//! - [`Converter`] does the same over a blocking `SpiDevice`, and starts the part up.
//! - [`Collector`] makes blocks on one rung and without gaps, and notices channels that are stuck.

mod chip;
mod collector;
mod command;
mod device;
mod fault;
mod frame;
mod gain;
mod register;
mod status;
mod stream;

pub use chip::{Clock, Part, Rate};
pub use collector::{Collector, Filled};
pub use command::{Command, FRAME_BYTES};
pub use device::{Converter, SPI_MODE, Setup, StartError};
pub use fault::{Fault, Faults, Tally};
pub use frame::{Frame, Garbled, decode};
pub use gain::{FULL_SCALE_COUNTS, FULL_SCALE_V, Gain, Gains, SETTLE_SAMPLES};
pub use register::{Input, Register};
pub use status::Status;
pub use stream::{Sample, Stream};
