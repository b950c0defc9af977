//! From samples to looks at lines, for a tone and for mains: simulated ground, walked in lanes across a line.
//! Prints its tables (`cargo test --release -p nullwalk --test looks -- --nocapture`).

use glam::Vec3;
use nullwalk::run::{Kit, Listen, Walk, walk};
use nullwalk::site::{Lanes, Leg, Line, Mains, Site, Start, Station};
use nullwalk::synth::Simulation;
use nullwalk_core::depth::Measured;
use nullwalk_core::fit::line::{self, Traced, UNKNOWNS};
use nullwalk_core::fit::{Look, Ring};
use nullwalk_core::looking;

const CARRIED_M: f32 = 0.15;
/// Where the line passes: east of the origin, on a bearing of 10 degrees.
const EAST_M: f64 = 0.4;

/// Three lanes across a line at a depth; positions are exact, so that what is left is the chain's own.
fn site(line: Line) -> Site {
    let mut site = Site::default();
    site.signal.tone_hz = 8192.0;
    site.signal.sample_rate_hz = 24_000.0;
    site.front_end.high_pass_hz = Some(20.0);
    site.noise.calibration_error = false;
    site.noise.track.wander_m = 0.0;
    site.noise.track.white_m = 0.0;
    site.noise.track.up_m = 0.0;
    site.noise.track.heading_deg = 0.0;
    site.line = vec![Line { east_m: EAST_M, bearing_deg: 10.0, length_m: 500.0, ..line }];
    let lanes = Lanes { bearing_deg: 90.0, ..Lanes::default() };
    site.station = vec![Station {
        start: Start { east_m: -3.5, north_m: 0.5, heading_deg: 90.0 },
        walk: vec![Leg::Lanes(lanes)],
        ..Station::default()
    }];
    site
}

fn heard(site: &Site, listen: Listen, seed: u64) -> Walk {
    let array = nullwalk::equipment::coupled(&site.array, &site.front_end, &site.signal).unwrap().unwrap();
    let kit = Kit { signal: site.signal.clone(), ladder: site.front_end.ladder().unwrap(), array };
    let mut simulation = Simulation::<6>::new(site, 0, seed).unwrap();
    let Ok(walk) = walk(&kit, listen, &mut simulation).unwrap();
    walk
}

fn fitted(walk: &Walk) -> Traced<line::Line, UNKNOWNS> {
    let mut ring = Ring::<128, Look>::default();
    walk.looks().for_each(|sight| ring.push(sight.look));
    let start = line::start(&ring).expect("looks at a line");
    let shared = looking::shared(&walk.array, 0.001, walk.inflation);
    line::traverse(&ring, start, &shared, Measured::default()).expect("three lanes")
}

/// Off by: metres across, metres in depth, the current over the true one.
fn off(walk: &Walk, depth_m: f64) -> [f64; 3] {
    let found = fitted(walk);
    let place = Vec3::new(EAST_M as f32, 0.0, CARRIED_M);
    let depth = found.depth_below_m(place);
    let across = found.left_of_m(place);
    [
        f64::from(across.value),
        f64::from(depth.value - CARRIED_M) - depth_m,
        f64::from(found.current_a().value),
    ]
}

#[test]
fn a_tone_on_a_line_is_seen_where_it_is() {
    for depth_m in [0.6, 1.5] {
        let site = site(Line { depth_m, current_a: 0.02, ..Line::default() });
        let walk = heard(&site, Listen::Tone, 1);
        assert!(walk.order.is_none() && walk.clipped == 0);
        let [across_m, deeper_m, current_a] = off(&walk, depth_m);
        println!(
            "8192 Hz, {depth_m} m: across {:.1} mm, depth {:+.1} mm, current {:.2} mA, {:.0} dB, {} looks",
            1e3 * across_m,
            1e3 * deeper_m,
            1e3 * current_a,
            walk.best_snr_db,
            walk.seen.len(),
        );
        assert!(across_m.abs() < 0.02 && deeper_m.abs() < 0.02 * (1.0 + depth_m));
        assert!((current_a / 0.02 - 1.0).abs() < 0.02);
    }
}

/// The grid of a cable, its harmonics, and how it is off.
fn cable(hz: f64, mains_a: &[f64], drift_hz_per_s: f64) -> Site {
    let depth_m = 0.7;
    let mut site = site(Line { depth_m, current_a: 0.0, mains_a: mains_a.to_vec(), ..Line::default() });
    let grid = Mains { frequency_hz: hz, drift_hz_per_s, harmonics_t: Vec::new(), ..Mains::default() };
    site.noise.mains = Some(grid);
    site
}

#[test]
fn live_power_is_seen_where_it_is() {
    for nominal_hz in [50.0, 60.0] {
        for (stray, mains_a, drift, order) in [
            (-0.01, [0.5, 0.0, 0.1], 0.0, 1),
            (0.01, [0.5, 0.0, 0.1], 0.0, 1),
            (-0.004, [0.0, 0.0, 0.2], 0.0, 3),
            (0.009, [0.0, 0.0, 0.2], 0.0, 3),
            (-0.005, [0.3, 0.0, 0.0], 0.01, 1),
        ] {
            let site = cable(nominal_hz * (1.0 + stray), &mains_a, drift);
            let walk = heard(&site, Listen::Mains(None), 2);
            let [across_m, deeper_m, current_a] = off(&walk, 0.7);
            println!(
                "{nominal_hz} Hz {:+.1} %, drift {drift} Hz/s, on harmonic {:?} at {:.2} Hz: across {:.1} mm, depth {:+.1} mm, \
                 current {:.1} mA",
                100.0 * stray,
                walk.order,
                walk.frequency_hz,
                1e3 * across_m,
                1e3 * deeper_m,
                1e3 * current_a
            );
            assert_eq!(walk.order, Some(order));
            assert!(across_m.abs() < 0.02 && deeper_m.abs() < 0.03, "{across_m} {deeper_m}");
            // The calibration at the tone holds at mains because the coupling is known.
            assert!((current_a / mains_a[order - 1] - 1.0).abs() < 0.02, "{current_a}");
        }
    }
}
