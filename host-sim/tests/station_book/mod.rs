//! A field book of a handset that knows nothing but refused stations.

use std::ops::Range;

use nullwalk_core::record::{MAX_FRAME_BYTES, MAX_RECORD_BYTES, Record, Station, clipped, encode, frame};
use nullwalk_core::verdict::Reasons;

/// Stations and records of these numbers, as a card has them.
pub fn station_book(numbers: Range<u32>, name: &str) -> Vec<u8> {
    let mut stream = vec![0];
    for number in numbers {
        let station = Station {
            at: u64::from(number) * 8000,
            utc_s: None,
            number: number as u16,
            name: clipped(&format!("{name} {number}")),
            snr_db: 0.0,
            carrier_offset_hz: 0.0,
            found: Err(Reasons::default()),
        };
        let (mut record, mut framed) = ([0; MAX_RECORD_BYTES], [0; MAX_FRAME_BYTES]);
        let bytes = encode(&Record::Station(station), number, &mut record).expect("it has room");
        stream.extend_from_slice(frame(bytes, &mut framed).expect("it has room"));
    }
    stream
}
