//! A satellite receiver that speaks NMEA 0183: bytes in, places with a sigma out.
//!
//! Fields are read in whole numbers: degrees in 32-bit floats are metres wide, and 64-bit floats are soft on a
//! microcontroller. Degrees are counted in billionths (0.1 mm), and only their differences become metres. The crate
//! `nmea`, which reads into 64-bit floats, is what the tests compare with.
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
