//! How the mast was held while a window of samples was taken.
//!
//! A phasor is a weighted mean over 0.6 s, and a mast in the hand walks, nods and bobs meanwhile. So the field
//! belongs to the mean pose under the same weights, not to the pose of one instant: a footfall that jolts the tilt
//! sensor in the middle of the window hardly moves the field that the window sees.

use core::f32::consts::TAU;
use core::ops::Add;

use glam::{Vec2, Vec3};
use heapless::Deque;

use crate::frame::{MastReading, Position, SampleIndex, Tilt};
use crate::mains::Mains;
use crate::math;
use crate::tone::{HOP_BOXCARS, HOPS, Tone};

/// Readings remembered: at 20 a second those of more than two seconds, at 100 those of one window.
const MEMORY: usize = 64;
/// Points of the window at which the pose is looked up.
const POINTS: usize = 12;
const BOXCARS_PER_POINT: usize = HOPS * HOP_BOXCARS / POINTS;

/// The latest mast readings, oldest first.
#[derive(Debug, Clone, Default)]
pub struct Readings(Deque<Reading, MEMORY>);

impl Readings {
    /// Take in the reading that holds at sample `at`.
    pub fn push(&mut self, at: SampleIndex, reading: MastReading) {
        if self.0.is_full() {
            self.0.pop_front();
        }
        // There is room: the oldest has just gone.
        let _ = self.0.push_back((at, reading));
    }

    /// Goes through the poses of later and later samples.
    fn cursor(&self) -> Cursor<'_> {
        let mut later = self.0.iter();
        Cursor { before: None, after: later.next(), later }
    }
}

type Reading = (SampleIndex, MastReading);

/// The readings before and after the sample last looked at, and those later still.
struct Cursor<'a> {
    before: Option<&'a Reading>,
    after: Option<&'a Reading>,
    later: heapless::deque::Iter<'a, Reading>,
}

impl Cursor<'_> {
    /// The pose at a sample, between the readings before and after it; outside them, the nearest.
    fn at(&mut self, at: SampleIndex) -> MastReading {
        while let Some(reading) = self.after.filter(|(index, _)| *index <= at) {
            self.before = Some(reading);
            self.after = self.later.next();
        }
        match (self.before, self.after) {
            (Some(&(from, earlier)), Some(&(to, later))) => {
                let share = at.wrapping_sub(from) as f32 / to.wrapping_sub(from) as f32;
                between(earlier, later, share)
            }
            (Some((_, nearest)), None) | (None, Some((_, nearest))) => *nearest,
            (None, None) => MastReading::default(),
        }
    }
}

/// The window's weights, as far as a pose needs them.
#[derive(Debug, Clone)]
pub struct Shutter {
    weights: [f32; POINTS],
    point_samples: u64,
}

impl Shutter {
    /// The weights with which `tone` sees the field.
    pub fn new(tone: &Tone) -> Self {
        let mut weights = [0.0; POINTS];
        for (weight, taps) in weights.iter_mut().zip(tone.taps().chunks(BOXCARS_PER_POINT)) {
            *weight = taps.iter().sum();
        }
        let point_samples = u64::from(tone.boxcar_samples()) * BOXCARS_PER_POINT as u64;
        Self { weights, point_samples }
    }

    /// The weights with which `mains` sees it: those of a Hann window over two hops.
    pub fn of_mains(mains: &Mains) -> Self {
        let mut weights = [0.0; POINTS];
        for (n, weight) in weights.iter_mut().enumerate() {
            let (_, c) = math::sin_cos(TAU * (n as f32 + 0.5) / POINTS as f32);
            *weight = (1.0 - c) / POINTS as f32;
        }
        Self { weights, point_samples: u64::from(mains.hop_samples()) * 2 / POINTS as u64 }
    }

    /// The mean pose over the window about `centre`. A quantity that some reading lacks is that of the centre.
    pub fn mean(&self, readings: &Readings, centre: SampleIndex) -> MastReading {
        let middle = readings.cursor().at(centre);
        let mut cursor = readings.cursor();
        let mut moved_m = Some(Vec3::ZERO);
        let mut turned_rad = Some(0.0);
        let mut tilted_rad = Some(Vec2::ZERO);
        let mut point = centre.saturating_sub(self.point_samples * (POINTS as u64 - 1) / 2);
        for &weight in &self.weights {
            let now = cursor.at(point);
            moved_m = sum(moved_m, now.position, middle.position, |p, m| (p.enu_m - m.enu_m) * weight);
            turned_rad =
                sum(turned_rad, now.heading_rad, middle.heading_rad, |h, m| math::wrap_pi(h - m) * weight);
            tilted_rad = sum(tilted_rad, now.tilt, middle.tilt, |t, m| (angles(t) - angles(m)) * weight);
            point = point.saturating_add(self.point_samples);
        }
        let (moved_m, tilted_rad) = (moved_m.unwrap_or_default(), tilted_rad.unwrap_or_default());
        MastReading {
            position: middle.position.map(|p| Position { enu_m: p.enu_m + moved_m, ..p }),
            heading_rad: middle.heading_rad.map(|h| h + turned_rad.unwrap_or_default()),
            tilt: middle.tilt.map(|t| Tilt {
                pitch_rad: t.pitch_rad + tilted_rad.x,
                roll_rad: t.roll_rad + tilted_rad.y,
            }),
        }
    }
}

fn angles(tilt: Tilt) -> Vec2 {
    Vec2::new(tilt.pitch_rad, tilt.roll_rad)
}

/// A sum and the next term, unless something is lacking.
fn sum<S: Add<Output = S>, T>(
    sum: Option<S>,
    now: Option<T>,
    middle: Option<T>,
    term: impl FnOnce(T, T) -> S,
) -> Option<S> {
    Some(sum? + term(now?, middle?))
}

/// A reading part of the way from one to the next; what either lacks is lacking.
fn between(a: MastReading, b: MastReading, share: f32) -> MastReading {
    let mix = |x: f32, y: f32| x + (y - x) * share;
    let position = a.position.zip(b.position).map(|(p, q)| Position {
        enu_m: p.enu_m + (q.enu_m - p.enu_m) * Vec3::splat(share),
        sigma_m: mix(p.sigma_m, q.sigma_m),
    });
    let heading_rad = a.heading_rad.zip(b.heading_rad).map(|(h, g)| h + math::wrap_pi(g - h) * share);
    let tilt = a.tilt.zip(b.tilt).map(|(t, u)| Tilt {
        pitch_rad: mix(t.pitch_rad, u.pitch_rad),
        roll_rad: mix(t.roll_rad, u.roll_rad),
    });
    MastReading { position, heading_rad, tilt }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f32 = 8000.0;

    /// Readings of a mast twenty times a second for two seconds.
    fn readings(pose: impl Fn(f32) -> MastReading) -> Readings {
        let mut readings = Readings::default();
        for n in 0..40 {
            readings.push(n * 400, pose(n as f32 * 400.0 / RATE_HZ));
        }
        readings
    }

    fn mean(readings: &Readings) -> MastReading {
        Shutter::new(&Tone::new(512.0, RATE_HZ).unwrap()).mean(readings, 8000)
    }

    fn pitched(pitch_rad: f32) -> MastReading {
        MastReading { tilt: Some(Tilt { pitch_rad, roll_rad: -pitch_rad }), ..MastReading::default() }
    }

    #[test]
    fn a_steady_walk_is_where_it_is_at_the_centre() {
        let walk = |t: f32| MastReading {
            position: Some(Position { enu_m: Vec3::new(0.6 * t, -0.3 * t, 0.2), sigma_m: 0.02 }),
            heading_rad: Some(6.0 + 0.5 * t),
            tilt: None,
        };
        let mean = mean(&readings(walk));
        assert!((mean.position.unwrap().enu_m - Vec3::new(0.6, -0.3, 0.2)).length() < 1e-3);
        assert!((mean.heading_rad.unwrap() - 6.5).abs() < 1e-3);
        assert_eq!(mean.tilt, None);
    }

    #[test]
    fn a_heading_that_passes_north_does_not_turn_round() {
        let turn = |t: f32| MastReading {
            heading_rad: Some((6.0 + 0.3 * t).rem_euclid(TAU)),
            ..MastReading::default()
        };
        let off = mean(&readings(turn)).heading_rad.unwrap() - 6.3;
        assert!(math::wrap_pi(off).abs() < 1e-3, "{off}");
    }

    #[test]
    fn fast_nods_are_seen_as_the_window_sees_them() {
        // 8 Hz is in the window's stop band: what is left of it is well below what the centre alone shows.
        for phase in [0.0, 0.25, 0.5, 0.75] {
            let nod = |t: f32| pitched(0.01 * (TAU * (8.0 * t + phase)).sin());
            let pitch = mean(&readings(nod)).tilt.unwrap().pitch_rad;
            assert!(pitch.abs() < 0.002, "{pitch}");
        }
        // Slow swaying passes: to the second order the window leaves no bias.
        let sway = |t: f32| pitched(0.02 * (TAU * 0.6 * t).cos());
        let pitch = mean(&readings(sway)).tilt.unwrap().pitch_rad;
        assert!((pitch - 0.02 * (TAU * 0.6).cos()).abs() < 3e-4, "{pitch}");
    }

    #[test]
    fn the_window_of_mains_is_shorter() {
        let mains = Mains::new(RATE_HZ).unwrap();
        let shutter = Shutter::of_mains(&mains);
        assert!((shutter.weights.iter().sum::<f32>() - 1.0).abs() < 1e-6);
        let walk = |t: f32| pitched(0.1 * (t - 1.0) * (t - 1.0));
        // A Hann window of length T has the variance T^2 (1/12 - 1/(2 pi^2)): 0.0013 s2 of 0.2 s.
        let pitch = shutter.mean(&readings(walk), 8000).tilt.unwrap().pitch_rad;
        assert!((pitch - 1.3e-4).abs() < 5e-5, "{pitch}");
    }

    #[test]
    fn a_missing_reading_leaves_the_centre() {
        let mut readings = readings(|t| pitched(0.01 * t));
        readings.push(16_000, MastReading::default());
        let shutter = Shutter::new(&Tone::new(512.0, RATE_HZ).unwrap());
        let last = shutter.mean(&readings, 14_000).tilt.unwrap().pitch_rad;
        assert!((last - 0.0175).abs() < 1e-4, "{last}");
    }
}
