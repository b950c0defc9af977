//! The way of one tone through a front end, and what comes the same way.

use super::{
    FrontEnd, HIGHEST_HZ, Image, LOWEST_HZ, MAINS_LOSS_DB, Neighbour, REACH_HZ, Unworkable, folded,
};
use crate::error::ConfigError;
use crate::grid::{Grid, STRAY};
use crate::math;

/// So many multiples of the sampling rate are searched for images,
const ZONES: u32 = 64;
/// and these harmonics of a switching mixer's oscillator.
const OSCILLATOR_ORDERS: [f32; 3] = [1.0, 3.0, 5.0];
/// Grid frequencies tried on either side of nominal.
const STEPS: i16 = 100;

/// The way of a tone to the samples.
pub(super) struct Way<'a> {
    tone_hz: f32,
    rate_hz: f32,
    front: &'a FrontEnd,
    /// What the converter is given: the tone, or what the mixer made of it.
    pub sampled_hz: f32,
    pub lands_hz: f32,
    pub mirrored: bool,
    pub loss_db: f32,
}

impl<'a> Way<'a> {
    pub fn new(tone_hz: f32, rate_hz: f32, front: &'a FrontEnd) -> Result<Self, Unworkable> {
        let (sampled_hz, turned) = match *front {
            FrontEnd::Direct { guard } => {
                guard.check()?;
                (tone_hz, false)
            }
            FrontEnd::Undersampled { band } => {
                band.check()?;
                (tone_hz, false)
            }
            FrontEnd::Mixed { band, oscillator_hz, guard } => {
                band.check()?;
                guard.check()?;
                ConfigError::unless(
                    (LOWEST_HZ..=2.0 * HIGHEST_HZ).contains(&oscillator_hz),
                    "front_end.oscillator_hz",
                    "must be 50 to 400000",
                )?;
                ((tone_hz - oscillator_hz).abs(), tone_hz < oscillator_hz)
            }
        };
        let (lands_hz, folded) = folded(sampled_hz, rate_hz);
        let mut way = Self {
            tone_hz,
            rate_hz,
            front,
            sampled_hz,
            lands_hz,
            mirrored: turned != folded,
            loss_db: 0.0,
        };
        way.loss_db = way.taken_off(tone_hz, sampled_hz);
        Ok(way)
    }

    /// What the filters take off a frequency that the converter is given as `sampled_hz`, decibels.
    fn taken_off(&self, hz: f32, sampled_hz: f32) -> f32 {
        match *self.front {
            FrontEnd::Direct { guard: filter } | FrontEnd::Undersampled { band: filter } => {
                filter.loss_db(hz, self.rate_hz)
            }
            FrontEnd::Mixed { band, guard, .. } => {
                band.loss_db(hz, self.rate_hz) + guard.loss_db(sampled_hz, self.rate_hz)
            }
        }
    }

    /// Everything else that lands where the tone does.
    pub fn images(&self, mut each: impl FnMut(Image)) {
        // Half a hertz apart is the same, as large floats go.
        let same = |a: f32, b: f32| (a - b).abs() < 0.5;
        let mut image = |hz: f32, sampled_hz: f32, more_db: f32| {
            let itself = same(hz, self.tone_hz) && same(sampled_hz, self.sampled_hz);
            if hz > 0.0 && !itself {
                each(Image { hz, loss_db: self.taken_off(hz, sampled_hz) + more_db - self.loss_db });
            }
        };
        for zone in 0..=ZONES {
            let middle_hz = zone as f32 * self.rate_hz;
            for sampled_hz in [middle_hz - self.lands_hz, middle_hz + self.lands_hz] {
                if sampled_hz <= 0.0 {
                    continue;
                }
                match *self.front {
                    FrontEnd::Mixed { oscillator_hz, .. } => {
                        for order in OSCILLATOR_ORDERS {
                            let more_db = math::db(order);
                            image((order * oscillator_hz - sampled_hz).abs(), sampled_hz, more_db);
                            image(order * oscillator_hz + sampled_hz, sampled_hz, more_db);
                        }
                    }
                    _ => image(sampled_hz, sampled_hz, 0.0),
                }
            }
        }
    }

    /// The harmonic of a grid that comes nearest, to the tone or to an image of which too little is taken off.
    pub fn neighbour(&self, grid: Grid) -> Neighbour {
        let nominal_hz = grid.nominal_hz();
        let mut nearest = beside(grid, nominal_hz, Image { hz: self.tone_hz, loss_db: 0.0 });
        let mut let_through = [false; 2 * STEPS as usize + 1];
        let mut stand_beside = |image: Image| {
            if image.loss_db >= MAINS_LOSS_DB {
                return;
            }
            let other = beside(grid, nominal_hz, image);
            let nearer = (other.strays, other.off_hz.abs()) < (nearest.strays, nearest.off_hz.abs());
            if nearer {
                nearest = other;
            }
            for (through, step) in let_through.iter_mut().zip(-STEPS..=STEPS) {
                let grid_hz = nominal_hz * (1.0 + STRAY * f32::from(step) / f32::from(STEPS));
                *through |= beside(grid, grid_hz, image).is_let_through();
            }
        };
        stand_beside(Image { hz: self.tone_hz, loss_db: 0.0 });
        self.images(stand_beside);
        let count = let_through.iter().filter(|&&through| through).count();
        nearest.share = count as f32 / let_through.len() as f32;
        nearest
    }
}

/// The harmonic of a grid at `grid_hz` that is nearest to an image.
fn beside(grid: Grid, grid_hz: f32, image: Image) -> Neighbour {
    let order = math::round(image.hz / grid_hz).max(1.0);
    let hz = order * grid_hz;
    let off_hz = hz - image.hz;
    let strays = ((off_hz.abs() - REACH_HZ) / hz).max(0.0);
    Neighbour { grid, order: order as u32, hz, off_hz, loss_db: image.loss_db, strays, share: 0.0 }
}
