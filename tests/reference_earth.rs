//! Grids on the Earth against PROJ (`tests/reference/make_earth.py`).

use std::path::Path;

use glam::DVec2;
use nullwalk::job::{Anchor, Datum};
use serde::Deserialize;

#[derive(Deserialize)]
struct Row {
    datum: String,
    lat0_deg: f64,
    lon0_deg: f64,
    height0_m: f64,
    bearing_deg: f64,
    east_m: f64,
    north_m: f64,
    lat_deg: f64,
    lon_deg: f64,
    height_m: f64,
}

/// A minute of arc on a meridian is a sea mile.
const METRES_PER_DEGREE: f64 = 60.0 * 1852.0;

#[test]
fn grid_and_earth_agree_with_proj_within_a_millimetre_up_to_10_km() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/data/earth.csv");
    let mut rows = 0;
    let (mut worst_there, mut worst_back) = (0.0_f64, 0.0_f64);
    for row in csv::Reader::from_path(path).unwrap().deserialize() {
        let row: Row = row.unwrap();
        let datum: Datum = row.datum.parse().unwrap();
        let anchor = Anchor {
            latitude_deg: row.lat0_deg,
            longitude_deg: row.lon0_deg,
            ellipsoid_height_m: row.height0_m,
            sigma_m: 0.0,
            bearing_deg: row.bearing_deg,
            bearing_sigma_deg: 0.0,
        };
        let grid = DVec2::new(row.east_m, row.north_m);
        let earth = anchor.to_earth(datum, grid);
        let narrow = row.lat_deg.to_radians().cos();
        let east = (earth.longitude_deg - row.lon_deg + 180.0).rem_euclid(360.0) - 180.0;
        let there =
            DVec2::new(east * narrow, earth.latitude_deg - row.lat_deg).length() * METRES_PER_DEGREE;
        worst_there = worst_there.max(there).max((earth.height_m - row.height_m).abs());
        let back = anchor.to_grid(datum, row.lat_deg, row.lon_deg, Some(row.height_m));
        worst_back = worst_back.max(back.distance(grid));
        rows += 1;
    }
    println!("{rows} places: to the Earth within {worst_there:.1e} m, back within {worst_back:.1e} m");
    assert_eq!(rows, 240);
    assert!(worst_there < 1e-3 && worst_back < 1e-3, "{worst_there} {worst_back}");
}
