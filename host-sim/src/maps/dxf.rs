//! DXF: a drawing in metres on the site's grid, its layers named by utility, its letters sized for the plot.
//!
//! Written as release 12, the one that every program reads; group codes are those of the DXF reference (Autodesk,
//! release 12, from memory). An ellipse that is no circle is a closed line, since that release knows none.

use std::fmt::Display;

use glam::DVec2;

use super::{Drawing, Feature, Shape, Value};
use crate::job::Utility;

/// Height of letters on paper, metres: 2.5 mm, the least of ISO 3098 (from memory).
const LETTER_M: f64 = 0.0025;
/// Radius of the circle that stands for a mark, on paper, metres.
const MARK_M: f64 = 0.001;
/// Under which name the fields of a feature stand in its extended data.
const APPLICATION: &str = "NULLWALK";
/// Longest string in extended data, bytes: group 1000.
const LONGEST: usize = 255;
/// Layer of what is said of the whole.
const CAUTION_LAYER: &str = "CAUTION";
const METRES: u8 = 6;

pub fn text(drawing: &Drawing, scale: f64) -> Vec<u8> {
    let mut pen = Pen {
        entities: Groups::default(),
        layers: Vec::new(),
        letter: LETTER_M * scale,
        low: DVec2::INFINITY,
        high: DVec2::NEG_INFINITY,
    };
    for layer in &drawing.layers {
        for feature in &layer.features {
            pen.feature(layer.name, feature, MARK_M * scale);
        }
    }
    pen.words_below(drawing);
    let mut file = Groups::default();
    file.section("HEADER", |head| {
        head.add(9, "$ACADVER").add(1, "AC1009").add(9, "$INSUNITS").add(70, METRES);
        head.add(9, "$MEASUREMENT").add(70, 1);
        head.add(9, "$EXTMIN").at(0, pen.low).add(9, "$EXTMAX").at(0, pen.high);
    });
    file.section("TABLES", |tables| {
        tables.table("LTYPE", 1, |t| {
            t.add(0, "LTYPE")
                .add(2, "CONTINUOUS")
                .add(70, 0)
                .add(3, "Solid line")
                .add(72, 65)
                .add(73, 0)
                .add(40, 0.0);
        });
        tables.table("LAYER", pen.layers.len(), |t| {
            for (name, color) in &pen.layers {
                t.add(0, "LAYER").add(2, name).add(70, 0).add(62, color).add(6, "CONTINUOUS");
            }
        });
        tables.table("STYLE", 1, |t| {
            t.add(0, "STYLE")
                .add(2, "STANDARD")
                .add(70, 0)
                .add(40, 0.0)
                .add(41, 1.0)
                .add(50, 0.0)
                .add(71, 0);
            t.add(42, pen.letter).add(3, "txt").add(4, "");
        });
        tables.table("APPID", 1, |t| {
            t.add(0, "APPID").add(2, APPLICATION).add(70, 0);
        });
    });
    file.section("ENTITIES", |entities| entities.0.push_str(&pen.entities.0));
    file.add(0, "EOF");
    file.0.into_bytes()
}

/// Pairs of a code and what it says, each on a line of its own.
#[derive(Default)]
struct Groups(String);

impl Groups {
    fn add(&mut self, code: u16, says: impl Display) -> &mut Self {
        self.0.push_str(&format!("{code:>3}\n{says}\n"));
        self
    }

    /// A point: the codes of its coordinates are tens.
    fn at(&mut self, which: u16, at: DVec2) -> &mut Self {
        self.add(10 + which, at.x).add(20 + which, at.y).add(30 + which, 0.0)
    }

    fn section(&mut self, name: &str, fill: impl FnOnce(&mut Self)) {
        self.add(0, "SECTION").add(2, name);
        fill(self);
        self.add(0, "ENDSEC");
    }

    fn table(&mut self, name: &str, entries: usize, fill: impl FnOnce(&mut Self)) {
        self.add(0, "TABLE").add(2, name).add(70, entries);
        fill(self);
        self.add(0, "ENDTAB");
    }
}

struct Pen {
    entities: Groups,
    /// Names and colours.
    layers: Vec<(String, u8)>,
    letter: f64,
    low: DVec2,
    high: DVec2,
}

impl Pen {
    fn feature(&mut self, layer: &str, feature: &Feature, mark_m: f64) {
        let prefix = feature.utility.map_or("SURVEY", Utility::letter);
        let color = colour(feature.utility);
        let (name, letters) = (format!("{prefix}-{}", layer.to_uppercase()), format!("{prefix}-TEXT"));
        match &feature.shape {
            Shape::Point(at) => {
                self.entity("CIRCLE", &name, color, &[*at]).at(0, *at).add(40, mark_m);
                self.fields(feature);
                let beside = *at + DVec2::new(1.5 * mark_m, 0.5 * mark_m);
                self.write(&letters, color, beside, &feature.label);
            }
            Shape::Line(line) => {
                self.polyline(&name, color, line, feature);
                if let (Some(from), Some(to)) = (line.first(), line.last()) {
                    self.write(&letters, color, from.midpoint(*to), &feature.label);
                }
            }
            Shape::Ellipse { centre, long_m, short_m, .. } if long_m == short_m => {
                let reach = DVec2::splat(*long_m);
                let extent = [*centre - reach, *centre + reach];
                self.entity("CIRCLE", &name, color, &extent).at(0, *centre).add(40, *long_m);
                self.fields(feature);
            }
            // Its last corner is its first again, which a closed line goes back to by itself.
            ellipse => {
                let corners = ellipse.corners();
                let ring = corners.split_last().map_or(&corners[..], |(_, ring)| ring);
                self.polyline(&name, color, ring, feature);
            }
        }
    }

    fn polyline(&mut self, layer: &str, color: u8, line: &[DVec2], feature: &Feature) {
        let closed = u8::from(feature.shape.is_area());
        self.entity("POLYLINE", layer, color, line).add(66, 1).at(0, DVec2::ZERO).add(70, closed);
        self.fields(feature);
        for at in line {
            self.entities.add(0, "VERTEX").add(8, layer).at(0, *at);
        }
        self.entities.add(0, "SEQEND").add(8, layer);
    }

    fn entity(&mut self, kind: &str, layer: &str, color: u8, extent: &[DVec2]) -> &mut Groups {
        if !self.layers.iter().any(|(known, _)| known == layer) {
            self.layers.push((layer.to_owned(), color));
        }
        for at in extent {
            self.low = self.low.min(*at);
            self.high = self.high.max(*at);
        }
        self.entities.add(0, kind).add(8, layer)
    }

    /// The fields of a feature as extended data of the entity before.
    fn fields(&mut self, feature: &Feature) {
        self.entities.add(1001, APPLICATION);
        for (name, value) in &feature.fields {
            // What is longer than one string may be goes on in the next, under the same name and a plus.
            let text = plain(&said(value));
            let mut rest = text.as_str();
            let mut sign = "=";
            loop {
                let (piece, after) = rest.split_at(rest.len().min(LONGEST - name.len() - 2));
                self.entities.add(1000, format!("{name}{sign}{piece}"));
                if after.is_empty() {
                    break;
                }
                (rest, sign) = (after, "+=");
            }
        }
    }

    fn write(&mut self, layer: &str, color: u8, at: DVec2, words: &str) {
        if words.is_empty() {
            return;
        }
        let letter = self.letter;
        self.entity("TEXT", layer, color, &[at]).at(0, at).add(40, letter).add(1, plain(words));
    }

    /// The caution stands below everything, and where the grid lies.
    fn words_below(&mut self, drawing: &Drawing) {
        let grid = drawing.anchor.map_or_else(
            || "Metres on the site's own grid.".to_owned(),
            |(datum, a)| {
                format!(
                    "Metres on the site's grid; origin {:.9} N {:.9} E in {}, grid north {:.3} degrees from true north.",
                    a.latitude_deg,
                    a.longitude_deg,
                    datum.name(),
                    a.bearing_deg
                )
            },
        );
        let lines = textwrap::wrap(&drawing.caution, 100);
        let (left, mut line) = (self.low.x, self.low.y - 4.0 * self.letter);
        let words =
            [drawing.title.as_str(), grid.as_str()].into_iter().chain(lines.iter().map(AsRef::as_ref));
        for words in words {
            self.write(CAUTION_LAYER, BLACK_OR_WHITE, DVec2::new(left, line), words);
            line -= 1.6 * self.letter;
        }
    }
}

const BLACK_OR_WHITE: u8 = 7;

/// Colours of the uniform colour code (APWA), by the colour numbers that every program draws alike.
fn colour(utility: Option<Utility>) -> u8 {
    match utility {
        Some(Utility::Electric) => 1,
        Some(Utility::Gas) => 2,
        Some(Utility::Drain) => 3,
        Some(Utility::Water) => 5,
        Some(Utility::Reclaimed) => 6,
        Some(Utility::Telecom) => 30,
        Some(Utility::Unknown) | None => BLACK_OR_WHITE,
    }
}

fn said(value: &Value) -> String {
    match value {
        Value::Text(text) => text.clone(),
        other => other.text(),
    }
}

/// In letters that release 12 has, others by their number as later releases write them; without what it takes for
/// orders: ends of lines, and percent signs in pairs.
fn plain(words: &str) -> String {
    let mut plain = String::new();
    for c in words.replace("%%", "% %").chars() {
        match c {
            ' '..='~' => plain.push(c),
            _ if c.is_control() => plain.push(' '),
            _ => {
                let mut units = [0; 2];
                for unit in c.encode_utf16(&mut units) {
                    plain.push_str(&format!("\\U+{unit:04X}"));
                }
            }
        }
    }
    plain
}
