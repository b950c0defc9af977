//! Fixes, and why there is none.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use super::coded;
use super::plain::{self, Pair};
use crate::depth::{Depth, Unusable};
use crate::verdict::{Clue, Clues, Fix, Judgement, MAX_REASONS, Method, Place, Range95, Reason, Reasons};

/// A fix, as it is written.
#[derive(Serialize, Deserialize)]
pub struct Fixed {
    at: u64,
    /// East, north and their sigma.
    place: Option<(f32, f32, f32)>,
    lay_rad: Option<Pair>,
    /// By [`Method::ALL`]: the depth with its sigma, or the code of why there is none.
    depths: Vec<Result<Pair, u8>, { Method::ALL.len() }>,
    pitch_rad: Option<Pair>,
    moment_a_m2: Option<Pair>,
    /// By [`Clue::ALL`].
    clues: Vec<Option<f32>, { Clue::ALL.len() }>,
    verdict: u8,
    depth: Option<Pair>,
    range: Option<Pair>,
    shallow_m: Option<f32>,
    reasons: Why,
}

/// Reasons, as they are written.
#[derive(Serialize, Deserialize)]
pub struct Why {
    codes: Vec<u8, MAX_REASONS>,
    other_tone_hz: Option<f32>,
}

impl From<&Reasons> for Why {
    fn from(reasons: &Reasons) -> Self {
        let codes = plain::list(reasons.as_slice().iter().map(|&reason| coded::of_reason(reason)));
        let other_tone_hz = reasons.as_slice().iter().find_map(|reason| match reason {
            Reason::OtherTone(hz) => Some(*hz),
            _ => None,
        });
        Self { codes, other_tone_hz }
    }
}

impl Why {
    /// The reasons, unless one is not known.
    pub fn reasons(&self) -> Option<Reasons> {
        let mut reasons = Reasons::default();
        for &code in &self.codes {
            reasons.add(coded::reason(code, self.other_tone_hz.unwrap_or_default())?);
        }
        Some(reasons)
    }
}

impl From<&Fix> for Fixed {
    fn from(fix: &Fix) -> Self {
        let judgement = &fix.judgement;
        Self {
            at: fix.at,
            place: fix.place.map(|p| (p.east_m, p.north_m, p.sigma_m)),
            lay_rad: fix.lay_rad.map(plain::pair),
            depths: plain::list(fix.depths.iter().map(|depth| depth.map(pair).map_err(coded::of_unusable))),
            pitch_rad: fix.pitch_rad.map(plain::pair),
            moment_a_m2: fix.moment_a_m2.map(plain::pair),
            clues: plain::list(fix.clues.iter().copied()),
            verdict: coded::of_verdict(judgement.verdict),
            depth: judgement.depth.map(pair),
            range: judgement.range.map(|range| (range.low_m, range.high_m)),
            shallow_m: judgement.shallow_m,
            reasons: (&judgement.reasons).into(),
        }
    }
}

impl Fixed {
    /// The fix, unless something in it is not known.
    pub fn fix(&self) -> Option<Fix> {
        let mut depths = [Err(Unusable::NotMeasured); Method::ALL.len()];
        for (to, from) in depths.iter_mut().zip(&self.depths) {
            *to = match from {
                Ok(pair) => Ok(depth(*pair)),
                Err(code) => Err(coded::unusable(*code)?),
            };
        }
        let mut clues = Clues::default();
        for (to, from) in clues.iter_mut().zip(&self.clues) {
            *to = *from;
        }
        Some(Fix {
            at: self.at,
            place: self.place.map(|(east_m, north_m, sigma_m)| Place { east_m, north_m, sigma_m }),
            lay_rad: self.lay_rad.map(plain::measured),
            depths,
            pitch_rad: self.pitch_rad.map(plain::measured),
            moment_a_m2: self.moment_a_m2.map(plain::measured),
            clues,
            judgement: Judgement {
                verdict: coded::verdict(self.verdict)?,
                depth: self.depth.map(depth),
                range: self.range.map(|(low_m, high_m)| Range95 { low_m, high_m }),
                shallow_m: self.shallow_m,
                reasons: self.reasons.reasons()?,
            },
        })
    }
}

fn pair(depth: Depth) -> Pair {
    (depth.depth_m, depth.sigma_m)
}

fn depth((depth_m, sigma_m): Pair) -> Depth {
    Depth { depth_m, sigma_m }
}

pub fn write(fix: &Fix, out: &mut [u8]) -> Option<usize> {
    plain::write(&Fixed::from(fix), out)
}

pub fn read(bytes: &[u8]) -> Option<Fix> {
    plain::read::<Fixed>(bytes)?.fix()
}
