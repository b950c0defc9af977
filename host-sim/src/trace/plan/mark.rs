//! What was found, as a mark on the plan and a row of its table.

use glam::DVec2;

use crate::book::{Station, Verdict};
use crate::chart::{BLUE, Line, RED, SOFT};
use crate::trace::Trace;
use crate::trace::text::amperes;
use crate::units;

/// A mark on the plan and its row in the table.
pub(super) struct Mark {
    pub(super) number: u32,
    pub(super) place_m: Option<DVec2>,
    pub(super) lay_deg: Option<f64>,
    pub(super) line: Line,
    pub(super) sonde: bool,
    pub(super) cells: [String; 5],
}

pub(super) fn of_station(station: &Station) -> Mark {
    let depth = station.stated_depth_m();
    Mark {
        number: station.number,
        place_m: station.position.filter(|_| station.is_located()).map(|p| DVec2::new(p.east_m, p.north_m)),
        lay_deg: station.lay_deg.map(|lay| lay.value),
        line: style(station.verdict),
        sonde: true,
        cells: [
            station.name.clone(),
            "sonde in the drain".to_owned(),
            station.verdict.word().to_owned(),
            depth.map_or(String::new(), |d| units::metres_range(d.low95, d.high95)),
            station.stated_shallow_bound_m().map_or(String::new(), units::metres),
        ],
    }
}

pub(super) fn of_trace(trace: &Trace) -> Mark {
    let silent = trace.listened.mains && trace.listened.order.is_none();
    let what = match (trace.listened.mains, trace.current) {
        (_, Some(current)) => format!("{} rms", amperes(current.rms_a)),
        (true, None) if silent => "mains: nothing heard".to_owned(),
        _ => String::new(),
    };
    let kind = if trace.listened.mains { "live power" } else { "tone" };
    let figures = trace.is_located();
    Mark {
        number: trace.number,
        place_m: trace.place.map(|p| DVec2::new(p.east_m, p.north_m)),
        lay_deg: trace.lay_deg.filter(|_| figures).map(|lay| lay.value),
        line: style(trace.verdict),
        sonde: false,
        cells: [
            trace.name.clone(),
            if what.is_empty() || silent {
                format!("{kind}{}{what}", if silent { "; " } else { "" })
            } else {
                format!("{kind}, {what}")
            },
            if silent { "no proof".to_owned() } else { trace.verdict.word().to_owned() },
            trace.depth_m.map_or(String::new(), |d| units::metres_range(d.low95, d.high95)),
            trace.shallow_bound_m.map_or(String::new(), units::metres),
        ],
    }
}

impl Mark {
    /// Which way the lay goes on paper.
    pub(super) fn along(&self) -> Option<DVec2> {
        let (sin, cos) = self.lay_deg?.to_radians().sin_cos();
        Some(DVec2::new(sin, -cos))
    }
}

pub(super) fn style(verdict: Verdict) -> Line {
    match verdict {
        Verdict::Agree => Line::new(BLUE, "4", ""),
        Verdict::Doubt => Line::new(RED, "4", "9 4"),
        Verdict::Refuse => Line::new(SOFT, "4", "2 4"),
    }
}
