//! The plan: what lies where, seen from above, to scale. North is up, or to the right where the run goes
//! north and south, so that a run always goes across the paper.

mod grid;
mod marks;
mod other_lines;
mod spots;
mod strip;
#[cfg(test)]
mod tests;
mod ties;
mod view;
mod zones;

use glam::DVec2;
use maud::html;

use self::grid::grid;
use self::marks::{half_lay_mm, led_out, mark, pipe};
use self::other_lines::other_line;
use self::spots::{links, spots};
use self::strip::{STRIP_MM, strip};
use self::ties::{near_ties, tie_lines};
use self::view::View;
use self::zones::zones;
use super::block::{Block, Drawing, Para, Role};
use super::brief::Brief;
use super::draw::{WIDTH_MM, mm, text, zone_hatch};
use super::options::Options;

/// Draw the plan no taller than this, or say why there is none.
pub fn plan(brief: &Brief, options: &Options, tallest_mm: f64) -> Block {
    let run = &brief.run;
    let spots = spots(run);
    if spots.is_empty() {
        let words = "No station has a position, so no plan can be drawn. Go by the marks on the ground.";
        return Block::Para(Para::new(Role::Note, words));
    }
    let links = links(&spots);
    let ties = near_ties(&spots, &brief.ties);
    let view = View::around(&spots, &ties, options.units, tallest_mm);
    let lay_mm = half_lay_mm(&view, &links);
    let frame_height = view.height_mm;
    let content = html! {
        defs {
            (zone_hatch())
            clipPath id="frame" { rect x="0.3" y="0.3" width=(mm(WIDTH_MM - 0.6)) height=(mm(frame_height - 0.6)) {} }
        }
        (grid(&view))
        (zones(&view, &spots, &links))
        g clip-path="url(#frame)" {
            @for other in &brief.others { (other_line(&view, other)) }
        }
        (tie_lines(&view, &spots, &ties, options.units))
        @for link in &links { (pipe(&view, link, brief.utility)) }
        @for spot in &spots { (mark(&view, spot, lay_mm, brief.utility)) }
        rect.border x="0.3" y="0.3" width=(mm(WIDTH_MM - 0.6)) height=(mm(frame_height - 0.6)) {}
        @if run.is_simulated() { (text("remark", DVec2::new(3.0, 5.0), "SIMULATED")) }
        @for (index, spot) in spots.iter().enumerate() { (led_out(&view, index, spot)) }
        (strip(&view))
    };
    Block::Drawing(Drawing {
        label: "Plan of the stations".to_owned(),
        width_mm: WIDTH_MM,
        height_mm: frame_height + STRIP_MM,
        content,
    })
}
