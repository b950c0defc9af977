//! The signal chain of a locate logger, from blocks of coil samples to a verdict.
//!
//! Samples go in at the top, a fix with its uncertainty comes out at the bottom:
//!
//! ```text
//! Block -> tone -> Phasors -> array -> Glimpse -> locate -> Guidance, Fix -> verdict
//! ```
//!
//! The crate has no heap, no unsafe code and no panicking path, and keeps to `f32` and integers.
//! Configuration is built once, validated, and never changes; state is a separate value that the
//! caller owns. Fields are in tesla, lengths in metres, angles in radians, amplitudes are peak values,
//! and a phasor `z` stands for `Re(z e^{+i w t})`.
#![no_std]
#![forbid(unsafe_code)]

pub mod array;
pub mod chi_square;
pub mod depth;
pub mod error;
pub mod extrema;
pub mod field;
pub mod fit;
pub mod frame;
pub mod gain;
pub mod grid;
pub mod instrument;
pub mod locate;
pub mod mains;
pub mod math;
pub mod paced;
mod pose;
pub mod record;
pub mod tone;
pub mod trace;
pub mod tuning;
pub mod verdict;
pub mod words;
