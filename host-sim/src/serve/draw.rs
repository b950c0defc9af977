//! Small parts of drawings. A drawing is 480 units wide, as wide as a phone's page can show it.

use glam::DVec2;
use maud::{Markup, html};

/// Width of a drawing.
pub const WIDE: f64 = 480.0;
/// A letter's width and height, for keeping labels apart, as large as they are on a phone.
const LETTER: DVec2 = DVec2::new(7.6, 14.0);

/// A tenth of a unit is enough.
pub fn n(value: f64) -> String {
    format!("{}", (10.0 * value).round() / 10.0 + 0.0)
}

pub fn line(class: &str, a: DVec2, b: DVec2) -> Markup {
    html! { line class=(class) x1=(n(a.x)) y1=(n(a.y)) x2=(n(b.x)) y2=(n(b.y)) {} }
}

pub fn words(class: &str, at: DVec2, text: &str) -> Markup {
    html! { text class=(class) x=(n(at.x)) y=(n(at.y)) { (text) } }
}

/// A line through points, as the data of a path.
pub fn through(points: impl IntoIterator<Item = DVec2>) -> String {
    let mut path = String::new();
    for at in points {
        path.push(if path.is_empty() { 'M' } else { 'L' });
        path.push_str(&format!("{} {}", n(at.x), n(at.y)));
    }
    path
}

/// Points as lines of no length with round ends: a tenth of the text that circles would take.
pub fn dots(points: impl IntoIterator<Item = DVec2>) -> String {
    points.into_iter().map(|at| format!("M{} {}h0", n(at.x), n(at.y))).collect()
}

/// Where labels went, so that none is put upon another.
#[derive(Default)]
pub struct Labels(Vec<(DVec2, DVec2)>);

impl Labels {
    /// The left lower corner of a label beside a mark, if there is room for it anywhere.
    pub fn beside(&mut self, at: DVec2, text: &str, room: DVec2) -> Option<DVec2> {
        let size = DVec2::new(LETTER.x * text.chars().count() as f64, LETTER.y);
        let apart = 5.5;
        let corners = [
            at + DVec2::new(apart, -apart),
            at + DVec2::new(-apart - size.x, -apart),
            at + DVec2::new(apart, apart + size.y),
            at + DVec2::new(-apart - size.x, apart + size.y),
            at + DVec2::new(-0.5 * size.x, -2.0 * apart),
        ];
        let free = |corner: &DVec2| {
            let (low, high) =
                (DVec2::new(corner.x, corner.y - size.y), DVec2::new(corner.x + size.x, corner.y));
            let inside = low.cmpge(DVec2::ZERO).all() && high.cmple(room).all();
            inside && self.0.iter().all(|(l, h)| low.cmpge(*h).any() || high.cmple(*l).any())
        };
        let corner = corners.into_iter().find(free)?;
        self.0.push((corner - DVec2::new(0.0, size.y), corner + DVec2::new(size.x, 0.0)));
        Some(corner)
    }

    /// Keep a place free of labels.
    pub fn keep_free(&mut self, at: DVec2, reach: f64) {
        self.0.push((at - reach, at + reach));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_stay_inside_and_apart() {
        let (mut labels, room) = (Labels::default(), DVec2::new(100.0, 100.0));
        let placed: Vec<_> =
            (0..9).filter_map(|_| labels.beside(DVec2::new(50.0, 50.0), "12", room)).collect();
        // The place above would lie upon those to its left and right.
        assert_eq!(placed.len(), 4, "{placed:?}");
        let size = DVec2::new(2.0 * LETTER.x, LETTER.y);
        for (n, a) in placed.iter().enumerate() {
            assert!(a.x >= 0.0 && a.y >= size.y && a.x + size.x <= room.x && a.y <= room.y, "{a}");
            let apart = |b: &DVec2| (*a - *b).abs().cmpge(size).any();
            assert!(placed.iter().skip(n + 1).all(apart), "{placed:?}");
        }
        assert_eq!(labels.beside(DVec2::new(99.0, 5.0), "a label too long for this room", room), None);
    }

    #[test]
    fn between_neighbours_a_label_stands_above() {
        let mut labels = Labels::default();
        for neighbour in [35.0, 65.0] {
            labels.keep_free(DVec2::new(neighbour, 50.0), 10.0);
        }
        let room = DVec2::new(100.0, 100.0);
        let above = labels.beside(DVec2::new(50.0, 50.0), "12", room).unwrap();
        assert!(above.x < 50.0 && above.x + 2.0 * LETTER.x > 50.0 && above.y < 40.0, "{above}");
        assert_eq!(labels.beside(DVec2::new(50.0, 50.0), "12", room), None);
    }
}
