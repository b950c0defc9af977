//! The strip under the plan: scale bars in metres and feet, the ratio, and the north arrow.

use glam::DVec2;
use maud::{Markup, html};

use super::view::{Axes, View};
use crate::chart::{plain, round_down};
use crate::sheet::draw::{WIDTH_MM, line, mm, text};
use crate::sheet::options::Units;
use crate::units::METRES_PER_FOOT;

/// How tall it is.
pub const STRIP_MM: f64 = 12.5;

/// Draw it.
pub fn strip(view: &View) -> Markup {
    let origin = DVec2::new(0.0, view.height_mm + 5.6);
    let mm_per_ft = view.mm_per_m * METRES_PER_FOOT;
    html! {
        @let bars = match view.units {
            Units::Metric => [(view.mm_per_m, "m"), (mm_per_ft, "ft")],
            Units::Feet => [(mm_per_ft, "ft"), (view.mm_per_m, "m")],
        };
        (bar(origin, bars[0].0, bars[0].1))
        (bar(origin + DVec2::new(66.0, 0.0), bars[1].0, bars[1].1))
        (text("small", origin + DVec2::new(130.0, -1.2), &format!("1 : {}", view.ratio)))
        (text("fine", origin + DVec2::new(130.0, 2.2), "on paper, printed"))
        (text("fine", origin + DVec2::new(130.0, 5.0), "at full size"))
        (north(view))
    }
}

/// The north arrow: a staff with half a head, and its letter beside it.
fn north(view: &View) -> Markup {
    let middle = DVec2::new(WIDTH_MM - 8.0, view.height_mm + 6.6);
    let up = view.axes.turn(DVec2::Y);
    let tip = middle + up * 5.6;
    let barb = tip - up * 5.2 - up.perp() * 1.9;
    let notch = tip - up * 4.0;
    let letter =
        middle + if view.axes == Axes::NorthUp { DVec2::new(-4.2, 0.0) } else { DVec2::new(-8.0, 1.2) };
    let head = [tip, barb, notch].map(|p| format!("{} {}", mm(p.x), mm(p.y))).join("L");
    html! {
        (line("north", middle - up * 5.6, tip))
        path.north-head d={ "M" (head) "z" } {}
        (text("letter middle", letter, "N"))
    }
}

/// A bar of four fields, every second one filled.
fn bar(origin: DVec2, mm_per_unit: f64, unit: &str) -> Markup {
    const LONGEST_MM: f64 = 54.0;
    let field = round_down(LONGEST_MM / 4.0 / mm_per_unit);
    let field_mm = field * mm_per_unit;
    html! {
        @for k in 0..4 {
            @let class = if k % 2 == 0 { "field" } else { "field open" };
            rect class=(class) x=(mm(origin.x + 1.5 + f64::from(k) * field_mm)) y=(mm(origin.y))
                width=(mm(field_mm)) height="1.5" {}
        }
        @for k in [0.0, 2.0, 4.0] {
            @let words = if k == 4.0 { format!("{} {unit}", plain(k * field)) } else { plain(k * field) };
            (text("fine middle", origin + DVec2::new(1.5 + k * field_mm, -1.2), &words))
        }
    }
}
