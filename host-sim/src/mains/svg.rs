//! The frequency over time as a drawing.

use maud::html;

use super::Report;
use crate::chart::{self, Axis, FIRST, GUIDE, LEFT, Panel, RIGHT, WIDTH};

const HEIGHT: f64 = 340.0;
/// The scale shows at least so much, hertz.
const LEAST_HZ: f64 = 0.02;

/// Draws the frequency; `None` where none was measured.
pub fn frequency_svg(report: &Report) -> Option<String> {
    let (first, last) = (report.track.first()?, report.track.last()?);
    let hz = || report.track.iter().map(|point| point.hz);
    let (least, most) = (hz().fold(f64::MAX, f64::min), hz().fold(f64::MIN, f64::max));
    let room_hz = (0.1 * (most - least)).max(0.5 * (LEAST_HZ - (most - least)));
    let panel = Panel {
        left: LEFT,
        top: 40.0,
        width: WIDTH - LEFT - RIGHT,
        height: HEIGHT - 100.0,
        x: Axis::rounded("time, s", first.time_s, last.time_s.max(first.time_s + 0.1), 10.0),
        y: Axis::rounded("grid, Hz", least - room_hz, most + room_hz, 6.0),
    };
    let nominal_hz = f64::from(report.grid_hz?);
    let content = html! {
        (chart::heading(panel.left, 24.0, "Frequency of the grid, each value over two seconds"))
        (panel.scales())
        @if panel.y.shows(nominal_hz) {
            (panel.curve([(first.time_s, nominal_hz), (last.time_s, nominal_hz)], GUIDE))
        }
        (panel.curve(report.track.iter().map(|point| (point.time_s, point.hz)), FIRST))
        (panel.outline())
    };
    Some(chart::document(WIDTH, HEIGHT, "Frequency of the grid", &content))
}
