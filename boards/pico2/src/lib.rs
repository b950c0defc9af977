//! The handset on a Raspberry Pi Pico 2 (RP2350): what of it can be tested on a desk.
//!
//! ```text
//! wiring    which pin goes where, once
//! fitting   what the handset is made of: rate, ladder, coils, battery, where the book stands
//! nor       the flash that keeps the field book
//! pitch     the headphones' timer
//! ```
//!
//! The firmware itself is in the binary of the same name. On the host, that prints what to read while bringing a board
//! up.
#![no_std]

pub mod fitting;
pub mod nor;
pub mod pitch;
pub mod wiring;
