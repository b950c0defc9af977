//! Lines traced: what a walk in lanes across one amounts to, for people and for machines; and what a load changed along a walk.

mod change;
mod found;
mod plan;
mod text;
mod told;
mod visit;

use nullwalk_core::depth::soil::Soil;
use nullwalk_core::error::ConfigError;
use nullwalk_core::looking::phasor_look;
use nullwalk_core::mains::Finding;
use nullwalk_core::trace::{self as core, Tracer};

use crate::book::Reason;
use crate::carried;
use crate::run::Walk;

pub use change::{Changed, changed};
pub use found::{Current, Listened, Second, Trace};
pub use plan::{Lane, Plan};
pub use visit::Visit;

/// Printed below whatever was traced.
pub const CAUTION: &str = "\
A located depth is no permission to dig. Follow local codes and licensed practice, have all utilities
notified and marked, and expose with safe means: depth and place may be wrong, other lines may be near.
The depth is that of the current's middle, not of the top of a pipe or duct.
";
/// and of a tone,
pub const TONE_CAUTION: &str = "\
Nothing heard does not mean nothing there: a line that does not carry this current makes no field.
";
/// or of mains.
pub const MAINS_CAUTION: &str = "\
Nothing detected is not proof: a cable without load, one whose currents balance, and one for direct
current make no field that is heard here. Switch on a large load and walk again.
";

/// What is known besides the recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// The soil.
    pub soil: Soil,
    /// Height of the ground in the site frame, metres.
    pub ground_up_m: f64,
    /// How high above it the lower node was carried, metres, where the recorded heights do not tell.
    pub carried_m: Option<f64>,
}

impl Default for Settings {
    fn default() -> Self {
        Self { soil: Soil::Unknown, ground_up_m: 0.0, carried_m: None }
    }
}

/// Trace the line that a walk crossed. `listen` is what was listened for.
///
/// # Errors
/// When the array has no two nodes, one above the other, or the height of the walk makes no sense.
pub fn trace(walk: &Walk, mains: bool, settings: &Settings) -> Result<Trace, ConfigError> {
    let recorded = walk.seen.iter().filter_map(|seen| seen.glimpse.mast.position);
    let recorded_up_m = recorded.map(|position| f64::from(position.enu_m.z));
    let carried_m =
        carried::height_m(settings.carried_m, recorded_up_m, settings.ground_up_m, &walk.array)?;
    // Where no grid was heard there is nothing to correct for.
    let tone_hz = if walk.frequency_hz > 0.0 { walk.frequency_hz as f32 } else { 50.0 };
    let tracer = Tracer::new(core::Settings {
        soil: settings.soil,
        node_height_m: carried_m as f32,
        ..core::Settings::of(&walk.array, tone_hz)
    })?;
    let mut state = tracer.start();
    let mut looks = 0;
    for seen in &walk.seen {
        let glimpse = &seen.glimpse;
        let position = glimpse.mast.position;
        let Some((look, position)) = phasor_look(glimpse, &walk.array, walk.inflation).zip(position) else {
            continue;
        };
        looks += 1;
        let wander_m = position.sigma_m;
        tracer.push(
            &mut state,
            core::Sight { at: glimpse.at, look, wander_m, phase_rad: None, saturated: false },
        );
    }
    for _ in 0..walk.clipped {
        // Counted, and not used: what it would show is missing where the field is strongest.
        if let Some(sight) = saturated(walk) {
            tracer.push(&mut state, sight);
        }
    }
    let listened = Listened {
        frequency_hz: walk.frequency_hz,
        mains,
        order: walk.order,
        grid_hz: walk.grid_hz,
        snr_db: walk.best_snr_db.is_finite().then_some(f64::from(walk.best_snr_db)),
        looks,
        left_out: walk.left_out,
        duration_s: walk.duration_s,
    };
    let mut found = told::told(&tracer.judge(&state), walk, listened);
    found.carried_m = carried_m;
    found.soil = soil_name(settings.soil);
    if mains && walk.order.is_none() {
        found.reasons = vec![Reason {
            code: "no-mains".to_owned(),
            sentence: Finding::Silent.sentence().to_owned(),
            remedy: "Then walk the same lanes once more.".to_owned(),
        }];
    }
    Ok(found)
}

fn saturated(walk: &Walk) -> Option<core::Sight> {
    let seen = walk.seen.first()?;
    let look = phasor_look(&seen.glimpse, &walk.array, walk.inflation)?;
    Some(core::Sight { at: seen.glimpse.at, look, wander_m: 0.0, phase_rad: None, saturated: true })
}

/// The word for a class of soil.
pub fn soil_name(soil: Soil) -> &'static str {
    match soil {
        Soil::Dry => "dry",
        Soil::Loam => "loam",
        Soil::Clay => "clay",
        Soil::Unknown => "unknown",
    }
}
