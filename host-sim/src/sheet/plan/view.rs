//! From the site to the paper: which way it lies there, how large and where.

use glam::DVec2;

use super::spots::Spot;
use crate::sheet::brief::TieLine;
use crate::sheet::draw::{Labels, WIDTH_MM};
use crate::sheet::options::Units;
use crate::sheet::scale;

const SHORTEST_MM: f64 = 46.0;
/// From the edge of the zone to a label, and from a mark to a label where there is no zone.
pub const LABEL_GAP_MM: f64 = 1.8;
pub const LABEL_STAND_OFF_MM: f64 = 4.0;

/// From the site to the paper.
pub struct View {
    pub mm_per_m: f64,
    pub ratio: f64,
    /// Site coordinates of the upper left corner of the frame.
    pub corner_m: DVec2,
    pub height_mm: f64,
    /// Directions in which east and north run on the paper.
    pub axes: Axes,
    pub labels: Labels,
    /// The way in which labels are led off the run: square to it, as far as paper goes upwards.
    pub up: DVec2,
    pub units: Units,
}

/// How the site lies on the paper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Axes {
    NorthUp,
    NorthRight,
}

impl Axes {
    /// Metres east and north as metres right and down, and the other way round: both turns undo
    /// themselves.
    pub fn turn(self, m: DVec2) -> DVec2 {
        match self {
            Self::NorthUp => DVec2::new(m.x, -m.y),
            Self::NorthRight => DVec2::new(m.y, m.x),
        }
    }
}

impl View {
    /// The plan grows as tall as `tallest_mm` before the scale is reduced.
    pub fn around(spots: &[Spot<'_>], ties: &[(DVec2, &TieLine)], units: Units, tallest_mm: f64) -> Self {
        const SIDE_MM: f64 = 15.0;
        const BOTTOM_MM: f64 = 9.0;
        let points: Vec<DVec2> = ties.iter().map(|(at, _)| *at).collect();
        let (low, high) = bounds(spots, &points, Axes::NorthUp);
        let size_m = high - low;
        let axes = if size_m.y > size_m.x { Axes::NorthRight } else { Axes::NorthUp };
        let (low, high) = bounds(spots, &points, axes);
        let size_m = high - low;
        let wide = scale::ratio(size_m.x, WIDTH_MM - 2.0 * SIDE_MM);
        // Where labels go depends on the scale, and how much height they leave depends on where they go: the
        // scale that fits the width says enough about the labels.
        let up = square_to(spots, axes);
        let labels = |ratio: f64| {
            // Over each mark stands the edge of its zone.
            let base = |s: &Spot<'_>| {
                let at = axes.turn(s.place_m) * 1000.0 / ratio;
                at + up * (s.zone_m.unwrap_or(0.0) * 1000.0 / ratio).max(LABEL_STAND_OFF_MM)
            };
            Labels::place(spots.iter().map(|s| (base(s), s.station)), up)
        };
        let top_mm = |labels: &Labels| LABEL_STAND_OFF_MM + LABEL_GAP_MM + labels.height_mm();
        let room_mm = (tallest_mm - top_mm(&labels(wide)) - BOTTOM_MM).max(SHORTEST_MM / 2.0);
        let ratio = wide.max(scale::ratio(size_m.y, room_mm));
        let labels = labels(ratio);
        let top_mm = top_mm(&labels);
        let mm_per_m = 1000.0 / ratio;
        let size_mm = size_m * mm_per_m;
        let height_mm = (size_mm.y + top_mm + BOTTOM_MM).max(SHORTEST_MM);
        let spare_mm = (height_mm - top_mm - BOTTOM_MM - size_mm.y) / 2.0;
        let left_top_mm = DVec2::new((WIDTH_MM - size_mm.x) / 2.0, top_mm + spare_mm);
        let corner_m = axes.turn(low - left_top_mm / mm_per_m);
        Self { mm_per_m, ratio, corner_m, height_mm, axes, labels, up, units }
    }

    pub fn at(&self, place_m: DVec2) -> DVec2 {
        self.axes.turn(place_m - self.corner_m) * self.mm_per_m
    }
}

/// The direction on paper that is square to the run, upwards.
fn square_to(spots: &[Spot<'_>], axes: Axes) -> DVec2 {
    let ends = spots.first().zip(spots.last());
    let along = ends.map_or(DVec2::X, |(a, b)| axes.turn(b.place_m) - axes.turn(a.place_m));
    let square = along.perp().try_normalize().unwrap_or(DVec2::NEG_Y);
    // A run that comes back to where it began says nothing of a way.
    match square.y {
        y if y < -0.5 => square,
        y if y > 0.5 => -square,
        _ => DVec2::NEG_Y,
    }
}

/// The corners of the drawing, in metres right and down.
pub fn bounds(spots: &[Spot<'_>], points: &[DVec2], axes: Axes) -> (DVec2, DVec2) {
    /// Room around a point for its mark.
    const POINT_M: f64 = 0.3;
    let reach = |s: &Spot<'_>| DVec2::splat(s.zone_m.unwrap_or(0.0).max(s.radius95_m));
    let spots = spots.iter().map(|s| (axes.turn(s.place_m), reach(s)));
    let points = points.iter().map(|at| (axes.turn(*at), DVec2::splat(POINT_M)));
    let places: Vec<(DVec2, DVec2)> = spots.chain(points).collect();
    (
        places.iter().map(|(at, reach)| *at - *reach).fold(DVec2::INFINITY, DVec2::min),
        places.iter().map(|(at, reach)| *at + *reach).fold(DVec2::NEG_INFINITY, DVec2::max),
    )
}
