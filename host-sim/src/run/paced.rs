//! One coil, or two, along a straight lane at an even pace: depth from times and one known length.

use nullwalk_core::depth;
use nullwalk_core::paced::{self, Known, Misfit, Passed, Shape, Walking};
use nullwalk_core::verdict as core;
use serde::Serialize;

use super::coil::{CoilFeatures, TimedFeature};
use crate::book::{Estimate, Measured, Reason, Verdict};

/// What is known of a lane besides what its coils heard.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LaneKnown {
    /// Relative standard deviation of the pace; `None`: as even as most.
    pub unevenness: Option<f64>,
    /// How the coil sways: standard deviation, radians; `None`: as in most hands.
    pub sway_rad: Option<f64>,
    /// The one length.
    pub length: Option<LengthKnown>,
    /// Height above the ground at which the coil was carried, metres.
    pub coil_height_m: Option<depth::Measured>,
}

/// The length that turns seconds into metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LengthKnown {
    /// Metres per second.
    Pace(depth::Measured),
    /// Metres between two marks on the ground, and when they were passed.
    Marks {
        /// How far apart they are, metres.
        apart_m: depth::Measured,
        /// Seconds since the recording began.
        times_s: [f64; 2],
    },
}

/// Standard uncertainty of the instant at which a mark was passed, seconds (common practice, no source).
pub const MARK_SIGMA_S: f64 = 0.1;
/// A lane along a pipe passes this close to the sonde sideways, metres (common practice, no source).
const MISS_SIGMA_M: f32 = 0.1;

impl LengthKnown {
    /// The pace, metres per second.
    pub fn pace_m_per_s(self) -> depth::Measured {
        match self {
            Self::Pace(pace) => pace,
            Self::Marks { apart_m, times_s: [first_s, second_s] } => {
                let between_s = second_s - first_s;
                let apart = f64::from(apart_m.sigma) / f64::from(apart_m.value);
                let share = apart.hypot(MARK_SIGMA_S * std::f64::consts::SQRT_2 / between_s);
                let pace = f64::from(apart_m.value) / between_s;
                depth::Measured::new(pace as f32, (share * pace) as f32)
            }
        }
    }
}

/// A lane in time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PacedLane {
    /// Channel of the coil along the lane, and of the upright one.
    pub channels: Vec<usize>,
    /// When the coil was above the source, seconds since the recording began.
    pub overhead_s: Measured,
    /// In how long the pace covers the distance down to the source, seconds.
    pub scale_s: Measured,
    /// Pitch of the sonde and the coil together, degrees: positive when the end ahead is raised.
    pub pitch_deg: Measured,
    /// How far the peak lies behind the middle of the nulls, over half their spacing.
    pub asymmetry: Option<Ratio>,
    /// Spacing of the side peaks over that of the nulls.
    pub sides_over_nulls: Option<Ratio>,
    /// Spacing of the vertical extrema over that of the nulls.
    pub vertical_over_nulls: Option<Ratio>,
    /// Whether this is the pattern of one sonde at an even pace: chi-square and degrees of freedom. `None` where too
    /// little was passed to tell.
    pub misfit: Option<Pattern>,
    /// Where the source lies between the marks: share of the way from the first, and metres from it.
    pub between_marks: Option<Between>,
    /// What came of the known length; `None` where none was given.
    pub result: Option<LaneResult>,
}

/// A ratio of spacings, beside what a dipole makes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ratio {
    /// As it was passed.
    pub measured: Measured,
    /// Over a dipole of the pitch that was found.
    pub expected: f64,
}

/// How well one sonde and an even pace explain the times.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Pattern {
    /// Weighted sum of squares of what is left.
    pub chi_square: f64,
    /// Degrees of freedom.
    pub freedom: u8,
    /// One lane in a hundred, or fewer, would be so far off.
    pub is_gross: bool,
}

/// A place between two marks.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Between {
    /// Share of the way.
    pub share: Measured,
    /// Metres from the first mark.
    pub from_first_m: Measured,
}

/// What may be made of the lane's depth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LaneResult {
    /// Never `Agree`: one method has nothing to agree with.
    pub verdict: Verdict,
    /// From the coil as it was carried, down to the source, metres.
    pub depth_below_coil_m: Option<Estimate>,
    /// From the ground, where the height of the coil was given.
    pub depth_to_source_m: Option<Estimate>,
    /// Why it is no better.
    pub reason: Reason,
}

/// Why a lane says nothing.
pub type Refused = Reason;

/// Make a lane of what the coil along it heard, and, if there is one, an upright coil.
///
/// # Errors
/// Why there is none.
pub fn paced_lane(
    forward: &CoilFeatures,
    vertical: Option<&CoilFeatures>,
    known: &LaneKnown,
) -> Result<PacedLane, Refused> {
    let unfit = |why: paced::Unfit| no_lane(why.sentence());
    // Times in 32 bits are counted from the peak.
    let (since_s, mut passed) = bracket(forward).ok_or_else(|| unfit(paced::Unfit::TooFew))?;
    if let Some(vertical) = vertical {
        (passed.vertical_null, passed.vertical_extrema) = upright(vertical, since_s);
    }
    if let Some(LengthKnown::Marks { times_s, .. }) = known.length {
        let mark = |time_s: f64| depth::Measured::new((time_s - since_s) as f32, MARK_SIGMA_S as f32);
        passed.marks = Some(times_s.map(mark));
    }
    let usual = Walking::default();
    let walking = Walking {
        unevenness: known.unevenness.map_or(usual.unevenness, |share| share as f32),
        sway: known.sway_rad.map_or(usual.sway, |sway| sway.tan() as f32),
        ..usual
    };
    let pattern = paced::pattern(&passed, walking).map_err(unfit)?;
    let pitch_rad = f64::from(pattern.pitch.value).atan();
    let between = match (pattern.between_marks, known.length) {
        (Some(share), Some(LengthKnown::Marks { apart_m, .. })) => Some(between(share, apart_m)),
        _ => None,
    };
    Ok(PacedLane {
        channels: std::iter::once(forward).chain(vertical).map(|coil| coil.channel).collect(),
        overhead_s: Measured {
            value: since_s + f64::from(pattern.overhead_s.value),
            ..measured(pattern.overhead_s)
        },
        scale_s: measured(pattern.depth_s),
        pitch_deg: Measured {
            value: pitch_rad.to_degrees(),
            sigma: (f64::from(pattern.pitch.sigma) * pitch_rad.cos().powi(2)).to_degrees(),
        },
        asymmetry: pattern.asymmetry.map(ratio),
        sides_over_nulls: pattern.sides_over_nulls.map(ratio),
        vertical_over_nulls: pattern.vertical_over_nulls.map(ratio),
        misfit: pattern.misfit.map(|m: Misfit| Pattern {
            chi_square: f64::from(m.chi_square),
            freedom: m.freedom,
            is_gross: m.is_gross(),
        }),
        between_marks: between,
        result: known.length.map(|length| result(&pattern, length, known.coil_height_m)),
    })
}

fn result(pattern: &paced::Pattern, length: LengthKnown, height_m: Option<depth::Measured>) -> LaneResult {
    let known = match length {
        LengthKnown::Pace(pace) => Known::Pace(pace),
        LengthKnown::Marks { apart_m, .. } => Known::BetweenMarks(apart_m),
    };
    match pattern.depth(known, depth::Measured::new(0.0, MISS_SIGMA_M)) {
        Err(why) => LaneResult {
            verdict: Verdict::Refuse,
            depth_below_coil_m: None,
            depth_to_source_m: None,
            reason: no_lane(why.sentence()),
        },
        Ok(depth) => {
            let below = |up: depth::Measured| {
                let sigma_m = f64::from(depth.sigma_m).hypot(f64::from(up.sigma));
                Estimate::of_size(f64::from(depth.depth_m) - f64::from(up.value), sigma_m)
            };
            LaneResult {
                verdict: Verdict::Doubt,
                depth_below_coil_m: Some(below(depth::Measured::default())),
                depth_to_source_m: height_m.map(below),
                reason: Reason {
                    code: core::Reason::OneMethod.code().to_owned(),
                    sentence: core::Reason::OneMethod.sentence().to_owned(),
                    remedy: "Walk the lane back, and once more with the coil at another height, and see whether \
                             the depths go together."
                        .to_owned(),
                },
            }
        }
    }
}

fn no_lane(sentence: &str) -> Reason {
    Reason {
        code: "no-paced-lane".to_owned(),
        sentence: format!("This lane gives no depth: {sentence}."),
        remedy: "Walk one straight lane over the sonde at an even pace, two depths beyond it on both sides, and \
                 record nothing else."
            .to_owned(),
    }
}

fn between(share: depth::Measured, apart_m: depth::Measured) -> Between {
    let (share, apart_m) = (measured(share), measured(apart_m));
    let sigma = (share.sigma * apart_m.value).hypot(share.value * apart_m.sigma);
    Between { share, from_first_m: Measured { value: share.value * apart_m.value, sigma } }
}

fn measured(m: depth::Measured) -> Measured {
    Measured { value: f64::from(m.value), sigma: f64::from(m.sigma) }
}

fn ratio(shape: Shape) -> Ratio {
    Ratio { measured: measured(shape.measured), expected: f64::from(shape.expected) }
}

fn is_null(feature: &TimedFeature) -> bool {
    feature.kind == "null"
}

fn at(feature: &TimedFeature, since_s: f64) -> depth::Measured {
    depth::Measured::new((feature.time_s - since_s) as f32, feature.sigma_s as f32)
}

/// What a coil showed, by rising time: a null is told later than a peak that follows it at once.
fn in_order(coil: &CoilFeatures) -> Vec<&TimedFeature> {
    let mut features: Vec<&TimedFeature> = coil.features.iter().collect();
    features.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    features
}

/// The strongest peak of a coil along the lane, the nulls next to it on both sides, and beyond them the side peaks,
/// which have the other sign. With it the time of that peak, from which all others count.
fn bracket(coil: &CoilFeatures) -> Option<(f64, Passed)> {
    let features = in_order(coil);
    let strength = |n: &usize| if is_null(features[*n]) { -1.0 } else { features[*n].value_v.abs() };
    let top = (0..features.len()).max_by(|a, b| strength(a).total_cmp(&strength(b)))?;
    let (before, rest) = features.split_at(top);
    let (peak, after) = rest.split_first().filter(|(peak, _)| !is_null(peak))?;
    let instant = |f: &TimedFeature| at(f, peak.time_s);
    let side = |f: &&TimedFeature| !is_null(f) && f.value_v * peak.value_v < 0.0;
    // Features of one side, the nearest first.
    let outwards = |features: Vec<&TimedFeature>| {
        let null = features.iter().position(|f| is_null(f));
        let beyond = null.and_then(|n| features.get(n + 1)).copied().filter(side);
        (null.map(|n| instant(features[n])), beyond.map(instant))
    };
    let (null_before, side_before) = outwards(before.iter().rev().copied().collect());
    let (null_after, side_after) = outwards(after.to_vec());
    let passed = Passed {
        nulls: [null_before, null_after],
        peak: Some(instant(peak)),
        side_peaks: [side_before, side_after],
        ..Passed::default()
    };
    Some((peak.time_s, passed))
}

type Upright = (Option<depth::Measured>, [Option<depth::Measured>; 2]);

/// The null of an upright coil that is nearest to an instant, and the extrema next to it on both sides.
fn upright(coil: &CoilFeatures, since_s: f64) -> Upright {
    let features = in_order(coil);
    let away = |n: &usize| (features[*n].time_s - since_s).abs();
    let nulls = (0..features.len()).filter(|n| is_null(features[*n]));
    let Some(null) = nulls.min_by(|a, b| away(a).total_cmp(&away(b))) else { return (None, [None; 2]) };
    let beside = [null.checked_sub(1), null.checked_add(1)].map(|n| n.and_then(|n| features.get(n)));
    let extrema = beside.map(|f| f.filter(|f| !is_null(f)).map(|f| at(f, since_s)));
    (Some(at(features[null], since_s)), extrema)
}
