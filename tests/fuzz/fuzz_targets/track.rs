//! Any bytes as a `track.csv`.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use nullwalk::capture::Track;

const HEAD: &[u8] = b"time_s,east_m,north_m,up_m,heading_deg,pitch_deg,roll_deg,sigma_m,rung,dropped\n";

fuzz_target!(|bytes: &[u8]| {
    let parse = |bytes| Track::parse(bytes, Path::new("track.csv"), 8000.0, 0.05, 4, &mut Vec::new());
    let _ = parse(bytes);
    // Few inputs find a header by themselves.
    let _ = parse([HEAD, bytes].concat().as_slice());
});
