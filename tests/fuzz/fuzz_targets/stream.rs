//! Any bytes from a wire; and as a payload of every kind.
#![no_main]

use libfuzzer_sys::fuzz_target;
use nullwalk_core::record::{Deframer, Envelope, Kind, MAX_RECORD_BYTES, VERSION, encode};

fuzz_target!(|bytes: &[u8]| {
    let mut deframer = Deframer::default();
    for &byte in bytes {
        if let Some(Ok(envelope)) = deframer.push(byte) {
            let _ = envelope.open();
        }
    }
    for kind in Kind::ALL {
        // What is read can be written, and then reads the same.
        let envelope = Envelope { version: VERSION, kind: kind.code(), sequence: 1, payload: bytes, bytes: &[] };
        if let Ok(record) = envelope.open() {
            let mut written = [0; MAX_RECORD_BYTES];
            let written = encode(&record, 1, &mut written).expect("there is room for any record");
            let again = Envelope::whole(written).expect("whole").open().expect("readable");
            assert_eq!(format!("{again:?}"), format!("{record:?}"));
        }
    }
});
