//! Where along a lane above a dipole each null, peak and extremum lies.

/// A zero of the field, or of its slope, along a lane that passes overhead: a root of a cubic in `u`, the distance
/// from the point above the source in depths. Its coefficients grow in proportion to `t`, the tangent of the pitch.
#[derive(Debug, Clone, Copy)]
pub struct Landmark {
    /// Where it lies over a level dipole.
    pub level: f32,
    /// The cubic for a level one, lowest power first.
    cubic: [f32; 4],
    /// What a pitch of tangent one adds to it.
    tilted: [f32; 4],
    /// How far it moves, in depths, for the tangent of an angle by which the carried coil sways: some of it by the
    /// angle, the rest by the bobbing and swinging that go with it. Side peaks are flat and weak. Taken from simulated
    /// walks at 0.6 to 3 m, which scatter so for a sway of 1.5 degrees.
    pub swayed: f32,
}

/// Landmarks of a lane.
pub const LANDMARKS: usize = 8;

/// Axial nulls solve `2 u^2 + 3 t u - 1 = 0`.
const fn axial_null(level: f32) -> Landmark {
    Landmark { level, cubic: [-1.0, 0.0, 2.0, 0.0], tilted: [0.0, 3.0, 0.0, 0.0], swayed: 1.0 }
}

/// Axial peaks solve `2 u^3 + 4 t u^2 - 3 u - t = 0`.
const fn axial_peak(level: f32, swayed: f32) -> Landmark {
    Landmark { level, cubic: [0.0, -3.0, 0.0, 2.0], tilted: [-1.0, 0.0, 4.0, 0.0], swayed }
}

/// The vertical null solves `t u^2 - 3 u - 2 t = 0`.
const fn vertical_null(level: f32) -> Landmark {
    Landmark { level, cubic: [0.0, -3.0, 0.0, 0.0], tilted: [-2.0, 0.0, 1.0, 0.0], swayed: 0.8 }
}

/// Vertical extrema solve `t u^3 - 4 u^2 - 4 t u + 1 = 0`.
const fn vertical_extremum(level: f32) -> Landmark {
    Landmark { level, cubic: [1.0, 0.0, -4.0, 0.0], tilted: [0.0, -4.0, 0.0, 1.0], swayed: 1.4 }
}

const NULL: f32 = core::f32::consts::FRAC_1_SQRT_2;
/// Square root of 3/2.
const SIDE: f32 = 1.224_744_9;

/// Nulls before and after, peak, side peaks before and after, vertical null, vertical extrema before and after.
pub const ALL: [Landmark; LANDMARKS] = [
    axial_null(-NULL),
    axial_null(NULL),
    axial_peak(0.0, 1.0),
    axial_peak(-SIDE, 4.0),
    axial_peak(SIDE, 4.0),
    vertical_null(0.0),
    vertical_extremum(-0.5),
    vertical_extremum(0.5),
];

/// The steepest pitch for which the landmarks are sought: tangent of 45 degrees.
pub const STEEPEST: f32 = 1.0;
/// The pitch is reached in so many stages, each of so many of Newton's steps: 2e-7 depths at the steepest.
const STAGES: u8 = 4;
const STEPS: usize = 4;

impl Landmark {
    /// The place for a pitch of tangent `t`, and its change with `t`.
    pub fn place(&self, t: f32) -> (f32, f32) {
        let mut u = self.level;
        for stage in 1..=STAGES {
            let t = t * f32::from(stage) / f32::from(STAGES);
            for _ in 0..STEPS {
                let (value, slope, _) = self.at(u, t);
                u -= value / slope;
            }
        }
        let (_, slope, by_pitch) = self.at(u, t);
        (u, -by_pitch / slope)
    }

    /// The cubic at `u`, its slope there, and how it changes with `t`.
    fn at(&self, u: f32, t: f32) -> (f32, f32, f32) {
        let value = |[a, b, c, d]: [f32; 4]| a + u * (b + u * (c + u * d));
        let slope = |[_, b, c, d]: [f32; 4]| b + u * (2.0 * c + u * 3.0 * d);
        let by_pitch = value(self.tilted);
        (value(self.cubic) + t * by_pitch, slope(self.cubic) + t * slope(self.tilted), by_pitch)
    }
}
