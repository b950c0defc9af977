//! What is not there is not found, and what is there is heard as soon as it can be.
//!
//! `cargo test --release -p nullwalk-tests --test silence -- --nocapture` prints the figures.

use nullwalk::run::{self, Event, Outcome};
use nullwalk::site::{Direction, Lane, Leg, Site, Sonde, Stand, builtin};
use nullwalk::synth::Simulation;
use nullwalk_core::locate::Phase;
use rayon::prelude::*;

fn site(name: &str) -> Site {
    builtin().iter().find(|b| b.name == name).expect("a built-in site").site().expect("a sound site")
}

fn locate(site: &Site, seed: u64) -> Outcome {
    let mut simulation = Simulation::<6>::new(site, 0, seed).expect("a simulation");
    let ladder = site.front_end.ladder().expect("a ladder");
    let array = site.array.array().expect("an array").expect("nodes");
    let instrument = run::instrument::<6>(&site.signal, ladder, array).expect("an instrument");
    let Ok(outcome) = run::locate(&instrument, &mut simulation, None, |_| ());
    outcome
}

#[test]
fn ten_hours_of_noise_hum_and_impulses_give_not_one_fix() {
    // Five-minute walks of lanes and halts under a power line; half of them on a 60 Hz grid.
    let lane = |degrees: f64| Leg::Lane(Lane { direction: Direction::Bearing(degrees), length_m: 12.0 });
    let stand = || Leg::Stand(Stand { seconds: 10.0 });
    let walk: Vec<Leg> =
        (0..8).flat_map(|n| [lane(45.0 * f64::from(n)), stand()]).cycle().take(20).collect();
    let found: Vec<Outcome> = (0..240_u64)
        .into_par_iter()
        .map(|seed| {
            let mut lot = site("empty-lot");
            lot.walk = walk.clone();
            if seed % 2 == 1 {
                lot.noise.mains.as_mut().expect("mains").frequency_hz = 60.0;
            }
            locate(&lot, seed)
        })
        .collect();
    let hours = found.iter().map(|o| o.duration_s).sum::<f64>() / 3600.0;
    let fixes: usize = found.iter().map(|o| o.fixes).sum();
    let heard =
        |o: &&Outcome| o.log.iter().any(|m| matches!(m.event, Event::Phase(p) if p != Phase::Listen));
    println!(
        "{hours:.1} h of noise: {fixes} fixes; the tone was thought to be heard in {} of {} walks",
        found.iter().filter(heard).count(),
        found.len()
    );
    assert!(hours >= 10.0, "{hours}");
    assert_eq!(fixes, 0);
}

#[test]
fn detection_probability_rises_from_none_to_sure() {
    // One sonde 3 m below a mast that stands still over it. Strengths in steps of 2 dB about the one whose
    // field equals the noise of one output window (7 Hz wide, six components).
    const WALKS: u64 = 100;
    let noise_t = 5e-12 * 7.0_f64.sqrt();
    let depth_m = 3.0;
    let unit_moment = noise_t * (depth_m + 0.15_f64).powi(3) / 1e-7;
    println!("snr at the lower node   heard within 10 s");
    let mut shares = Vec::new();
    for snr_db in (0..=28).step_by(2).map(f64::from) {
        let mut lot = site("clean-level");
        lot.station = vec![nullwalk::site::Station {
            start: nullwalk::site::Start { east_m: 0.0, north_m: 0.0, heading_deg: 90.0 },
            ..Default::default()
        }];
        lot.walk = vec![Leg::Stand(Stand { seconds: 10.0 })];
        let moment_a_m2 = unit_moment * 10_f64.powf(snr_db / 20.0);
        lot.source = vec![Sonde { depth_m, moment_a_m2, ..Sonde::default() }];
        let heard = (0..WALKS)
            .into_par_iter()
            .filter(|&seed| {
                let outcome = locate(&lot, seed);
                outcome.log.iter().any(|m| matches!(m.event, Event::Phase(p) if p != Phase::Listen))
            })
            .count();
        println!("{snr_db:>10} dB {:>20.0} %", 100.0 * heard as f64 / WALKS as f64);
        shares.push(heard as f64 / WALKS as f64);
    }
    assert!(shares[0] < 0.02, "hears what drowns in noise");
    assert!(*shares.last().unwrap() > 0.99, "misses what stands out");
    assert!(shares.windows(2).all(|w| w[1] >= w[0] - 0.1), "not rising: {shares:?}");
}
