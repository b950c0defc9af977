//! A page as an SVG document.

use maud::{Markup, PreEscaped, html};

use super::lines::MM_PER_POINT;
use super::piled::{Ink, Item, Span};
use crate::letters;
use crate::sheet::draw::{WIDTH_MM, mm, zone_hatch};
use crate::sheet::html::DRAWING_STYLE;

pub const TOP_MM: f64 = 11.0;
/// The foot stands so far above the paper's edge.
const FOOT_MM: f64 = 8.0;
const SMALL_POINTS: f64 = 7.6;

/// What stands at the foot of a page.
pub struct Foot<'a> {
    pub words: &'a str,
    pub page: usize,
    pub of: usize,
}

pub fn page(items: &[Item], (width, height): (f64, f64), left: f64, foot: &Foot<'_>) -> String {
    let base = height - FOOT_MM;
    let plain = |words: &str| vec![Span { words: words.to_owned(), bold: false, soft: false }];
    let number = format!("page {} of {}", foot.page, foot.of);
    let words =
        Ink::Words { x: 0.0, base: 0.0, points: SMALL_POINTS, spans: plain(foot.words), end: false };
    let number =
        Ink::Words { x: WIDTH_MM, base: 0.0, points: SMALL_POINTS, spans: plain(&number), end: true };
    // The legend may stand on another page than the plan whose hatch it shows.
    let hatched = items
        .iter()
        .any(|i| matches!(&i.ink, Ink::Drawing { content, .. } if content.contains("id=\"zone\"")));
    let document = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (mm(width)) " " (mm(height)) }
            width={ (mm(width)) "mm" } height={ (mm(height)) "mm" } {
            style { (PreEscaped(DRAWING_STYLE)) }
            @if !hatched { g.drawing { defs { (zone_hatch()) } } }
            @for item in items { (ink(&item.ink, left, TOP_MM + item.top, item.bottom - item.top)) }
            (ink(&words, left, base, 0.0))
            (ink(&number, left, base, 0.0))
        }
    };
    document.into_string()
}

fn ink(ink: &Ink, left: f64, top: f64, high: f64) -> Markup {
    let colour = |faint: bool| if faint { "#a9afb6" } else { "#16191d" };
    html! {
        @match ink {
            Ink::Words { x, base, points, spans, end } => {
                text x=(mm(left + x)) y=(mm(top + base)) font-family=(letters::FAMILY)
                    font-size=(format!("{:.3}", points * MM_PER_POINT)) xml:space="preserve"
                    text-anchor=[end.then_some("end")] {
                    @for span in spans {
                        tspan font-weight=[span.bold.then_some("bold")]
                            fill=(if span.soft { "#4a5058" } else { "#16191d" }) { (span.words) }
                    }
                }
            }
            Ink::Rule { x, width, stroke, faint } => {
                rect x=(mm(left + x)) y=(mm(top)) width=(mm(*width)) height=(mm(*stroke)) fill=(colour(*faint)) {}
            }
            Ink::Frame { x, width, stroke, broken } => {
                rect x=(mm(left + x)) y=(mm(top)) width=(mm(*width)) height=(mm(high)) fill="none" stroke="#16191d"
                    stroke-width=(mm(*stroke)) stroke-dasharray=[broken.then(|| format!("{} {}", mm(4.0 * stroke), mm(2.4 * stroke)))] {}
            }
            Ink::Drawing { x, content } => {
                g.drawing transform={ "translate(" (mm(left + x)) " " (mm(top)) ")" } { (PreEscaped(content)) }
            }
        }
    }
}
