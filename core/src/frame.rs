//! Blocks of raw samples, what came with them, and where the mast was.

use glam::{Mat3, Vec3};

use crate::math;

/// The most channels one instrument may have.
pub const MAX_CHANNELS: usize = 8;

/// Magnitude of a sample, without overflow: -1 counts as 0.
#[inline(always)]
pub(crate) fn magnitude(sample: i32) -> i32 {
    sample ^ (sample >> 31)
}

/// Number of a sample since the recording began. It counts through gaps, and wraps at 2^64.
pub type SampleIndex = u64;

/// Consecutive frames from the converter, one `i32` count per channel, all taken at one gain.
#[derive(Debug, Clone, Copy)]
pub struct Block<'a, const C: usize> {
    /// One frame per sampling instant.
    pub frames: &'a [[i32; C]],
    /// Index of the first frame. A jump from the end of the block before is a gap, and is handled as one.
    pub start: SampleIndex,
    /// Rung of the gain ladder in force for the whole block.
    pub rung: u8,
}

/// What a [`SampleSource`] says of the frames it has just filled in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlockInfo {
    /// How many frames were written, at most the length of the buffer.
    pub frames: usize,
    /// Index of the first of them.
    pub start: SampleIndex,
    /// Rung in force.
    pub rung: u8,
    /// Where the mast was at `start`, if a sensor spoke.
    pub mast: Option<MastReading>,
}

/// Where samples come from: a converter, a simulator, or a recording.
///
/// Contract: the rung is constant within a block; `start` never goes back; a mast reading holds for the
/// instant `start`; a source may end a block early to keep these promises.
pub trait SampleSource<const C: usize> {
    /// What can go wrong while reading.
    type Error;

    /// Fill the front of `frames`; `None` at the end of the recording.
    fn read(&mut self, frames: &mut [[i32; C]]) -> Result<Option<BlockInfo>, Self::Error>;

    /// Ask for a gain rung. It shows in a later [`BlockInfo::rung`]; a recording ignores it.
    fn set_rung(&mut self, rung: u8);
}

/// How the mast was held. Every part is optional: what no sensor told is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MastReading {
    /// Position of the lower node, if known.
    pub position: Option<Position>,
    /// Compass heading of the mast's forward axis, radians clockwise from north.
    pub heading_rad: Option<f32>,
    /// Pitch and roll, if a tilt sensor is fitted.
    pub tilt: Option<Tilt>,
}

/// A point in the site frame (east, north, up), with its standard uncertainty per axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// East, north, up in metres from the site's origin.
    pub enu_m: Vec3,
    /// Standard uncertainty of each horizontal coordinate, metres.
    pub sigma_m: f32,
}

/// Standard uncertainty of a compass heading, radians: a little over a degree (common practice, no source).
pub const HEADING_SIGMA_RAD: f32 = 0.02;

/// Attitude against the vertical.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Tilt {
    /// Positive when the forward end is raised.
    pub pitch_rad: f32,
    /// Positive when the left side is raised.
    pub roll_rad: f32,
}

impl Tilt {
    /// The rotation that takes a vector from the mast frame (x forward, y left, z up) into the levelled
    /// mast frame: same heading, z along the vertical.
    ///
    /// ```
    /// use nullwalk_core::frame::Tilt;
    /// let nose_up = Tilt { pitch_rad: core::f32::consts::FRAC_PI_2, roll_rad: 0.0 };
    /// let up = nose_up.levelling() * glam::Vec3::X;
    /// assert!((up - glam::Vec3::Z).length() < 1e-6);
    /// ```
    pub fn levelling(self) -> Mat3 {
        let (sp, cp) = math::sin_cos(self.pitch_rad);
        let (sr, cr) = math::sin_cos(self.roll_rad);
        let pitch = Mat3::from_cols(Vec3::new(cp, 0.0, sp), Vec3::Y, Vec3::new(-sp, 0.0, cp));
        let roll = Mat3::from_cols(Vec3::X, Vec3::new(0.0, cr, sr), Vec3::new(0.0, -sr, cr));
        pitch * roll
    }
}

/// The rotation from the levelled mast frame into the site frame (east, north, up).
///
/// ```
/// let facing_east = nullwalk_core::frame::heading_rotation(core::f32::consts::FRAC_PI_2);
/// assert!((facing_east * glam::Vec3::X - glam::Vec3::X).length() < 1e-6);
/// ```
pub fn heading_rotation(heading_rad: f32) -> Mat3 {
    let (s, c) = math::sin_cos(heading_rad);
    Mat3::from_cols(Vec3::new(s, c, 0.0), Vec3::new(-c, s, 0.0), Vec3::Z)
}
