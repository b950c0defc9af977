//! Lines of runs against those that scipy fits (`tests/reference/make_alignment.py`).

use std::fs::File;
use std::path::Path;

use glam::DVec2;
use nullwalk::alignment::{Level, PlanStation, plan, profile};
use nullwalk::book::Measured;
use nullwalk::job::{Cov, Spot};
use serde::Deserialize;

#[derive(Deserialize)]
struct Run {
    stations: Vec<Station>,
    bends: Vec<usize>,
    line: Vec<[f64; 2]>,
    cov: Vec<[f64; 3]>,
    chi_square: f64,
    chainage: Vec<f64>,
    heights: Vec<f64>,
    height_sigmas: Vec<f64>,
}

#[derive(Deserialize)]
struct Station {
    at: [f64; 2],
    cov: [f64; 3],
    lay_deg: Option<f64>,
    lay_sigma_deg: f64,
    height: f64,
    height_sigma: f64,
}

fn runs() -> Vec<Run> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/data/alignment.json");
    serde_json::from_reader(File::open(path).unwrap()).unwrap()
}

fn stations(run: &Run, told: bool) -> Vec<PlanStation> {
    let station = |(k, s): (usize, &Station)| PlanStation {
        spot: Spot { at: DVec2::from(s.at), cov: Cov(s.cov) },
        lay_deg: s.lay_deg.map(|value| Measured { value, sigma: s.lay_sigma_deg }),
        bends: told && run.bends.contains(&k),
    };
    run.stations.iter().enumerate().map(station).collect()
}

const WANDER_RAD: f64 = 2.0 * std::f64::consts::PI / 180.0;

#[test]
fn lines_and_their_uncertainty_are_those_of_scipy() {
    let runs = runs();
    assert_eq!(runs.len(), 24);
    for (n, run) in runs.iter().enumerate() {
        let found = plan(&stations(run, true), WANDER_RAD).unwrap();
        assert_eq!(found.bends, run.bends, "run {n}");
        for (k, at) in found.at.iter().enumerate() {
            let off = at.distance(DVec2::from(run.line[k]));
            assert!(off < 1e-7, "run {n}, station {k}: {off} m");
            // Variances of square centimetres.
            for (ours, theirs) in found.cov(k).0.iter().zip(run.cov[k]) {
                assert!((ours - theirs).abs() < 1e-8, "run {n}, station {k}: {ours} and {theirs}");
            }
        }
        assert!((found.chi_square - run.chi_square).abs() < 1e-5 * (1.0 + run.chi_square), "run {n}");
    }
}

#[test]
fn profiles_and_their_uncertainty_are_those_of_scipy() {
    for (n, run) in runs().iter().enumerate() {
        let levels = run.stations.iter().zip(&run.chainage).map(|(s, &chainage_m)| Level {
            chainage_m,
            height_m: s.height,
            sigma_m: s.height_sigma,
        });
        let found = profile(&levels.collect::<Vec<_>>(), 0.01).unwrap();
        assert_eq!(found.breaks, [0; 0], "run {n}");
        for (k, height) in found.height_m.iter().enumerate() {
            assert!((height - run.heights[k]).abs() < 1e-7, "run {n}, station {k}");
            assert!((found.sigma_m(k) - run.height_sigmas[k]).abs() < 1e-7, "run {n}, station {k}");
        }
    }
}

#[test]
fn bends_are_found_where_they_are() {
    // Of 35 degrees, between segments of 2 m and more, measured within 8 cm: each is many times what chance does.
    for (n, run) in runs().iter().enumerate() {
        let found = plan(&stations(run, false), WANDER_RAD).unwrap();
        // Two bends beside each other may be told as one and its neighbour.
        let near = |k: &usize| run.bends.iter().any(|b| b.abs_diff(*k) <= 1);
        assert!(found.bends.iter().all(near), "run {n}: {:?} for {:?}", found.bends, run.bends);
        if run.bends.windows(2).all(|w| w[1] - w[0] > 2) {
            assert_eq!(found.bends, run.bends, "run {n}");
        }
    }
}
