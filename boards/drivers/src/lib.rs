//! Drivers of the logger's parts on `embedded-hal`: what they deliver are the core's own inputs.
//!
//! ```text
//! converter -> frame::Block     tilt, gnss -> frame::MastReading     locate::Sound -> sounder
//! ```
//!
//! Time is always an input, so that everything here runs on a desk as it does in the hand. What a part does wrong
//! comes out as data, never as a panic.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod battery;
pub mod buttons;
pub mod converter;
pub mod gnss;
pub mod sounder;
pub mod tilt;
