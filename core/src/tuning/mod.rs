//! The frequency plan: where a tone lands in the samples, and what lands on it.
//!
//! A converter shows everything between zero and half its rate, and folds everything above down to there. A tone above
//! is still heard when a band-pass lets little else through (undersampling), or when an oscillator mixes it down first. What
//! else would land on the same place is an *image*; a harmonic of the mains that stands on the tone or on an image is heard
//! as if it were the tone. [`plan`] works this out and refuses what cannot work, with the reason.
//!
//! Folding: Vaughan, Scott and White 1991, IEEE Trans. Signal Process. 39:1973 (from memory).

mod filter;
mod lowest;
mod unworkable;
mod way;

use crate::error::ConfigError;
use crate::grid::Grid;
use crate::math;
use crate::tone::NYQUIST_MARGIN_HZ;

pub use filter::Filter;
pub use lowest::{Candidate, lowest_workable};
pub use unworkable::Unworkable;
use way::Way;

/// Tones in common use, hertz: a watch crystal's 32 768 Hz, doubled or divided, and 640 Hz (common practice, no source).
pub const PRESETS_HZ: [f32; 6] = [512.0, 640.0, 1024.0, 8192.0, 32_768.0, 65_536.0];

/// The lowest tone that is listened for, and the lowest place it may land on, hertz.
const LOWEST_HZ: f32 = 50.0;
/// The highest tone, hertz: above it a float no longer tells hundredths of a hertz.
const HIGHEST_HZ: f32 = 200_000.0;
/// Nearer to the tone than this, hertz, the window takes less than 40 dB off a harmonic.
pub const REACH_HZ: f32 = 8.0;
/// What must be taken off an image, decibels, against the tone,
pub const IMAGE_LOSS_DB: f32 = 40.0;
/// and off a harmonic of the mains that stands on one: mains are stronger than anything else.
pub const MAINS_LOSS_DB: f32 = 60.0;
/// A filter's corner takes this off, decibels: a tone that loses more is outside.
const CORNER_DB: f32 = 3.02;
/// Up to this order the nominal place of a harmonic tells where it is. At the 200th the 0.05 Hz that a grid strays on any
/// day are 10 Hz.
const TELLING_ORDER: f32 = 200.0;
/// What stands between coil and samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FrontEnd {
    /// The tone is below half the sampling rate.
    Direct {
        /// What keeps higher frequencies out.
        guard: Filter,
    },
    /// The tone is above half the sampling rate and folds down.
    Undersampled {
        /// What lets only the tone's surroundings through.
        band: Filter,
    },
    /// The tone is mixed with an oscillator, whose difference frequency is sampled.
    Mixed {
        /// What lets only the tone's surroundings into the mixer.
        band: Filter,
        /// The oscillator, hertz.
        oscillator_hz: f32,
        /// What keeps higher frequencies from the converter.
        guard: Filter,
    },
}

/// A frequency that lands on the same place as the tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Image {
    /// The frequency, hertz.
    pub hz: f32,
    /// What the filters take off it more than off the tone, decibels.
    pub loss_db: f32,
}

/// The harmonic of a grid that needs the least straying to be heard as the tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neighbour {
    /// The grid.
    pub grid: Grid,
    /// Which harmonic.
    pub order: u32,
    /// Where it is when the grid is exact, hertz,
    pub hz: f32,
    /// and how far from the tone, or from the image that it stands beside, hertz, with its sign.
    pub off_hz: f32,
    /// What the filters take off it more than off the tone, decibels.
    pub loss_db: f32,
    /// How far the grid must stray before the window lets it through, as a share of its frequency; 0 where it stands
    /// within [`REACH_HZ`] or just there as it is.
    pub strays: f32,
    /// Share of all grid frequencies within 1 % of nominal at which any harmonic is let through.
    pub share: f32,
}

impl Neighbour {
    fn is_let_through(&self) -> bool {
        self.off_hz.abs() < REACH_HZ
    }
}

/// A tone that can be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tuning {
    /// The tone, hertz.
    pub tone_hz: f32,
    /// The sampling rate, hertz.
    pub rate_hz: f32,
    /// Where the tone is in the samples, hertz: what the detector has to be set to.
    pub lands_hz: f32,
    /// Whether higher tones land lower: the carrier's offset has the other sign, and phasors are conjugate.
    pub mirrored: bool,
    /// What the filters take off the tone, decibels.
    pub loss_db: f32,
    /// The image of which the least is taken off.
    pub image: Image,
    /// By how much noise that folds in raises the noise floor, decibels, if it is white before the filters.
    pub folded_noise_db: f32,
    /// The nearest harmonic of either grid. The one that was not asked for is told of but never a reason to refuse.
    pub neighbours: [Neighbour; 2],
}

/// Where a frequency lands in samples at `rate_hz`, both in hertz, and whether it is mirrored there; zero for a rate that is
/// not above zero.
///
/// ```
/// use nullwalk_core::tuning::folded;
/// assert_eq!(folded(8192.0, 8000.0), (192.0, false));
/// assert_eq!(folded(32_768.0, 48_000.0), (15_232.0, true));
/// assert_eq!(folded(8192.0, 16_384.0).0, 8192.0);
/// ```
pub fn folded(hz: f32, rate_hz: f32) -> (f32, bool) {
    if !(hz.is_finite() && rate_hz.is_finite() && rate_hz > 0.0) {
        return (0.0, false);
    }
    let beyond = hz.abs() % rate_hz;
    if beyond > 0.5 * rate_hz { (rate_hz - beyond, true) } else { (beyond, false) }
}

/// Work out where a tone lands behind a front end at a sampling rate, and refuse what cannot work. Frequencies are in hertz;
/// `grids` are those on which a harmonic within the window is a reason to refuse.
///
/// ```
/// use nullwalk_core::grid::Grid;
/// use nullwalk_core::tuning::{Filter, FrontEnd, Unworkable, plan};
///
/// let direct = FrontEnd::Direct { guard: Filter::Sinc { order: 3 } };
/// let tuning = plan(512.0, 8000.0, &direct, &Grid::BOTH).unwrap();
/// assert_eq!((tuning.lands_hz, tuning.neighbours.map(|n| n.hz)), (512.0, [500.0, 540.0]));
///
/// // The 17th harmonic of 60 Hz is 4 Hz away.
/// assert!(plan(1024.0, 8000.0, &direct, &[Grid::Fifty]).is_ok());
/// assert!(matches!(plan(1024.0, 8000.0, &direct, &[Grid::Sixty]), Err(Unworkable::Harmonic(n)) if n.order == 17));
///
/// let band = Filter::BandPass { low_hz: 31_000.0, high_hz: 35_000.0, order: 3 };
/// let tuning = plan(32_768.0, 48_000.0, &FrontEnd::Undersampled { band }, &Grid::BOTH).unwrap();
/// assert!(tuning.lands_hz == 15_232.0 && tuning.mirrored);
/// ```
///
/// # Errors
/// [`Unworkable`], the first reason found, with its numbers.
pub fn plan(tone_hz: f32, rate_hz: f32, front: &FrontEnd, grids: &[Grid]) -> Result<Tuning, Unworkable> {
    ConfigError::unless_rate(rate_hz)?;
    ConfigError::unless(
        (LOWEST_HZ..=HIGHEST_HZ).contains(&tone_hz),
        "signal.tone_hz",
        "must be 50 to 200000",
    )?;
    let way = Way::new(tone_hz, rate_hz, front)?;
    let lands_hz = way.lands_hz;
    if matches!(front, FrontEnd::Direct { .. }) && tone_hz > 0.5 * rate_hz {
        return Err(Unworkable::Folds { lands_hz });
    }
    if matches!(front, FrontEnd::Mixed { .. }) && way.sampled_hz > 0.5 * rate_hz {
        return Err(Unworkable::MixedTooHigh { difference_hz: way.sampled_hz });
    }
    if lands_hz < LOWEST_HZ {
        return Err(Unworkable::NearZero { lands_hz });
    }
    if lands_hz > 0.5 * rate_hz - NYQUIST_MARGIN_HZ {
        return Err(Unworkable::NearNyquist { lands_hz });
    }
    if way.loss_db > CORNER_DB {
        return Err(Unworkable::OutsideBand { loss_db: way.loss_db });
    }
    let mut image = Image { hz: rate_hz - lands_hz, loss_db: f32::INFINITY };
    let mut noise = 1.0;
    way.images(|other| {
        if other.loss_db < image.loss_db {
            image = other;
        }
        noise += math::exp(-0.1 * core::f32::consts::LN_10 * other.loss_db);
    });
    if image.loss_db < IMAGE_LOSS_DB {
        return Err(Unworkable::Image(image));
    }
    let neighbours = Grid::BOTH.map(|grid| way.neighbour(grid));
    let inside =
        |n: &&Neighbour| grids.contains(&n.grid) && n.is_let_through() && n.order as f32 <= TELLING_ORDER;
    if let Some(&neighbour) = neighbours.iter().find(inside) {
        return Err(Unworkable::Harmonic(neighbour));
    }
    Ok(Tuning {
        tone_hz,
        rate_hz,
        lands_hz,
        mirrored: way.mirrored,
        loss_db: way.loss_db,
        image,
        folded_noise_db: 0.5 * math::db(noise),
        neighbours,
    })
}

/// The plan in which harmonics of the given grids are let through at the fewest grid frequencies; among equals, the one in
/// which a grid must stray furthest. `None` of none.
///
/// ```
/// use nullwalk_core::grid::Grid;
/// use nullwalk_core::tuning::{Filter, FrontEnd, cleanest, plan};
/// let direct = FrontEnd::Direct { guard: Filter::Sinc { order: 3 } };
/// let plans = [1031.0, 1035.0, 1070.0].map(|tone_hz| plan(tone_hz, 8000.0, &direct, &[]).unwrap());
/// assert_eq!(cleanest(&plans, &[Grid::Sixty]).unwrap().tone_hz, 1035.0);
/// ```
pub fn cleanest<'a>(plans: &'a [Tuning], grids: &[Grid]) -> Option<&'a Tuning> {
    let merit = |tuning: &Tuning| {
        let asked = || tuning.neighbours.iter().filter(|n| grids.contains(&n.grid));
        let share = asked().map(|n| n.share).fold(0.0, f32::max);
        let strays = asked().map(|n| n.strays).fold(f32::INFINITY, f32::min);
        (share, strays)
    };
    plans.iter().min_by(|a, b| {
        let ((share_a, strays_a), (share_b, strays_b)) = (merit(a), merit(b));
        share_a.total_cmp(&share_b).then(strays_b.total_cmp(&strays_a))
    })
}
