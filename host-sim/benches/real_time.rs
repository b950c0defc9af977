//! How fast simulator and core run on one core, by site: `cargo bench -p nullwalk`.

use std::error::Error;
use std::time::Instant;

use nullwalk::run;
use nullwalk::site::{Site, builtin};
use nullwalk::synth::Simulation;
use nullwalk_core::frame::SampleSource;

/// Simulated time of one measurement: long enough to last a good part of a second.
const SIMULATED_S: f64 = 300.0;
/// Anything else that runs on the machine can only slow a run down: the best of so many is told.
const TRIES: usize = 5;

fn main() -> Result<(), Box<dyn Error>> {
    println!("times faster than real time, 6 channels at 8 kHz, one core");
    println!("{:12} {:>16} {:>16}", "site", "simulator", "simulator + core");
    for entry in builtin() {
        let site = entry.site()?;
        let alone = best(|seed| simulate(&site, seed))?;
        let whole = best(|seed| locate(&site, seed))?;
        println!("{:12} {alone:>16.0} {whole:>16.0}", entry.name);
    }
    Ok(())
}

/// Best ratio of simulated time to elapsed time; `run` simulates one walk and tells its length.
fn best(mut run: impl FnMut(u64) -> Result<f64, Box<dyn Error>>) -> Result<f64, Box<dyn Error>> {
    let mut best = 0.0_f64;
    for _ in 0..TRIES {
        let begin = Instant::now();
        let mut simulated_s = 0.0;
        for seed in 0.. {
            simulated_s += run(seed)?;
            if simulated_s >= SIMULATED_S {
                break;
            }
        }
        best = best.max(simulated_s / begin.elapsed().as_secs_f64());
    }
    Ok(best)
}

fn simulate(site: &Site, seed: u64) -> Result<f64, Box<dyn Error>> {
    let mut frames = [[0; 6]; 400];
    let mut simulation = Simulation::<6>::new(site, 0, seed)?;
    let mut samples = 0;
    while let Ok(Some(block)) = simulation.read(&mut frames) {
        samples += std::hint::black_box(&frames).len().min(block.frames);
        // A change of rung every two seconds, more often than any instrument makes.
        simulation.set_rung((block.start / 16_000 % 5) as u8);
    }
    Ok(samples as f64 / site.signal.sample_rate_hz)
}

fn locate(site: &Site, seed: u64) -> Result<f64, Box<dyn Error>> {
    let mut simulation = Simulation::<6>::new(site, 0, seed)?;
    let array = site.array.array()?.ok_or("no nodes")?;
    let instrument = run::instrument::<6>(&site.signal, site.front_end.ladder()?, array)?;
    let Ok(outcome) = run::locate(&instrument, &mut simulation, None, |_| ());
    Ok(std::hint::black_box(outcome).duration_s)
}
