//! What a handset says of one locate on a clean site.

use std::sync::OnceLock;

use nullwalk::run;
use nullwalk::site::builtin;
use nullwalk::synth::Simulation;
use nullwalk_core::locate::Settings;
use nullwalk_core::record::{
    Header, Hop, MAX_FRAME_BYTES, MAX_RECORD_BYTES, Record, Reset, clipped, encode, frame,
};

/// Header, then hop, guidance and fix of every output, as they go over a wire.
pub fn handset_records() -> &'static [Record] {
    static RECORDS: OnceLock<Vec<Record>> = OnceLock::new();
    RECORDS.get_or_init(|| {
        let found = builtin().iter().find(|site| site.name == "clean-level").expect("it is built in");
        let site = found.site().expect("it is sound");
        let array = site.array.array().expect("sound coils").expect("nodes");
        let ladder = site.front_end.ladder().expect("a ladder");
        let instrument = run::instrument::<6>(&site.signal, ladder, array).expect("an instrument");
        let mut header = Header::new(&instrument, Settings::default());
        header.build = clipped("nullwalk-handset test");
        header.reset = Reset::PowerOn;
        let mut records = vec![Record::Header(header)];
        let mut simulation = Simulation::<6>::new(&site, 0, 1).expect("it can be simulated");
        let Ok(_) = run::locate(&instrument, &mut simulation, None, |update| {
            records.push(Record::Hop(Hop::new(update, 2)));
            records.push(Record::Guidance(update.guidance.clone()));
            records.extend(update.fix.clone().map(Record::Fix));
        });
        records
    })
}

/// Records as they go over a wire.
pub fn stream(records: &[Record]) -> Vec<u8> {
    let framed = |(record, sequence)| {
        let (mut bytes, mut framed) = ([0; MAX_RECORD_BYTES], [0; MAX_FRAME_BYTES]);
        let bytes = encode(record, sequence, &mut bytes).expect("it has room");
        frame(bytes, &mut framed).expect("it has room").to_vec()
    };
    records.iter().zip(0..).flat_map(framed).collect()
}
