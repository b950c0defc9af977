//! Any text as a plan of bench trials, in which the first trial of every kind is drawn.
#![no_main]

use std::io;

use libfuzzer_sys::fuzz_target;
use nullwalk::trials::Plan;

fuzz_target!(|text: &str| {
    let _ = Plan::with_site(text, "plan.toml", |name| {
        (name.to_owned(), Err(io::Error::from(io::ErrorKind::NotFound)))
    });
});
