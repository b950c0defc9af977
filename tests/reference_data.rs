//! Tables of reference data. `reference/README.md` says how they were made.

use std::fs::File;
use std::path::{Path, PathBuf};

use glam::Vec3;
use nullwalk_core::fit::{Look, Ring};
use serde::de::DeserializeOwned;

fn open(name: &str) -> (PathBuf, File) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/data").join(name);
    let file = File::open(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    (path, file)
}

/// The rows of a table.
///
/// # Panics
/// When there is no such table, or it holds something else.
pub fn rows<T: DeserializeOwned>(name: &str) -> Vec<T> {
    let (path, file) = open(name);
    let rows: Result<Vec<T>, _> = csv::Reader::from_reader(file).into_deserialize().collect();
    rows.unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// A JSON document.
///
/// # Panics
/// When there is no such document, or it holds something else.
pub fn document<T: DeserializeOwned>(name: &str) -> T {
    let (path, file) = open(name);
    serde_json::from_reader(file).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Number of the walk; place, upper node, field at the lower and at the upper node; sigma of both; sigma of the place.
type LookRow = (usize, [f32; 3], [f32; 3], [f32; 3], [f32; 3], [f32; 2], [f32; 3]);

/// Several walks, none of so many looks that any would be merged.
///
/// # Panics
/// As [`rows`], and when the walks are not numbered from 0.
pub fn walks(name: &str) -> Vec<Ring<128>> {
    let mut walks: Vec<Ring<128>> = Vec::new();
    for (walk, at_m, upper_m, lower_nt, upper_nt, sigma_nt, pose_sigma_m) in rows::<LookRow>(name) {
        if walk == walks.len() {
            walks.push(Ring::default());
        }
        walks[walk].push(Look {
            at_m: Vec3::from_array(at_m),
            upper_m: Vec3::from_array(upper_m),
            fields_nt: [lower_nt, upper_nt].map(Vec3::from_array),
            sigma_nt,
            pose_sigma_m: Vec3::from_array(pose_sigma_m),
            spread_m: Vec3::ZERO,
        });
    }
    walks
}
