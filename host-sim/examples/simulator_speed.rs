//! How fast the simulator runs, by site: `cargo run --release --example simulator_speed`.

use std::time::Instant;

use nullwalk::site::{Site, SiteError, builtin};
use nullwalk::synth::Simulation;
use nullwalk_core::frame::SampleSource;

/// Simulated time of one measurement: long enough to last a good part of a second.
const SIMULATED_S: f64 = 300.0;

fn main() -> Result<(), SiteError> {
    println!("{:12} {:>14} {:>22}", "site", "x real time", "ns per sample, channel");
    for entry in builtin() {
        let site = entry.site()?;
        // The best of a few: anything else that runs here can only slow it down.
        let mut best_s = f64::INFINITY;
        for _ in 0..5 {
            best_s = best_s.min(seconds(&site)?);
        }
        let samples = SIMULATED_S * site.signal.sample_rate_hz * site.signal.channels as f64;
        println!("{:12} {:>14.0} {:>22.1}", entry.name, SIMULATED_S / best_s, best_s / samples * 1e9);
    }
    Ok(())
}

/// Wall time that `SIMULATED_S` of a site's walks, one after the other, take.
fn seconds(site: &Site) -> Result<f64, SiteError> {
    let mut frames = [[0; 6]; 400];
    let mut left = (SIMULATED_S * site.signal.sample_rate_hz) as usize;
    let begin = Instant::now();
    for seed in 0.. {
        let mut simulation = Simulation::<6>::new(site, 0, seed)?;
        let mut rung = 0;
        while let Ok(Some(block)) = simulation.read(&mut frames) {
            std::hint::black_box(&frames);
            left = left.saturating_sub(block.frames);
            if left == 0 {
                return Ok(begin.elapsed().as_secs_f64());
            }
            // A change of rung every two seconds, more often than any instrument makes.
            rung = (block.start / 16_000 % 5) as u8;
            simulation.set_rung(rung);
        }
        std::hint::black_box(rung);
    }
    Ok(f64::NAN)
}
