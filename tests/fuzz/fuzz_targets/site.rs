//! Any text as a site file; a site that passes its checks is simulated for two blocks.
#![no_main]

use libfuzzer_sys::fuzz_target;
use nullwalk::site::Site;
use nullwalk::synth::Simulation;
use nullwalk_core::frame::SampleSource;

fuzz_target!(|text: &str| {
    let Ok((site, _)) = Site::from_toml(text, "site.toml") else {
        return;
    };
    for station in 0..site.stations().len().min(2) {
        let Ok(mut simulation) = Simulation::<6>::new(&site, station, 1) else {
            continue;
        };
        let mut frames = [[0; 6]; 4096];
        for _ in 0..2 {
            let Ok(_) = simulation.read(&mut frames);
        }
    }
});
