//! From bytes to places.

use super::{Cut, Gga, Gst, Lines, Quality, Sentence};

/// An opinion of the error holds for places so near in time, milliseconds.
const TOGETHER_MS: u32 = 2500;
const DAY_MS: u32 = 86_400_000;

/// A place, and how good it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// What the receiver said.
    pub gga: Gga,
    /// Standard uncertainty of each horizontal coordinate, metres.
    pub sigma_m: f32,
    /// Whether the receiver gave that itself; else it is rated by how the place was found.
    pub is_own_sigma: bool,
}

/// Lines counted since the beginning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Heard {
    /// Sound ones.
    pub sound: u32,
    /// Garbled ones, wrong checksums included.
    pub garbled: u32,
    /// Longer than any sentence.
    pub overlong: u32,
}

/// Listens to a receiver, byte by byte.
///
/// ```
/// use nullwalk_drivers::gnss::Receiver;
/// let mut receiver = Receiver::default();
/// let bytes = b"$GPGGA,123519,4807.038,N,01131.324,E,4,08,0.9,545.4,M,46.9,M,,*47\r\n";
/// let place = bytes.iter().find_map(|byte| receiver.push(*byte)).unwrap();
/// assert_eq!((place.sigma_m, receiver.heard().sound), (0.03, 1));
/// ```
#[derive(Debug, Clone, Default)]
pub struct Receiver {
    lines: Lines,
    error: Option<Gst>,
    utc_s: Option<u64>,
    heard: Heard,
}

impl Receiver {
    /// Take in a byte; a place when it finished one.
    pub fn push(&mut self, byte: u8) -> Option<Place> {
        let count = match self.lines.push(byte) {
            Ok(false) => return None,
            Ok(true) => match Sentence::read(self.lines.line()) {
                Ok(sentence) => {
                    self.heard.sound = self.heard.sound.saturating_add(1);
                    return self.hear(sentence);
                }
                Err(_) => &mut self.heard.garbled,
            },
            Err(Cut::Garbled) => &mut self.heard.garbled,
            Err(Cut::Overlong) => &mut self.heard.overlong,
        };
        *count = count.saturating_add(1);
        None
    }

    /// Lines counted since the beginning.
    pub const fn heard(&self) -> Heard {
        self.heard
    }

    /// Date and time since this was last asked, if any were told: seconds since 1970, UTC.
    pub fn take_utc(&mut self) -> Option<u64> {
        self.utc_s.take()
    }

    fn hear(&mut self, sentence: Sentence) -> Option<Place> {
        match sentence {
            Sentence::Gst(error) => {
                self.error = Some(error);
                None
            }
            Sentence::Gga(gga) => {
                let own = self.error.filter(|error| apart_ms(error.time_ms, gga.time_ms) <= TOGETHER_MS);
                let sigma_m = own.map_or_else(|| rated_m(&gga), |error| error.sigma_mm as f32 * 1e-3);
                Some(Place { gga, sigma_m, is_own_sigma: own.is_some() })
            }
            Sentence::Rmc(utc_s) => {
                self.utc_s = Some(utc_s);
                None
            }
            Sentence::NotYet | Sentence::Other => None,
        }
    }
}

/// Time between two times of day, over midnight too.
fn apart_ms(a: u32, b: u32) -> u32 {
    let apart = a.abs_diff(b);
    apart.min(DAY_MS.saturating_sub(apart))
}

/// A sigma for a place whose receiver gives none, metres: what receivers of each kind do under open sky (common
/// practice, no source), and more where the satellites stand badly. Trees and walls are not in it.
fn rated_m(gga: &Gga) -> f32 {
    let open_sky_m = match gga.quality {
        Quality::Alone => 4.0,
        Quality::Corrected => 1.5,
        Quality::Float => 0.5,
        Quality::Fixed => 0.03,
    };
    open_sky_m * (gga.hdop_centi as f32 * 0.01).max(1.0)
}
