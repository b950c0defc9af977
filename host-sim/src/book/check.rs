//! Whether the figures of a run can be true at all.

use thiserror::Error;

use super::{Estimate, Pipe, Run, Station, ToleranceZone};

/// A figure that cannot be true: where it stands and what would be.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{place} {remedy}")]
pub struct Fault {
    /// Which figure, as in `station 3: depth_to_source_m`.
    pub place: String,
    /// What is asked of it.
    pub remedy: &'static str,
}

/// Farthest from the site's origin that a station may lie: a tenth of the Earth's quadrant. Beyond it the
/// numbers are not site coordinates but something else.
const FARTHEST_M: f64 = 1e6;
const DEEPEST_M: f64 = 1e3;

impl Run {
    /// Whether every figure is a number within reason.
    ///
    /// # Errors
    /// Names the first figure that is not.
    pub fn check(&self) -> Result<(), Fault> {
        check_pipe(&self.pipe)?;
        check_zone(&self.tolerance_zone)?;
        self.stations.iter().try_for_each(check_station)
    }
}

fn check_pipe(pipe: &Pipe) -> Result<(), Fault> {
    let size = |value: Option<f64>| value.is_none_or(|v| (0.0..=20.0).contains(&v));
    let remedy = "must be 0 to 20 m, or left out when unknown";
    require(size(pipe.bore_m), "pipe.bore_m", remedy)?;
    require(size(pipe.wall_m), "pipe.wall_m", remedy)?;
    require(size(pipe.beacon_diameter_m), "pipe.beacon_diameter_m", remedy)?;
    let fits = pipe.beacon_diameter_m <= pipe.bore_m || pipe.bore_m.is_none();
    require(fits, "pipe.beacon_diameter_m", "must not exceed the bore it is in")
}

fn check_zone(zone: &ToleranceZone) -> Result<(), Fault> {
    require((0.0..=100.0).contains(&zone.legal_m), "tolerance_zone.legal_m", "must be 0 to 100 m")?;
    require(
        zone.facility_width_m.is_none_or(|v| (0.0..=100.0).contains(&v)),
        "tolerance_zone.facility_width_m",
        "must be 0 to 100 m, or left out when unknown",
    )
}

fn check_station(station: &Station) -> Result<(), Fault> {
    let check = |holds: bool, figure: &str, remedy: &'static str| {
        require(holds, &format!("station {}: {figure}", station.number), remedy)
    };
    let near = |metres: f64| metres.abs() <= FARTHEST_M;
    if let Some(p) = station.position {
        let sane = near(p.east_m) && near(p.north_m) && (0.0..=FARTHEST_M).contains(&p.sigma_m);
        check(sane, "position", "must lie within 1000 km, with a sigma of 0 to 1000 km")?;
    }
    if let Some(lay) = station.lay_deg {
        let sane = lay.value.abs() <= 360.0 && (0.0..=360.0).contains(&lay.sigma);
        check(sane, "lay_deg", "must be -360 to 360, with a sigma of 0 to 360")?;
    }
    let remedy = "must have 0 <= low95 <= value <= high95 <= 1000 m and sigma >= 0";
    let depth_sane = |e: Option<Estimate>| e.is_none_or(|e| is_depth(&e));
    check(depth_sane(station.depth_to_source_m), "depth_to_source_m", remedy)?;
    let sane = station.shallow_bound_m.is_none_or(|m| (0.0..=DEEPEST_M).contains(&m));
    check(sane, "shallow_bound_m", "must be 0 to 1000 m")?;
    for method in &station.methods {
        check(depth_sane(method.estimate), &format!("method {:?}", method.method), remedy)?;
    }
    if let Some(tone) = station.tone {
        let sane = [tone.nominal_hz, tone.offset_hz, tone.snr_db].iter().all(|v| v.abs() <= 1e6);
        check(sane, "tone", "must be of -1e6 to 1e6")?;
    }
    if let Some(t) = station.truth {
        let sane = near(t.east_m) && near(t.north_m) && (0.0..=DEEPEST_M).contains(&t.depth_to_source_m);
        check(sane, "truth", "must lie within 1000 km and 0 to 1000 m deep")?;
    }
    Ok(())
}

fn is_depth(e: &Estimate) -> bool {
    let rising = 0.0 <= e.low95 && e.low95 <= e.value && e.value <= e.high95;
    rising && e.high95 <= DEEPEST_M && (0.0..=DEEPEST_M).contains(&e.sigma)
}

fn require(holds: bool, place: &str, remedy: &'static str) -> Result<(), Fault> {
    if holds { Ok(()) } else { Err(Fault { place: place.to_owned(), remedy }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::SitePosition;

    fn with_depth(low95: f64, value: f64, high95: f64) -> Run {
        let depth = Estimate { value, sigma: 0.1, low95, high95 };
        let station = Station { number: 3, depth_to_source_m: Some(depth), ..Station::default() };
        Run { stations: vec![station], ..Run::default() }
    }

    #[test]
    fn names_the_place_of_an_impossible_figure() {
        assert_eq!(with_depth(0.9, 1.0, 1.1).check(), Ok(()));
        for (low, value, high) in [
            (1.1, 1.0, 1.2),
            (0.9, 1.3, 1.2),
            (-0.1, 1.0, 1.2),
            (0.9, f64::NAN, 1.2),
            (0.9, 1.0, f64::INFINITY),
        ] {
            let fault = with_depth(low, value, high).check().unwrap_err();
            assert_eq!(fault.place, "station 3: depth_to_source_m");
        }
    }

    #[test]
    fn positions_must_be_numbers() {
        let position = SitePosition { east_m: f64::NAN, north_m: 0.0, sigma_m: 0.1 };
        let station = Station { position: Some(position), ..Station::default() };
        let run = Run { stations: vec![station], ..Run::default() };
        assert!(run.check().unwrap_err().to_string().starts_with("station 0: position must lie"));
    }

    #[test]
    fn a_beacon_must_fit_its_pipe() {
        let pipe = Pipe { bore_m: Some(0.05), wall_m: None, beacon_diameter_m: Some(0.06) };
        assert!(Run { pipe, ..Run::default() }.check().is_err());
        let unknown_bore = Pipe { bore_m: None, ..pipe };
        assert!(Run { pipe: unknown_bore, ..Run::default() }.check().is_ok());
    }
}
