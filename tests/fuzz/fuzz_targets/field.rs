//! Any bytes as a `field.csv`.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use nullwalk::capture::FieldRecording;

const HEAD: &[u8] =
    b"time_s,n0x_re_t,n0x_im_t,n0y_re_t,n0y_im_t,n0z_re_t,n0z_im_t,sigma_t,east_m,north_m\n";

fuzz_target!(|bytes: &[u8]| {
    let parse = |bytes| FieldRecording::parse(bytes, Path::new("field.csv"), 0.05, &mut Vec::new());
    let _ = parse(bytes);
    // Few inputs find a header by themselves.
    let _ = parse([HEAD, bytes].concat().as_slice());
});
