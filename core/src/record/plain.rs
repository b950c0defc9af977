//! Parts that several payloads share, as they are written: numbers, lists and options, in a fixed order.

use glam::Vec3;
use heapless::Vec;
use postcard::ser_flavors::Flavor;
use serde::{Deserialize, Serialize};

use crate::depth::Measured;
use crate::frame::{MastReading, Position, Tilt};
use crate::tone::Marks;

/// Serialise a payload; `None` where there is no room.
pub fn write(payload: &impl Serialize, out: &mut [u8]) -> Option<usize> {
    postcard::serialize_with_flavor(payload, Sheet { out, wanted: 0 }).ok()
}

/// A buffer being written to. It is out of room only at the end: an error looked for after every field of every
/// record, and bytes copied in line, cost a third more flash.
struct Sheet<'a> {
    out: &'a mut [u8],
    wanted: usize,
}

impl Sheet<'_> {
    #[inline(never)]
    fn put(&mut self, byte: u8) {
        if let Some(place) = self.out.get_mut(self.wanted) {
            *place = byte;
        }
        self.wanted = self.wanted.saturating_add(1);
    }

    #[inline(never)]
    fn put_all(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.put(byte);
        }
    }
}

impl Flavor for Sheet<'_> {
    type Output = usize;

    fn try_push(&mut self, byte: u8) -> postcard::Result<()> {
        self.put(byte);
        Ok(())
    }

    fn try_extend(&mut self, bytes: &[u8]) -> postcard::Result<()> {
        self.put_all(bytes);
        Ok(())
    }

    fn finalize(self) -> postcard::Result<usize> {
        let fits = self.wanted <= self.out.len();
        fits.then_some(self.wanted).ok_or(postcard::Error::SerializeBufferFull)
    }
}

/// Deserialise a payload. What follows it was added by a later writer, and is passed over.
pub fn read<'a, T: Deserialize<'a>>(bytes: &'a [u8]) -> Option<T> {
    postcard::take_from_bytes(bytes).ok().map(|(payload, _)| payload)
}

/// As many items as there is room for. (Collecting them would panic on one too many.)
pub fn list<T, const N: usize>(items: impl Iterator<Item = T>) -> Vec<T, N> {
    let mut list = Vec::new();
    for item in items {
        if list.push(item).is_err() {
            break;
        }
    }
    list
}

/// A value and its sigma.
pub type Pair = (f32, f32);

/// As a pair.
pub fn pair(measured: Measured) -> Pair {
    (measured.value, measured.sigma)
}

/// From a pair.
pub fn measured((value, sigma): Pair) -> Measured {
    Measured { value, sigma }
}

/// How the mast was held.
#[derive(Serialize, Deserialize)]
pub struct Mast {
    /// East, north, up and their sigma.
    position: Option<(f32, f32, f32, f32)>,
    heading_rad: Option<f32>,
    /// Pitch and roll.
    tilt_rad: Option<Pair>,
}

impl From<MastReading> for Mast {
    fn from(mast: MastReading) -> Self {
        let position = mast.position.map(|Position { enu_m: p, sigma_m }| (p.x, p.y, p.z, sigma_m));
        let tilt_rad = mast.tilt.map(|tilt| (tilt.pitch_rad, tilt.roll_rad));
        Self { position, heading_rad: mast.heading_rad, tilt_rad }
    }
}

impl Mast {
    /// The reading.
    pub fn reading(self) -> MastReading {
        let position = |(x, y, z, sigma_m)| Position { enu_m: Vec3::new(x, y, z), sigma_m };
        MastReading {
            position: self.position.map(position),
            heading_rad: self.heading_rad,
            tilt: self.tilt_rad.map(|(pitch_rad, roll_rad)| Tilt { pitch_rad, roll_rad }),
        }
    }
}

/// Marks as bits, from the lowest: clipped, settling, impulses, gap.
pub fn bits_of(marks: Marks) -> u8 {
    u8::from(marks.clipped)
        | u8::from(marks.settling) << 1
        | u8::from(marks.impulses) << 2
        | u8::from(marks.gap) << 3
}

/// The marks behind bits.
pub fn marks(bits: u8) -> Marks {
    Marks { clipped: bits & 1 != 0, settling: bits & 2 != 0, impulses: bits & 4 != 0, gap: bits & 8 != 0 }
}
