//! The plan of distorted sites asks what it says it asks.

use nullwalk::site::{Leg, Site, To};
use nullwalk::synth::Simulation;
use nullwalk::trials::{Kind, Plan};

fn plan() -> Plan {
    let (plan, notices) = Plan::open("distorted").unwrap();
    assert!(notices.is_empty(), "{notices:?}");
    plan
}

fn sites<'a>(plan: &'a Plan, kind: &'a Kind) -> impl Iterator<Item = Site> + 'a {
    (0..50).map(|number| plan.scene(kind, number).unwrap().site)
}

#[test]
fn there_are_thousands_and_every_one_can_be_simulated() {
    let plan = plan();
    assert!(plan.kinds.iter().map(|kind| kind.trials).sum::<u64>() >= 5000);
    for kind in &plan.kinds {
        for site in sites(&plan, kind) {
            Simulation::<6>::new(&site, 0, 1).unwrap();
        }
    }
}

/// Every kind has something wrong that the nominal plan has not, and in each trial.
#[test]
fn every_kind_distorts() {
    let plan = plan();
    for kind in &plan.kinds {
        for site in sites(&plan, kind) {
            let (sonde, noise) = (site.source[0], &site.noise);
            let track = &noise.track;
            let distorted = match kind.name.as_str() {
                name if name.starts_with("line") || name.starts_with("bend") => site.line.len() == 1,
                name if name.starts_with("second-sonde") => {
                    let second = site.source[1];
                    second.offset_hz == sonde.offset_hz && second.east_m >= 0.49 * sonde.depth_m
                }
                "iron-pipe" => sonde.iron.is_some(),
                "riser" => sonde.pitch_deg.abs() >= 40.0,
                "outside" => sonde.east_m >= 0.69 * sonde.depth_m,
                "wrong-tone" => sonde.tone_hz.is_some_and(|tone| (tone - 512.0).abs() >= 3.0),
                "fading" => sonde.moment_drift_per_s != 0.0,
                "calibration" => noise.calibration_scale >= 2.0,
                "positions" => track.sigma_m() < 0.51 * track.wander_m,
                name if name.starts_with("early-rail") => {
                    noise.true_rail_fraction.is_some_and(|f| f <= 1.0)
                }
                other => panic!("a kind that nothing is known of: {other}"),
            };
            assert!(distorted, "{}", kind.name);
        }
    }
}

/// What a kind gives as a whole is not varied in parts that the common walk has: here its lanes.
#[test]
fn outside_the_walked_area_means_outside() {
    let plan = plan();
    let kind = plan.kinds.iter().find(|kind| kind.name == "outside").unwrap();
    for site in sites(&plan, kind) {
        assert!(!site.walk.iter().any(|leg| matches!(leg, Leg::Home(_) | Leg::Lane(_))));
        let furthest_m = site
            .walk
            .iter()
            .filter_map(|leg| if let Leg::To(To { east_m, .. }) = leg { Some(*east_m) } else { None })
            .fold(site.station[0].start.east_m, f64::max);
        assert!(furthest_m < 1e-9, "{furthest_m}");
    }
}
