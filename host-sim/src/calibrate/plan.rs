//! The plan of a calibration: which recordings there are, and how the mast lay in each.

use std::path::{Path, PathBuf};

use glam::{DMat3, DVec3};
use serde::Deserialize;

use super::CalibrateError;
use crate::synth::Pose;
use crate::tolerant_toml::{self, Notice};

/// What a calibration is to find.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Ask {
    /// Gain, phase and axis of every coil.
    #[default]
    Full,
    /// Only the ratio of the two nodes, coil pair by coil pair.
    Ratio,
}

/// A calibration as its file describes it. Every key but `[[attitude]]` may be left out.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default)]
pub struct Plan {
    /// What goes into the note of the result. Default: empty.
    pub title: String,
    /// What to find. Default: `full`.
    pub ask: Ask,
    /// How well the mast was laid in each attitude, standard uncertainty in degrees. Default 1.
    pub angle_sigma_deg: f64,
    /// How well a node came back to its slot, as the relative change of the field there. Default 0.001:
    /// on the axis of a sonde that is 3 x distance error / distance.
    pub place_sigma: f64,
    /// How far the source's strength may change from recording to recording, relative. Default 0.2: a
    /// battery. For a loop whose current is measured each time, 0.002 or so.
    pub strength_sigma: f64,
    /// How far the coils may be from what the captures say of them.
    pub expected: Expected,
    /// Slots whose field is known. Default: none, and the scale stays as it is.
    pub slot: Vec<KnownSlot>,
    /// The recordings.
    pub attitude: Vec<Attitude>,
}

impl Default for Plan {
    fn default() -> Self {
        Self {
            title: String::new(),
            ask: Ask::default(),
            angle_sigma_deg: 1.0,
            place_sigma: 0.001,
            strength_sigma: 0.2,
            expected: Expected::default(),
            slot: Vec::new(),
            attitude: Vec::new(),
        }
    }
}

/// Standard deviations of coils as they are made, before anything is measured.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(default)]
pub struct Expected {
    /// Relative gain. Default 0.2.
    pub gain: f64,
    /// Phase, degrees. Default 20.
    pub phase_deg: f64,
    /// Direction, degrees, each way. Default 3.
    pub axis_deg: f64,
}

impl Default for Expected {
    fn default() -> Self {
        Self { gain: 0.2, phase_deg: 20.0, axis_deg: 3.0 }
    }
}

/// A slot in the field of a known loop.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct KnownSlot {
    /// Its name in the attitudes.
    pub name: String,
    /// Peak field there, tesla, in the room's axes. Its sign does not matter.
    pub field_t: [f64; 3],
    /// Relative standard uncertainty of its strength. Default 0.02.
    #[serde(default = "known_to_two_percent")]
    pub field_sigma: f64,
}

fn known_to_two_percent() -> f64 {
    0.02
}

/// One recording. The attitude is given either by `forward` and `up` or by the three angles.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(default)]
pub struct Attitude {
    /// A name to be called by. Default: that of the capture.
    pub name: String,
    /// The capture; a relative path begins where the plan is.
    pub capture: PathBuf,
    /// Where the mast's forward axis points, in the room's axes (any three at right angles, right-handed).
    pub forward: Option<[f64; 3]>,
    /// Where the mast's up axis, from the lower node to the upper one, points.
    pub up: Option<[f64; 3]>,
    /// Instead: heading, degrees clockwise from the room's second axis seen against its third.
    pub heading_deg: Option<f64>,
    /// Positive when the forward end is raised. Default 0.
    pub pitch_deg: f64,
    /// Positive when the left side is raised. Default 0.
    pub roll_deg: f64,
    /// The slot each node is in, lower node first.
    pub slots: Vec<String>,
}

impl Plan {
    /// Reads a plan. Paths of captures are made to begin where the plan is.
    ///
    /// # Errors
    /// When the file cannot be read, or what it says cannot be; names file, place and remedy.
    pub fn load(path: &Path) -> Result<(Self, Vec<Notice>), CalibrateError> {
        let file = path.display().to_string();
        let text = std::fs::read_to_string(path)
            .map_err(|source| CalibrateError::Read { file: file.clone(), source })?;
        let (mut plan, notices) = Self::from_toml(&text, &file)?;
        let folder = path.parent().unwrap_or(Path::new(""));
        for attitude in &mut plan.attitude {
            attitude.capture = folder.join(&attitude.capture);
        }
        Ok((plan, notices))
    }

    /// Reads a plan from text. `file` is the name that errors and notices carry.
    ///
    /// # Errors
    /// As [`Plan::load`].
    pub fn from_toml(text: &str, file: &str) -> Result<(Self, Vec<Notice>), CalibrateError> {
        let (mut plan, notices) = tolerant_toml::parse::<Self>(text, file)?;
        for attitude in &mut plan.attitude {
            if attitude.name.is_empty() {
                attitude.name = attitude.capture.display().to_string();
            }
        }
        plan.check().map_err(|(place, problem)| CalibrateError::Plan {
            file: file.to_owned(),
            place,
            problem,
        })?;
        Ok((plan, notices))
    }

    fn check(&self) -> Result<(), (String, &'static str)> {
        let within = |key: &str, value: f64, low: f64, high: f64, problem| {
            if (low..=high).contains(&value) { Ok(()) } else { Err((key.to_owned(), problem)) }
        };
        within("angle_sigma_deg", self.angle_sigma_deg, 0.01, 10.0, "must be 0.01 to 10")?;
        within("place_sigma", self.place_sigma, 1e-5, 0.1, "must be 0.00001 to 0.1")?;
        within("strength_sigma", self.strength_sigma, 1e-5, 2.0, "must be 0.00001 to 2")?;
        within("expected.gain", self.expected.gain, 0.001, 0.5, "must be 0.001 to 0.5")?;
        within("expected.phase_deg", self.expected.phase_deg, 0.1, 45.0, "must be 0.1 to 45")?;
        within("expected.axis_deg", self.expected.axis_deg, 0.1, 10.0, "must be 0.1 to 10")?;
        if self.attitude.len() < 2 {
            return Err(("attitude".into(), "must list at least two recordings"));
        }
        for (n, attitude) in self.attitude.iter().enumerate() {
            attitude
                .check()
                .map_err(|problem| (format!("attitude {} ({})", n + 1, attitude.name), problem))?;
        }
        let used = self.slot_names();
        for slot in &self.slot {
            let place = format!("slot {}", slot.name);
            let field = DVec3::from_array(slot.field_t);
            if !used.contains(&slot.name.as_str()) {
                return Err((place, "no attitude names this slot; correct the name, or leave it out"));
            }
            if !field.is_finite() || field.length() <= 0.0 {
                return Err((place, "field_t must be three numbers, not all zero"));
            }
            within(&place, slot.field_sigma, 1e-5, 1.0, "field_sigma must be 0.00001 to 1")?;
        }
        Ok(())
    }

    /// The names of all slots, in order of appearance.
    pub fn slot_names(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for name in self.attitude.iter().flat_map(|a| &a.slots) {
            if !names.contains(&name.as_str()) {
                names.push(name);
            }
        }
        names
    }
}

impl Attitude {
    fn check(&self) -> Result<(), &'static str> {
        if self.capture.as_os_str().is_empty() {
            return Err("must name its capture");
        }
        if !(self.pitch_deg.is_finite() && self.roll_deg.is_finite()) {
            return Err("pitch_deg and roll_deg must be finite");
        }
        if let [lower, upper] = self.slots.as_slice()
            && lower == upper
        {
            return Err("both nodes cannot be in the same slot");
        }
        match (self.forward, self.up, self.heading_deg) {
            (Some(forward), Some(up), None) => {
                let [f, u] = [forward, up].map(|v| DVec3::from_array(v).normalize_or_zero());
                let sound = f.length() > 0.5 && u.length() > 0.5 && f.dot(u).abs() < 0.05;
                if sound { Ok(()) } else { Err("forward and up must be directions at right angles") }
            }
            (None, None, Some(heading)) if heading.is_finite() => Ok(()),
            _ => Err("give either forward and up, or heading_deg (with pitch_deg and roll_deg)"),
        }
    }

    /// The rotation from the mast frame to the room.
    pub fn rotation(&self) -> DMat3 {
        if let (Some(forward), Some(up)) = (self.forward, self.up) {
            let x = DVec3::from_array(forward).normalize_or(DVec3::X);
            let z = DVec3::from_array(up).reject_from_normalized(x).normalize_or(DVec3::Z);
            return DMat3::from_cols(x, z.cross(x), z);
        }
        let [heading_rad, pitch_rad, roll_rad] =
            [self.heading_deg.unwrap_or(0.0), self.pitch_deg, self.roll_deg].map(f64::to_radians);
        Pose { enu_m: DVec3::ZERO, heading_rad, pitch_rad, roll_rad }.rotation()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO: &str = "
        [[attitude]]
        capture = 'a'
        forward = [1, 0, 0]
        up = [0, 0, 1]
        slots = ['P', 'Q']
        [[attitude]]
        name = 'laid over'
        capture = 'b'
        heading_deg = 90
        pitch_deg = 90
        slots = ['Q', 'P']
    ";

    #[test]
    fn attitudes_are_rotations_from_the_mast_to_the_room() {
        let (plan, notices) = Plan::from_toml(TWO, "plan.toml").unwrap();
        assert!(notices.is_empty());
        assert_eq!(plan.attitude[0].name, "a");
        assert_eq!(plan.attitude[0].rotation(), DMat3::IDENTITY);
        // Facing along the first axis, then raised: forward is up, up is backwards.
        let laid = plan.attitude[1].rotation();
        assert!((laid * DVec3::X - DVec3::Z).length() < 1e-12);
        assert!((laid * DVec3::Z + DVec3::X).length() < 1e-12);
    }

    #[test]
    fn a_plan_that_cannot_be_names_the_place() {
        let say = |from: &str, to: &str| {
            Plan::from_toml(&TWO.replace(from, to), "plan.toml").unwrap_err().to_string()
        };
        assert!(say("up = [0, 0, 1]", "up = [1, 0, 0]").contains("attitude 1 (a): forward and up"));
        assert!(say("up = [0, 0, 1]", "").contains("give either forward and up, or heading_deg"));
        assert!(say("['Q', 'P']", "['Q', 'Q']").contains("attitude 2 (laid over): both nodes"));
        assert!(say("capture = 'b'", "").contains("must name its capture"));
        assert!(say("[[attitude]]", "[[attitudes]]").contains("at least two recordings"));
        let slot = "slot = [{ name = 'R', field_t = [0, 0, 1e-9] }]\n";
        let error = Plan::from_toml(&format!("{slot}{TWO}"), "plan.toml").unwrap_err();
        assert!(error.to_string().contains("slot R: no attitude names this slot"), "{error}");
        let error = Plan::from_toml(&format!("place_sigma = nan\n{TWO}"), "plan.toml").unwrap_err();
        assert!(error.to_string().contains("place_sigma"), "{error}");
    }
}
