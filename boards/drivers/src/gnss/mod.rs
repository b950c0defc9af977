//! A satellite receiver that speaks NMEA 0183: bytes in, places with a sigma out.
//!
//! The crate `nmea` takes sentences apart and knows their checksum; the fields are read here in whole numbers, since
//! degrees in 32-bit floats are metres wide and 64-bit floats are soft on a microcontroller. Degrees are counted in
//! billionths (0.1 mm), only their differences become metres.
//!
//! A place belongs to the time of its sentence, some tenths of a second before it arrives; at a walk that is a
//! decimetre. And satellites' errors wander slowly: standing still and averaging does not make them smaller.

mod field;
mod line;
mod mast;
mod receiver;
mod sentence;
mod site;

pub use line::{Cut, Lines};
pub use mast::lower_node;
pub use receiver::{Heard, Place, Receiver};
pub use sentence::{Gga, Gst, Quality, Sentence, Unreadable};
pub use site::{FARTHEST_M, Origin};
