//! Which way the transmitter is, from the phases of the current along a run.
//!
//! A current on a line that leaks and has capacity lags more the further it has come. Phases count against one reference:
//! the transmitter's own, by wire, radio or a common clock.

use core::f32::consts::PI;

use super::regress::Regress;
use crate::depth::Measured;
use crate::fit::normal::variance;
use crate::math;

/// Sigmas by which the phase must lag before a direction is told.
const CLEAR: f32 = 3.0;
/// Steps from one place to the next whose sigma is more than this do not tell how many half turns lie between.
const SURE_RAD: f32 = 0.25 * PI / CLEAR;

/// The phase of the current at one place of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseAt {
    /// Way along the run from its first place, metres.
    pub chainage_m: f32,
    /// Against the reference, radians, modulo half a turn.
    pub phase_rad: Measured,
}

/// Which way along a run the transmitter is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Away {
    /// Growing chainages lead away from it.
    Onward,
    /// Growing chainages lead towards it.
    Back,
}

/// How the phase changes along a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lag {
    /// Away from the transmitter.
    pub away: Away,
    /// By how much the phase lags for every metre away from it; positive, radians.
    pub per_m: Measured,
}

/// Why the phase does not tell where the transmitter is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoLag {
    /// There are fewer than two places.
    TooFew,
    /// From one place to the next the phase may have turned by a half and more.
    Ambiguous,
    /// The phase changes by less than three of its sigmas: so much for every metre, with its sigma.
    Unclear(Measured),
}

/// Which way the phase lags along a run, from the phases at places in order of their chainage.
///
/// ```
/// use nullwalk_core::depth::Measured;
/// use nullwalk_core::trace::{Away, NoLag, PhaseAt, lag};
/// let at = |chainage_m: f32, phase: f32| PhaseAt { chainage_m, phase_rad: Measured::new(phase, 0.01) };
/// // It lags by 2 mrad for every metre.
/// let found = lag(&[at(0.0, 0.30), at(20.0, 0.26), at(60.0, 0.18)]).unwrap();
/// assert!(found.away == Away::Onward && (found.per_m.value - 0.002).abs() < 1e-6);
/// // A hundredth of a radian over 5 m proves nothing.
/// assert!(matches!(lag(&[at(0.0, 0.30), at(5.0, 0.29)]), Err(NoLag::Unclear(_))));
/// ```
///
/// # Errors
/// Why it cannot be known.
pub fn lag(places: &[PhaseAt]) -> Result<Lag, NoLag> {
    let [first, rest @ ..] = places else { return Err(NoLag::TooFew) };
    if rest.is_empty() {
        return Err(NoLag::TooFew);
    }
    let length_m = places.iter().fold(0.0_f32, |most, place| most.max(place.chainage_m - first.chainage_m));
    let scale_m = length_m.max(1e-3);
    let mut sums = Regress::<2>::NONE;
    let (mut last, mut phase) = (first, 0.0);
    sums.push([1.0, 0.0], 0.0, square(first.phase_rad.sigma));
    for place in rest {
        let sigma = math::sqrt(square(last.phase_rad.sigma) + square(place.phase_rad.sigma));
        if sigma.is_nan() || sigma > SURE_RAD {
            return Err(NoLag::Ambiguous);
        }
        phase += math::wrap_half_pi(place.phase_rad.value - last.phase_rad.value);
        sums.push(
            [1.0, (place.chainage_m - first.chainage_m) / scale_m],
            phase,
            square(place.phase_rad.sigma),
        );
        last = place;
    }
    let ([_, slope], covariance) = sums.solved(0).ok_or(NoLag::TooFew)?;
    let sigma = math::sqrt(variance(&covariance, [0.0, 1.0])) / scale_m;
    let per_m = slope / scale_m;
    if per_m.is_nan() || per_m.abs() < CLEAR * sigma {
        return Err(NoLag::Unclear(Measured::new(per_m, sigma)));
    }
    let away = if per_m < 0.0 { Away::Onward } else { Away::Back };
    Ok(Lag { away, per_m: Measured::new(per_m.abs(), sigma) })
}

fn square(x: f32) -> f32 {
    x * x
}
