//! What has gone by: the signal over time, and the walk. Both take bounded memory.

use std::collections::VecDeque;

use glam::Vec2;
use nullwalk_core::tone::Marks;

use super::update::Update;

/// Hops that are remembered: an hour of ten a second.
const HOPS: usize = 36_000;
/// Places that are remembered of a walk.
const PLACES: usize = 4096;
/// They are so far apart at first, metres.
const STEP_M: f32 = 0.05;

/// What one hop left behind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// When, seconds.
    pub time_s: f64,
    /// Field at the lower and the upper node, nanotesla; zero where there is none.
    pub nodes_nt: [[f32; 3]; 2],
    /// Rung in force.
    pub rung: Option<u8>,
    /// Largest sample as a share of the rail.
    pub peak: Option<f32>,
    /// What happened to the samples.
    pub marks: Marks,
}

impl Point {
    /// Strength of the field at a node.
    pub fn strength_nt(&self, node: usize) -> f32 {
        let field = self.nodes_nt.get(node).copied().unwrap_or_default();
        field.iter().map(|b| b * b).sum::<f32>().sqrt()
    }
}

/// The signal over time.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct History {
    points: VecDeque<Point>,
}

impl History {
    /// Take the next hop in.
    pub fn push(&mut self, update: &Update) {
        if self.points.len() == HOPS {
            self.points.pop_front();
        }
        let node = |n: usize| update.nodes_nt.get(n).copied().unwrap_or_default();
        self.points.push_back(Point {
            time_s: update.time_s,
            nodes_nt: [node(0), node(1)],
            rung: update.rung,
            peak: update.peak,
            marks: update.marks,
        });
    }

    /// What there is from `from_s` on, in order.
    pub fn since(&self, from_s: f64) -> impl Iterator<Item = &Point> {
        let first = self.points.partition_point(|point| point.time_s < from_s);
        self.points.range(first..)
    }

    /// How much is remembered.
    pub fn len(&self) -> usize {
        self.points.len()
    }

    /// Whether nothing is.
    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }
}

/// Where the mast was carried.
#[derive(Debug, Clone, PartialEq)]
pub struct Trail {
    places_m: Vec<Vec2>,
    step_m: f32,
}

impl Default for Trail {
    fn default() -> Self {
        Self { places_m: Vec::new(), step_m: STEP_M }
    }
}

impl Trail {
    /// The mast is here now.
    pub fn push(&mut self, place_m: Vec2) {
        let moved = self.places_m.last().is_none_or(|last| last.distance(place_m) >= self.step_m);
        if !moved || !place_m.is_finite() {
            return;
        }
        if self.places_m.len() == PLACES {
            let mut keep = false;
            self.places_m.retain(|_| {
                keep = !keep;
                keep
            });
            self.step_m *= 2.0;
        }
        self.places_m.push(place_m);
    }

    /// Places east and north in their order, metres.
    pub fn places_m(&self) -> &[Vec2] {
        &self.places_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_walk_of_any_length_takes_bounded_memory_and_keeps_its_ends() {
        let mut trail = Trail::default();
        let last = Vec2::new(5000.0, 0.0);
        for n in 0..=100_000 {
            trail.push(Vec2::new(0.05 * n as f32, 0.0));
        }
        let places = trail.places_m();
        assert!((1000..=PLACES).contains(&places.len()), "{}", places.len());
        assert_eq!(places.first(), Some(&Vec2::ZERO));
        assert!(places.last().is_some_and(|p| p.distance(last) < 5.0));
    }

    #[test]
    fn standing_still_adds_nothing() {
        let mut trail = Trail::default();
        for n in 0..100 {
            trail.push(Vec2::splat(0.001 * (n % 3) as f32));
        }
        trail.push(Vec2::NAN);
        assert_eq!(trail.places_m().len(), 1);
    }
}
