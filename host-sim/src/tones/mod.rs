//! The frequency plan of many tones: where each lands, what lands on it, what would be cleaner, and which is the lowest that
//! the noise allows.

mod noise;
mod text;

use nullwalk_core::grid::Grid;
use nullwalk_core::tuning::{FrontEnd, Neighbour, Tuning, Unworkable, cleanest, plan};
use serde::Serialize;

pub use noise::{Lowest, NoiseError, lowest};
pub use text::text;

/// Sampling rates that converters commonly have, hertz.
const COMMON_RATES_HZ: [f32; 8] =
    [4000.0, 8000.0, 11_025.0, 16_000.0, 22_050.0, 32_000.0, 44_100.0, 48_000.0];
/// How far around a tone a cleaner one is looked for, hertz.
const AROUND_HZ: i16 = 40;

/// One tone behind one front end.
#[derive(Debug, Clone, Serialize)]
pub struct Row {
    /// The tone, hertz.
    pub tone_hz: f32,
    /// Where it is heard, when it can be.
    pub usable: Option<Usable>,
    /// Why it cannot be.
    pub refused: Option<String>,
    /// A cleaner tone near by, if this one is refused, or a harmonic may wander into it at least twice as often.
    pub cleaner_tone_hz: Option<f32>,
    /// The cleanest of the common sampling rates, if the tone is refused at this one.
    pub cleaner_rate_hz: Option<f32>,
}

/// A tone that can be used.
#[derive(Debug, Clone, Serialize)]
pub struct Usable {
    /// Where it is in the samples, hertz.
    pub lands_hz: f32,
    /// Whether higher tones land lower.
    pub mirrored: bool,
    /// What the filters take off the tone, decibels.
    pub loss_db: f32,
    /// The image of which the least is taken off, hertz,
    pub image_hz: f32,
    /// and how much that is, decibels.
    pub image_loss_db: f32,
    /// By how much folded noise raises the floor, decibels.
    pub folded_noise_db: f32,
    /// The nearest harmonic of each grid.
    pub neighbours: Vec<Harmonic>,
}

/// A harmonic beside a tone.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Harmonic {
    /// 50 or 60.
    pub grid_hz: f32,
    /// Which harmonic.
    pub order: u32,
    /// Where it is on an exact grid, hertz,
    pub hz: f32,
    /// and how far from the tone or its image, hertz.
    pub off_hz: f32,
    /// What the filters take off it, decibels.
    pub loss_db: f32,
    /// How far the grid must stray to bring it into the window, per cent.
    pub strays_percent: f32,
    /// Share of the grid frequencies within 1 % at which one is in the window, per cent.
    pub share_percent: f32,
}

impl From<Neighbour> for Harmonic {
    fn from(n: Neighbour) -> Self {
        Self {
            grid_hz: n.grid.nominal_hz(),
            order: n.order,
            hz: n.hz,
            off_hz: n.off_hz,
            loss_db: n.loss_db,
            strays_percent: 100.0 * n.strays,
            share_percent: 100.0 * n.share,
        }
    }
}

impl From<&Tuning> for Usable {
    fn from(tuning: &Tuning) -> Self {
        Self {
            lands_hz: tuning.lands_hz,
            mirrored: tuning.mirrored,
            loss_db: tuning.loss_db,
            image_hz: tuning.image.hz,
            image_loss_db: tuning.image.loss_db,
            folded_noise_db: tuning.folded_noise_db,
            neighbours: tuning.neighbours.iter().map(|&n| n.into()).collect(),
        }
    }
}

/// The plan of one tone. A cleaner one is looked for only where it is needed.
pub fn row(tone_hz: f32, rate_hz: f32, front: &FrontEnd, grids: &[Grid]) -> Row {
    let planned = plan(tone_hz, rate_hz, front, grids);
    let share = |tuning: &Tuning| {
        let asked = tuning.neighbours.iter().filter(|n| grids.contains(&n.grid));
        asked.map(|n| n.share).fold(0.0, f32::max)
    };
    let sought = match &planned {
        Ok(tuning) => share(tuning) > 0.0,
        Err(Unworkable::Parameter(_)) => false,
        Err(_) => true,
    };
    let cleaner_tone_hz = sought
        .then(|| {
            // In the order of distance, so that of equals the nearest is taken.
            let around = (1..=AROUND_HZ).flat_map(|n| [-n, n]).map(|n| tone_hz + f32::from(n));
            let plans: Vec<_> = around.filter_map(|hz| plan(hz, rate_hz, front, grids).ok()).collect();
            let best = cleanest(&plans, grids)?;
            let better = planned.as_ref().map_or(true, |tuning| share(best) <= 0.5 * share(tuning));
            better.then_some(best.tone_hz)
        })
        .flatten();
    let cleaner_rate_hz = planned
        .is_err()
        .then(|| {
            let plans: Vec<_> =
                COMMON_RATES_HZ.iter().filter_map(|&rate| plan(tone_hz, rate, front, grids).ok()).collect();
            cleanest(&plans, grids).map(|tuning| tuning.rate_hz)
        })
        .flatten();
    Row {
        tone_hz,
        usable: planned.as_ref().ok().map(Usable::from),
        refused: planned.err().map(|why| text::reason(&why)),
        cleaner_tone_hz,
        cleaner_rate_hz,
    }
}
