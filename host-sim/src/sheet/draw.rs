//! What plan and profile have in common: paper coordinates in millimetres, marks and lettering.

use glam::DVec2;
use maud::{Markup, html};

use crate::book::{Station, Verdict};

/// Width of a drawing on paper. It fits A4 and Letter with the margins of the style sheet.
pub const WIDTH_MM: f64 = 180.0;

/// A coordinate as an attribute: a hundredth of a millimetre is finer than any printer.
pub fn mm(value: f64) -> String {
    // Adding zero turns a negative zero into a plain one.
    format!("{}", (value * 100.0).round() / 100.0 + 0.0)
}

/// A straight line of a style class.
pub fn line(class: &str, from: DVec2, to: DVec2) -> Markup {
    html! { line class=(class) x1=(mm(from.x)) y1=(mm(from.y)) x2=(mm(to.x)) y2=(mm(to.y)) {} }
}

/// Lettering of a style class; the class also says where it is anchored.
pub fn text(class: &str, at: DVec2, words: &str) -> Markup {
    html! { text class=(class) x=(mm(at.x)) y=(mm(at.y)) { (words) } }
}

/// Radius of the dot at a place or a depth.
pub const DOT_MM: f64 = 0.6;

/// The style of the line between two located stations: broken if either is in doubt.
pub fn joint(a: &Station, b: &Station) -> &'static str {
    let doubtful = [a, b].iter().any(|s| s.verdict == Verdict::Doubt);
    if doubtful { "pipe doubt" } else { "pipe" }
}

/// Radius of a number tag.
pub const TAG_MM: f64 = 3.3;

/// The station's number in a frame whose shape tells the verdict: a plain circle, a dashed circle, or a
/// square with its corners crossed out.
pub fn tag(at: DVec2, station: &Station) -> Markup {
    let number = station.number.to_string();
    let size = if number.len() > 2 { "tag small middle" } else { "tag middle" };
    html! {
        (frame(at, station.verdict))
        (text(size, at + DVec2::new(0.0, 1.15), &number))
    }
}

/// The frame of a tag, without a number.
pub fn frame(at: DVec2, verdict: Verdict) -> Markup {
    match verdict {
        Verdict::Agree => html! { circle.frame cx=(mm(at.x)) cy=(mm(at.y)) r=(mm(TAG_MM)) {} },
        Verdict::Doubt => html! { circle."frame doubt" cx=(mm(at.x)) cy=(mm(at.y)) r=(mm(TAG_MM)) {} },
        Verdict::Refuse => html! {
            rect.frame x=(mm(at.x - TAG_MM)) y=(mm(at.y - TAG_MM))
                width=(mm(2.0 * TAG_MM)) height=(mm(2.0 * TAG_MM)) {}
            @for corner in [DVec2::new(1.0, 1.0), DVec2::new(-1.0, 1.0), DVec2::new(1.0, -1.0), DVec2::new(-1.0, -1.0)] {
                (line("frame", at + corner * TAG_MM, at + corner * TAG_MM * 0.6))
            }
        },
    }
}

/// What has to be said of a station beside its number.
pub fn remarks(station: &Station) -> Vec<&'static str> {
    let verdict = match station.verdict {
        Verdict::Agree => None,
        Verdict::Doubt => Some("doubt"),
        Verdict::Refuse => Some("refused"),
    };
    station.trouble_spot.then_some("TROUBLE SPOT").into_iter().chain(verdict).collect()
}

/// Where a simulated source really was: a small open diamond.
pub fn diamond(at: DVec2) -> Markup {
    html! { path.truth d={ "M" (mm(at.x)) " " (mm(at.y - 1.5)) "l1.5 1.5l-1.5 1.5l-1.5 -1.5z" } {} }
}
