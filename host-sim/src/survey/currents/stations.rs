//! The books of a run that was traced station by station.

use glam::DVec2;

use super::{Books, Fix, LEAST, keep};
use crate::book::Run;
use crate::survey::SurveyError;

/// Keep the books of a run's stations, in their order. Distances are those of the straight ways between them, in plan; a
/// station without a place or a current is left out.
///
/// # Errors
/// When too few are left.
pub fn of_run(run: &Run) -> Result<Books, SurveyError> {
    let (mut at_m, mut last) = (0.0, None::<DVec2>);
    let mut fixes = Vec::new();
    for station in &run.stations {
        let Some((place, current)) = station.position.zip(station.current_ma) else { continue };
        let here = DVec2::new(place.east_m, place.north_m);
        at_m += last.map_or(0.0, |last| last.distance(here));
        last = Some(here);
        let depth = station.stated_depth_m();
        fixes.push(Fix {
            name: if station.name.is_empty() {
                format!("station {}", station.number)
            } else {
                station.name.clone()
            },
            run: run.title.clone(),
            // To the centimetre: nobody paints a mark more finely.
            at_m: (100.0 * at_m).round() / 100.0,
            current_ma: current.value,
            sigma_ma: Some(current.sigma),
            depth_m: depth.map(|depth| depth.value),
            depth_sigma_m: depth.map(|depth| depth.sigma),
            ..Fix::default()
        });
    }
    if fixes.len() < LEAST {
        let (run, found, of) = (run.title.clone(), fixes.len(), run.stations.len());
        return Err(SurveyError::Stations { run, found, of });
    }
    Ok(keep(fixes))
}
