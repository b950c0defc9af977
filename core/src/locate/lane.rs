//! One straight leg of the walk: peaks and nulls of the field's three components along it.

use glam::{Vec2, Vec3};
use heapless::Vec;

use super::step::Step;
use super::summit::closest_approach;
use crate::array::{Glimpse, NodeField};
use crate::extrema::{Extrema, Feature, Kind, Prominence};
use crate::frame::{Position, heading_rotation};
use crate::looking::GAIT_SIGMA;
use crate::math;
use crate::tone::Overlap;

/// Glimpses remembered to place features: as many as the extrema remember.
const MEMORY: usize = 128;
/// Features remembered for each component.
const FEATURES: usize = 8;
/// A lane ends when the mast turns further than this from its first heading, radians.
const STRAIGHT_RAD: f32 = 0.6;
/// A source is hardly ever nearer than 0.2 m: what seems closer than this is noise, per metre.
const CLOSEST_PER_M: f32 = 5.0;
/// The component must hold at least this share of the horizontal field at its peak to say where that is.
const MAIN_SHARE: f32 = 0.5;

/// A feature with its place on the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// What was found, in the stream of the lane's glimpses.
    pub feature: Feature,
    /// Where, if positions are known.
    pub place: Option<Position>,
    /// Field there, in the lane's frame (x along the lane, y left, z up), tesla.
    pub field_t: Vec3,
}

/// A pass along the source: both nulls of the forward component with its peak between them.
#[derive(Debug, Clone, PartialEq)]
pub struct Along {
    /// The two nulls, in the order walked.
    pub nulls: [Spot; 2],
    /// The peak between them.
    pub peak: Spot,
    /// The null of the vertical component between them.
    pub vertical_null: Option<Spot>,
    /// The vertical extrema on both sides of that null.
    pub vertical_extrema: Option<[Spot; 2]>,
    /// Direction of the forward component, site frame; `None` without headings.
    pub forward: Option<Vec2>,
    /// Height to which all fields were brought, site frame, metres; `None` without positions.
    pub height_m: Option<f32>,
    pose_sigma_m: f32,
}

impl Along {
    /// Claimed uncertainty of the positions walked by, metres.
    pub(super) fn pose_sigma_m(&self) -> f32 {
        self.pose_sigma_m
    }
}

/// A pass across the source: the closest approach, from the component athwart the lane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Across {
    /// Where the lane came closest.
    pub place: Position,
    /// Field there, tesla.
    pub field_t: f32,
    /// Direction walked, in the site frame.
    pub direction: Vec2,
}

/// A lane in progress.
#[derive(Debug, Clone)]
pub struct Lane {
    heading_rad: Option<f32>,
    spacing_m: Option<f32>,
    overlap: Overlap,
    /// Where the lane began, and the last place on it.
    ends: Option<[Vec3; 2]>,
    forward: Extrema,
    left: Extrema,
    vertical: Extrema,
    steps: [Step; MEMORY],
    forward_spots: Vec<Spot, FEATURES>,
    left_spots: Vec<Spot, FEATURES>,
    vertical_spots: Vec<Spot, FEATURES>,
}

impl Lane {
    /// A lane that has not begun, for nodes `spacing_m` apart if they are stacked.
    pub fn new(spacing_m: Option<f32>, overlap: Overlap) -> Self {
        let search = || Extrema::new(Prominence::default(), overlap).with_jitter(GAIT_SIGMA);
        Self {
            heading_rad: None,
            spacing_m,
            overlap,
            ends: None,
            forward: search(),
            left: search(),
            vertical: search(),
            steps: [Step::default(); MEMORY],
            forward_spots: Vec::new(),
            left_spots: Vec::new(),
            vertical_spots: Vec::new(),
        }
    }

    /// Whether anything was taken in.
    pub fn has_begun(&self) -> bool {
        self.forward.count() > 0
    }

    /// Whether a mast with this heading, moving by `velocity`, is still on the lane.
    pub fn continues(&self, heading_rad: Option<f32>, velocity: Option<Vec2>) -> bool {
        let ahead = match (self.heading_rad, heading_rad) {
            (Some(first), Some(now)) => math::wrap_pi(now - first).abs() < STRAIGHT_RAD,
            _ => true,
        };
        let onward = match (self.ends, velocity) {
            (Some([first, last]), Some(velocity)) => {
                let course = (last - first).truncate();
                course.dot(velocity) >= -0.5 * course.length() * velocity.length()
            }
            _ => true,
        };
        ahead && onward
    }

    /// Take in a glimpse.
    pub fn push(&mut self, glimpse: &Glimpse) {
        if !self.has_begun() {
            self.heading_rad = glimpse.mast.heading_rad;
        }
        // A mast that sways in heading is turned back to the lane's own direction.
        let swayed = match (self.heading_rad, glimpse.mast.heading_rad) {
            (Some(first), Some(now)) => math::wrap_pi(now - first),
            _ => 0.0,
        };
        let (s, c) = math::sin_cos(swayed);
        let lower = glimpse.lower();
        if let Some(position) = glimpse.mast.position {
            let [_, last] = self.ends.get_or_insert([position.enu_m; 2]);
            *last = position.enu_m;
        }
        let f = lower.field_t * self.height_factor(glimpse);
        // Headings turn clockwise: what is ahead of a mast turned right is ahead and to the right of the lane.
        let field_t = Vec3::new(c * f.x + s * f.y, c * f.y - s * f.x, f.z);
        self.steps[self.forward.count() as usize % MEMORY] =
            Step { position: glimpse.mast.position, field_t, sigma_t: lower.sigma_t };
        let steps = &self.steps;
        for (search, spots, value) in [
            (&mut self.forward, &mut self.forward_spots, field_t.x),
            (&mut self.left, &mut self.left_spots, field_t.y),
            (&mut self.vertical, &mut self.vertical_spots, field_t.z),
        ] {
            search.push(value, lower.sigma_t, |feature| keep(spots, spot(steps, feature)));
        }
    }

    /// A mast that bobs sees the field rise and fall by 3/d for every metre. This factor takes a field to the
    /// height at which the lane began, by the inverse cube that the two nodes show.
    fn height_factor(&self, glimpse: &Glimpse) -> f32 {
        let [lower, upper] = glimpse.nodes.as_slice() else { return 1.0 };
        let (Some([first, now]), Some(spacing_m)) = (self.ends, self.spacing_m) else { return 1.0 };
        let strength = |node: &NodeField| node.field_t.length().max(node.sigma_t);
        let root = math::cbrt(strength(lower) / strength(upper).max(f32::MIN_POSITIVE));
        let closeness_per_m = ((root - 1.0) / spacing_m).clamp(0.0, CLOSEST_PER_M);
        let rise = (closeness_per_m * (now.z - first.z)).clamp(-0.15, 0.15);
        (1.0 + rise) * (1.0 + rise) * (1.0 + rise)
    }

    /// The strongest bracket so far.
    pub fn along(&self) -> Option<Along> {
        let mut best: Option<Along> = None;
        let nulls = || self.forward_spots.iter().filter(|s| s.feature.kind == Kind::Null);
        for (&first, &second) in nulls().zip(nulls().skip(1)) {
            let between = |s: &&Spot| order(&first, s) && order(s, &second);
            let peaks = self.forward_spots.iter().filter(|s| s.feature.kind != Kind::Null).filter(between);
            let Some(&peak) = peaks.max_by(|a, b| a.feature.value.abs().total_cmp(&b.feature.value.abs()))
            else {
                continue;
            };
            let stronger =
                best.as_ref().is_none_or(|b| peak.feature.value.abs() > b.peak.feature.value.abs());
            if !stronger || !is_main(&peak, peak.field_t.x) {
                continue;
            }
            let vertical_null =
                self.vertical_spots.iter().filter(|s| s.feature.kind == Kind::Null).find(between).copied();
            best = Some(Along {
                nulls: [first, second],
                peak,
                vertical_null,
                vertical_extrema: vertical_null.and_then(|v| self.vertical_pair(&v)),
                forward: self.heading_rad.map(|heading| (heading_rotation(heading) * Vec3::X).truncate()),
                height_m: self.ends.map(|[first, _]| first.z),
                pose_sigma_m: self.steps[peak.feature.index as usize % MEMORY]
                    .position
                    .map_or(0.0, |p| p.sigma_m),
            });
        }
        best
    }

    /// The vertical extrema next to a null on both sides.
    fn vertical_pair(&self, null: &Spot) -> Option<[Spot; 2]> {
        let extrema = || self.vertical_spots.iter().filter(|s| s.feature.kind != Kind::Null);
        let before = extrema().rfind(|s| order(s, null))?;
        let after = extrema().find(|s| order(null, s))?;
        Some([*before, *after])
    }

    /// The closest approach to the source, by the strongest peak athwart the lane.
    pub fn across(&self) -> Option<Across> {
        let last = self.left.count().checked_sub(1)?;
        let peak = self
            .left_spots
            .iter()
            .filter(|s| s.feature.kind != Kind::Null && is_main(s, s.field_t.y))
            .max_by(|a, b| a.feature.value.abs().total_cmp(&b.feature.value.abs()))?;
        let direction = direction(&self.steps, peak.feature.index, last)?;
        let oldest = (last + 1).saturating_sub(MEMORY as u32);
        let at = |index: u32| (oldest..=last).contains(&index).then(|| self.steps[index as usize % MEMORY]);
        let summit = at(peak.feature.index)?;
        let place = closest_approach(at, peak.feature.index, direction, self.overlap.inflation)?;
        Some(Across { place, field_t: summit.field_t.y, direction })
    }
}

/// Keep the latest features; the oldest gives way.
fn keep(spots: &mut Vec<Spot, FEATURES>, spot: Spot) {
    if spots.is_full() {
        spots.rotate_left(1);
        spots.pop();
    }
    // There is room: the oldest has just gone.
    let _ = spots.push(spot);
}

fn along_stream(feature: &Feature) -> f32 {
    feature.index as f32 + feature.fraction
}

/// Whether one spot comes before another.
fn order(a: &Spot, b: &Spot) -> bool {
    along_stream(&a.feature) < along_stream(&b.feature)
}

fn is_main(spot: &Spot, component: f32) -> bool {
    let f = spot.field_t;
    component * component > MAIN_SHARE * (f.x * f.x + f.y * f.y)
}

/// Place a feature by interpolating between the glimpses beside it.
fn spot(steps: &[Step; MEMORY], feature: Feature) -> Spot {
    let whole = libm::floorf(feature.fraction);
    let index = feature.index.wrapping_add_signed(whole as i32);
    let part = feature.fraction - whole;
    let [a, b] = [steps[index as usize % MEMORY], steps[index.wrapping_add(1) as usize % MEMORY]];
    let place = match (a.position, b.position) {
        (Some(a), Some(b)) => {
            let pace_m = a.enu_m.distance(b.enu_m);
            let blur_m = pace_m * feature.sigma_samples;
            let sigma_m = math::sqrt(a.sigma_m * a.sigma_m + blur_m * blur_m);
            Some(Position { enu_m: a.enu_m + (b.enu_m - a.enu_m) * part, sigma_m })
        }
        _ => None,
    };
    Spot { feature, place, field_t: a.field_t + (b.field_t - a.field_t) * part }
}

/// Direction of walking about a glimpse, from the positions half a second before and after.
fn direction(steps: &[Step; MEMORY], index: u32, last: u32) -> Option<Vec2> {
    let at = |i: u32| steps[i as usize % MEMORY].position;
    let (from, to) = (at(index.saturating_sub(5))?, at(index.wrapping_add(5).min(last))?);
    (to.enu_m - from.enu_m).truncate().try_normalize()
}
