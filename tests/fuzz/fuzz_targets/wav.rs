//! Any bytes as a `samples.wav`, read to its end.
#![no_main]

use std::io::Cursor;
use std::path::Path;

use libfuzzer_sys::fuzz_target;
use nullwalk::capture::WavFrames;

fuzz_target!(|bytes: &[u8]| {
    let Ok(mut wav) = WavFrames::new(Cursor::new(bytes), Path::new("samples.wav")) else {
        return;
    };
    let mut frames = [[0; 2]; 64];
    while let Ok(1..) = wav.read(&mut frames) {}
    let _ = wav.notices();
});
