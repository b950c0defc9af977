//! Any text as a `capture.toml`.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use nullwalk::capture::Manifest;

fuzz_target!(|text: &str| {
    let file = Path::new("capture.toml");
    let _ = Manifest::parse(text, file, &mut Vec::new());
    // Few inputs find these two lines by themselves.
    let text = format!("format = \"nullwalk-capture\"\nversion = 1\n{text}");
    let _ = Manifest::parse(&text, file, &mut Vec::new());
});
