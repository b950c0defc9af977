//! What the instrument tells the technician.

/// What the instrument tells the technician.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cue {
    /// How far to turn towards the source, radians, positive to the right; `None` while unknown.
    pub turn_rad: Option<f32>,
    /// Whether the source is near enough to pass over it in lanes.
    pub near: bool,
    /// The lay in the site frame, radians clockwise from north, up to half a turn; `None` while unknown.
    pub lay_rad: Option<f32>,
    /// Where the mark lies as the instrument knows it: east and north, metres; `None` while unknown.
    pub mark_enu_m: Option<[f64; 2]>,
    /// Where the source is thought to be, mark or no mark: east and north, metres; `None` while that is too uncertain.
    pub source_enu_m: Option<[f64; 2]>,
    /// Whether a lane across has fixed the mark sideways.
    pub crossed: bool,
}

/// A sample source whose technician listens to the instrument.
pub trait Guided {
    /// Hand the technician the latest cue; it replaces the one before.
    fn respond(&mut self, cue: Cue);
}
