//! The codec of the field book's records: against the published formats it is made of, and against damage.

use glam::{Vec2, Vec3};
use nullwalk_core::array::{Array, CalibrationSigma, Coil, Node};
use nullwalk_core::depth::{Depth, Measured, Unusable};
use nullwalk_core::frame::{MAX_CHANNELS, MastReading, Position, Tilt};
use nullwalk_core::gain::Rung;
use nullwalk_core::locate::{GainState, Guidance, Offset, Phase, Settings, Sound, Sweep};
use nullwalk_core::record::{
    Damage, Deframer, Envelope, Fault, FaultKind, Header, Hop, Kind, MAX_FRAME_BYTES, MAX_RECORD_BYTES,
    NoRoom, Note, Record, Reset, Station, Unreadable, clipped, encode, frame,
};
use nullwalk_core::tone::{Marks, Phasors, StrayTone};
use nullwalk_core::verdict::{Fix, Judgement, Place, Range95, Reason, Reasons, Verdict};
use num_complex::Complex32;
use proptest::collection::vec;
use proptest::prelude::*;

fn bytes(record: &Record, sequence: u32) -> Vec<u8> {
    encode(record, sequence, &mut [0; MAX_RECORD_BYTES]).unwrap().to_vec()
}

fn framed(record: &Record, sequence: u32) -> Vec<u8> {
    frame(&bytes(record, sequence), &mut [0; MAX_FRAME_BYTES]).unwrap().to_vec()
}

fn note(text: &str) -> Record {
    Record::Note(Note { at: 16_384, text: clipped(text) })
}

/// Any bits at all, not-a-numbers included.
fn float() -> impl Strategy<Value = f32> + Clone {
    any::<u32>().prop_map(f32::from_bits)
}

fn measured() -> impl Strategy<Value = Measured> {
    (float(), float()).prop_map(|(value, sigma)| Measured { value, sigma })
}

fn depth() -> impl Strategy<Value = Depth> + Clone {
    (float(), float()).prop_map(|(depth_m, sigma_m)| Depth { depth_m, sigma_m })
}

fn place() -> impl Strategy<Value = Place> {
    (float(), float(), float()).prop_map(|(east_m, north_m, sigma_m)| Place { east_m, north_m, sigma_m })
}

fn reason() -> impl Strategy<Value = Reason> {
    prop_oneof![float().prop_map(Reason::OtherTone), proptest::sample::select(Reason::ALL.to_vec()),]
}

fn reasons() -> impl Strategy<Value = Reasons> {
    vec(reason(), 0..25).prop_map(|all| {
        let mut reasons = Reasons::default();
        all.into_iter().for_each(|reason| reasons.add(reason));
        reasons
    })
}

fn unusable() -> impl Strategy<Value = Unusable> {
    proptest::sample::select(vec![
        Unusable::NotMeasured,
        Unusable::NotStacked,
        Unusable::TooUncertain,
        Unusable::NotAbove,
        Unusable::NotBelow,
        Unusable::OutOfRange,
        Unusable::Uneven,
    ])
}

fn judgement() -> impl Strategy<Value = Judgement> {
    let verdict = proptest::sample::select(vec![Verdict::Agree, Verdict::Doubt, Verdict::Refuse]);
    let range = (float(), float()).prop_map(|(low_m, high_m)| Range95 { low_m, high_m });
    let (depth, range) = (proptest::option::of(depth()), proptest::option::of(range));
    (verdict, depth, range, proptest::option::of(float()), reasons()).prop_map(
        |(verdict, depth, range, shallow_m, reasons)| Judgement {
            verdict,
            depth,
            range,
            shallow_m,
            reasons,
        },
    )
}

fn fix() -> impl Strategy<Value = Fix> {
    let depth = prop_oneof![depth().prop_map(Ok), unusable().prop_map(Err)];
    let of = proptest::option::of(measured());
    let pitch = proptest::option::of(measured());
    let moment = proptest::option::of(measured());
    (
        any::<u64>(),
        proptest::option::of(place()),
        of,
        proptest::array::uniform5(depth),
        pitch,
        moment,
        proptest::array::uniform10(proptest::option::of(float())),
        judgement(),
    )
        .prop_map(|(at, place, lay_rad, depths, pitch_rad, moment_a_m2, clues, judgement)| Fix {
            at,
            place,
            lay_rad,
            depths,
            pitch_rad,
            moment_a_m2,
            clues,
            judgement,
        })
}

fn mast() -> impl Strategy<Value = MastReading> {
    let position = (float(), float(), float(), float())
        .prop_map(|(x, y, z, sigma_m)| Position { enu_m: Vec3::new(x, y, z), sigma_m });
    let tilt = (float(), float()).prop_map(|(pitch_rad, roll_rad)| Tilt { pitch_rad, roll_rad });
    (proptest::option::of(position), proptest::option::of(float()), proptest::option::of(tilt))
        .prop_map(|(position, heading_rad, tilt)| MastReading { position, heading_rad, tilt })
}

fn hop() -> impl Strategy<Value = Hop> {
    let marks = proptest::array::uniform4(any::<bool>())
        .prop_map(|[clipped, settling, impulses, gap]| Marks { clipped, settling, impulses, gap });
    let channels = vec((float(), float(), float()), 0..=MAX_CHANNELS);
    let phasors = (any::<u64>(), channels, float(), float(), marks).prop_map(
        |(centre, channels, carrier_offset_hz, bridged, marks)| {
            let mut phasors = Phasors {
                centre,
                value_v: [Complex32::ZERO; MAX_CHANNELS],
                sigma_v: [0.0; MAX_CHANNELS],
                carrier_offset_hz,
                bridged,
                marks,
            };
            for (n, (re, im, sigma)) in channels.iter().enumerate() {
                phasors.value_v[n] = Complex32::new(*re, *im);
                phasors.sigma_v[n] = *sigma;
            }
            (phasors, channels.len() as u8)
        },
    );
    let gain = (any::<bool>(), any::<bool>())
        .prop_map(|(exhausted, held_too_high)| GainState { exhausted, held_too_high });
    let stray = (float(), float()).prop_map(|(tone_hz, snr_db)| StrayTone { tone_hz, snr_db });
    (phasors, any::<u8>(), gain, proptest::option::of(stray), mast()).prop_map(
        |((phasors, channels), rung, gain, stray, mast)| Hop { phasors, channels, rung, gain, stray, mast },
    )
}

fn guidance() -> impl Strategy<Value = Guidance> {
    let phase = proptest::sample::select(vec![Phase::Listen, Phase::Home, Phase::Bracket, Phase::Settle]);
    let sweep = prop_oneof![
        float().prop_map(Sweep::OneBearing),
        float().prop_map(Sweep::TwoBearings),
        Just(Sweep::HiddenByGain),
        Just(Sweep::NoBearing),
    ];
    let offset =
        (float(), float(), float()).prop_map(|(x, y, sigma_m)| Offset { way_m: Vec2::new(x, y), sigma_m });
    let said = (
        proptest::option::of(float()),
        proptest::option::of(offset),
        proptest::option::of(float()),
        proptest::option::of(place()),
        proptest::option::of(sweep),
        proptest::option::of(reason()),
    );
    (any::<u64>(), phase, said, any::<(bool, bool)>(), proptest::array::uniform5(float())).prop_map(
        |(at, phase, said, (past_source, crossed), [trend, snr_db, offset_hz, pitch_hz, loudness])| {
            let (turn_rad, offset, lay_rad, mark, sweep, trouble) = said;
            Guidance {
                at,
                phase,
                turn_rad,
                trend_db_per_s: trend,
                past_source,
                snr_db,
                carrier_offset_hz: offset_hz,
                offset,
                lay_rad,
                mark,
                crossed,
                sweep,
                sound: Sound { pitch_hz, loudness },
                trouble,
            }
        },
    )
}

fn fault() -> impl Strategy<Value = Fault> {
    let kind = prop_oneof![
        proptest::sample::select(FaultKind::ALL.to_vec()),
        (FaultKind::ALL.len() as u8..).prop_map(FaultKind::Other)
    ];
    (any::<u64>(), kind, any::<Option<u8>>(), any::<u32>()).prop_map(|(at, kind, channel, count)| Fault {
        at,
        kind,
        channel,
        count,
    })
}

fn station() -> impl Strategy<Value = Station> {
    let found = prop_oneof![fix().prop_map(Ok), reasons().prop_map(Err)];
    (any::<u64>(), any::<Option<u64>>(), any::<u16>(), ".{0,40}", float(), float(), found).prop_map(
        |(at, utc_s, number, name, snr_db, carrier_offset_hz, found)| Station {
            at,
            utc_s,
            number,
            name: clipped(&name),
            snr_db,
            carrier_offset_hz,
            found,
        },
    )
}

/// An array that `Array::new` accepts, with any noise in its figures.
fn array() -> impl Strategy<Value = Array> {
    (1..=2_usize, 0.0_f32..0.5, 0.5_f32..50.0, -0.1_f32..0.1).prop_map(|(nodes, sigma, area, tilt)| {
        let node = |height_m: f32, first: u8| Node {
            position_m: Vec3::new(0.0, tilt, height_m),
            coils: [Vec3::X, Vec3::Y, Vec3::new(tilt, 0.0, 1.0)].map(|axis| Coil {
                channel: first + (axis.y * 1.5 + axis.z * 2.0) as u8,
                axis,
                turns_area_m2: area,
                gain: 1.0 + tilt,
                phase_rad: tilt,
            }),
        };
        let sigma = CalibrationSigma { node_ratio: sigma, scale: sigma, tilt_rad: 0.1 };
        Array::new(&[node(0.0, 0), node(0.4, 3)][..nodes], sigma, 0.05).unwrap()
    })
}

fn header() -> impl Strategy<Value = Header> {
    let texts = ("\\PC{0,60}", "\\PC{0,140}", "\\PC{0,70}");
    let settings = (float(), proptest::option::of(measured()), float(), proptest::option::of(measured()))
        .prop_map(|(level_sigma_rad, pace_m_per_s, unevenness, bench_moment_a_m2)| Settings {
            level_sigma_rad,
            pace_m_per_s,
            unevenness,
            bench_moment_a_m2,
        });
    let rungs = vec((float(), float()), 0..=16);
    let reset = proptest::sample::select(Reset::ALL.to_vec());
    let figures = (any::<Option<u64>>(), float(), float(), any::<u8>(), float(), any::<i32>());
    (texts, reset, figures, rungs, array(), settings).prop_map(
        |((build, last_words, calibration), reset, figures, rungs, array, settings)| {
            let (utc_s, rate_hz, tone_hz, channels, count_v, rail_counts) = figures;
            Header {
                build: clipped(&build),
                reset,
                last_words: clipped(&last_words),
                utc_s,
                rate_hz,
                tone_hz,
                channels,
                rungs: rungs.into_iter().map(|(gain, settle_s)| Rung { gain, settle_s }).collect(),
                count_v,
                rail_counts,
                array,
                calibration: clipped(&calibration),
                settings,
            }
        },
    )
}

fn record() -> impl Strategy<Value = Record> {
    prop_oneof![
        header().prop_map(Record::Header),
        hop().prop_map(Record::Hop),
        fix().prop_map(Record::Fix),
        station().prop_map(Record::Station),
        (any::<u64>(), ".{0,130}").prop_map(|(at, text)| Record::Note(Note { at, text: clipped(&text) })),
        fault().prop_map(Record::Fault),
        guidance().prop_map(Record::Guidance),
    ]
}

/// Feed bytes to a deframer: the sequence numbers of what came out whole, and the deframer.
fn received(stream: &[u8]) -> (Vec<u32>, Deframer) {
    let mut deframer = Deframer::default();
    let mut whole = Vec::new();
    for &byte in stream {
        whole.extend(deframer.push(byte).and_then(Result::ok).map(|envelope| envelope.sequence));
    }
    (whole, deframer)
}

proptest! {
    #[test]
    fn every_record_comes_back_bit_for_bit(record in record(), sequence: u32) {
        let written = bytes(&record, sequence);
        let envelope = Envelope::whole(&written).unwrap();
        prop_assert_eq!((envelope.sequence, envelope.bytes), (sequence, &written[..]));
        prop_assert_eq!(Kind::of(envelope.kind), Some(record.kind()));
        let read = envelope.open().unwrap();
        // Not-a-numbers are not equal to themselves; their bits are.
        prop_assert_eq!(format!("{read:?}"), format!("{record:?}"));
        prop_assert_eq!(bytes(&read, sequence), written);
    }

    #[test]
    fn too_small_a_buffer_is_said_so(record in record(), short in 1_usize..200) {
        let whole = bytes(&record, 7).len();
        let mut buffer = vec![0; whole - short.min(whole)];
        prop_assert_eq!(encode(&record, 7, &mut buffer), Err(NoRoom));
        let mut exact = vec![0; whole];
        prop_assert!(encode(&record, 7, &mut exact).is_ok());
    }

    #[test]
    fn no_damage_passes_for_a_record(record in record(), flips in vec((any::<prop::sample::Index>(), 0_u8..8), 1..=5)) {
        let written = bytes(&record, 7);
        let mut damaged = written.clone();
        for (byte, bit) in &flips {
            damaged[byte.index(written.len())] ^= 1_u8 << bit;
        }
        prop_assume!(damaged != written);
        prop_assert!(Envelope::whole(&damaged).is_err());
    }

    #[test]
    fn any_bytes_are_taken_without_a_panic(stream in vec(any::<u8>(), 0..4000)) {
        let (whole, _) = received(&stream);
        prop_assert!(whole.is_empty(), "out of noise came {whole:?}");
        prop_assert!(Envelope::take(&stream).is_err());
    }

    #[test]
    fn any_payload_is_read_or_refused_without_a_panic(kind in 0_u8..10, payload in vec(any::<u8>(), 0..400)) {
        let _ = Envelope { version: 1, kind, sequence: 0, payload: &payload, bytes: &[] }.open();
    }

    #[test]
    fn damage_to_a_stream_costs_no_more_than_the_records_it_touches(
        records in vec(record(), 1..12),
        first: u32,
        damage in vec((any::<prop::sample::Index>(), any::<u8>(), 0..3), 0..6),
    ) {
        let mut stream = Vec::new();
        let mut ends = Vec::new();
        for (record, n) in records.iter().zip(0..) {
            stream.extend(framed(record, first.wrapping_add(n)));
            ends.push(stream.len());
        }
        // Garble, insert or drop bytes, from the back so that places stay true. A hit on a closing zero also spoils
        // the record after it.
        let mut damage: Vec<_> =
            damage.into_iter().map(|(at, byte, how)| (at.index(stream.len()), byte, how)).collect();
        damage.sort_by_key(|hit| std::cmp::Reverse(hit.0));
        let mut spoilt = vec![false; records.len()];
        for (at, byte, how) in damage {
            let hit = ends.partition_point(|&end| end <= at);
            let at_zero = stream[at] == 0;
            match how {
                0 => stream[at] = byte,
                1 => stream.insert(at, byte),
                _ => { stream.remove(at); }
            }
            spoilt[hit] = true;
            if at_zero && hit + 1 < spoilt.len() {
                spoilt[hit + 1] = true;
            }
        }
        let (whole, deframer) = received(&stream);
        let number = |n: usize| first.wrapping_add(n as u32);
        for (n, spoilt) in spoilt.iter().enumerate() {
            prop_assert!(*spoilt || whole.contains(&number(n)), "record {n} was not touched: {whole:?}");
        }
        // What came through is what was sent, in order, and the rest was counted.
        let sent: Vec<u32> = (0..records.len()).map(number).filter(|n| whole.contains(n)).collect();
        prop_assert_eq!(&whole, &sent);
        if let (Some(from), Some(to)) = (whole.first(), whole.last()) {
            let missing = to.wrapping_sub(*from) + 1 - whole.len() as u32;
            prop_assert_eq!(deframer.losses().lost(), missing);
        }
    }
}

#[test]
fn the_layout_is_the_documented_one() {
    // Envelope: version, kind, sequence, length. Payload by postcard's wire format (postcard.jamesmunns.com,
    // wire format 1.0): 16384 as varint is 80 80 01, text is its length and its bytes.
    let written = bytes(&note("ab"), 0x0403_0201);
    let head = [1, 5, 0x01, 0x02, 0x03, 0x04, 6, 0];
    assert_eq!(written[..8], head);
    assert_eq!(written[8..14], [0x80, 0x80, 0x01, 2, b'a', b'b']);
    assert_eq!(written.len(), 18);

    // 65535 is ff ff 03, 127 is 7f, 128 is 80 01; an option is 00, or 01 and the value.
    let fault = |at, channel| {
        let fault = Fault { at, kind: FaultKind::ChannelStuck, channel, count: 65_535 };
        bytes(&Record::Fault(fault), 0)
    };
    assert_eq!(fault(127, None)[8..14], [0x7f, 3, 0, 0xff, 0xff, 0x03]);
    assert_eq!(fault(128, Some(200))[8..16], [0x80, 0x01, 3, 1, 200, 0xff, 0xff, 0x03]);

    // Floats are their bits, lowest byte first: -32.005859375 is the standard's 0xc2000600.
    let mut hop = Hop {
        phasors: Phasors {
            centre: 1,
            value_v: [Complex32::ZERO; MAX_CHANNELS],
            sigma_v: [0.0; MAX_CHANNELS],
            carrier_offset_hz: 0.0,
            bridged: 0.0,
            marks: Marks { clipped: true, gap: true, ..Marks::default() },
        },
        channels: 1,
        rung: 2,
        gain: GainState { exhausted: true, held_too_high: false },
        stray: None,
        mast: MastReading::default(),
    };
    hop.phasors.value_v[0].re = f32::from_bits(0xc200_0600);
    let written = bytes(&Record::Hop(hop), 0);
    assert_eq!(written[8..14], [1, 1, 0x00, 0x06, 0x00, 0xc2]);
    // Flags, rung, no stray tone, no position, no heading, no tilt; then the checksum.
    assert_eq!(written[written.len() - 10..written.len() - 4], [0b0001_1001, 2, 0, 0, 0, 0]);
}

#[test]
fn frames_are_stuffed_as_in_the_paper() {
    // Cheshire and Baker 1999, figure 3 (from memory): a packet's first bytes; and section III: 254 bytes without a
    // zero are coded by ff with no zero implied.
    let packet = [0x45, 0x00, 0x00, 0x2c, 0x4c, 0x79, 0x00, 0x00, 0x40, 0x06, 0x4f, 0x37];
    let stuffed = [0x02, 0x45, 0x01, 0x04, 0x2c, 0x4c, 0x79, 0x01, 0x05, 0x40, 0x06, 0x4f, 0x37, 0x00];
    let mut out = [0xaa; MAX_FRAME_BYTES];
    assert_eq!(frame(&packet, &mut out).unwrap(), stuffed);
    assert_eq!(frame(&[0], &mut out).unwrap(), [1, 1, 0]);
    assert_eq!(frame(&[0, 0], &mut out).unwrap(), [1, 1, 1, 0]);

    let run: Vec<u8> = (1..=254).collect();
    let stuffed = frame(&run, &mut out).unwrap();
    assert_eq!((stuffed[0], &stuffed[1..255], stuffed[stuffed.len() - 1]), (0xff, &run[..], 0));
    let run: Vec<u8> = (0..=255).collect();
    let stuffed = frame(&run, &mut out).unwrap();
    assert_eq!(stuffed[..3], [1, 0xff, 1]);
    assert_eq!(stuffed[256..], [2, 255, 0]);
}

#[test]
fn the_longest_record_fits() {
    let long = "ö".repeat(200);
    let full = Measured { value: 1.0, sigma: 1.0 };
    let node =
        |height_m: f32, first: u8| Node {
            position_m: Vec3::Z * height_m,
            coils: [(Vec3::X, first), (Vec3::Y, first + 1), (Vec3::Z, first + 2)].map(|(axis, channel)| {
                Coil { channel, axis, turns_area_m2: 1.0, gain: 1.0, phase_rad: 0.0 }
            }),
        };
    let sigma = CalibrationSigma { node_ratio: 0.0, scale: 0.0, tilt_rad: 0.0 };
    let header = Header {
        build: clipped(&long),
        reset: Reset::Watchdog,
        last_words: clipped(&long),
        utc_s: Some(u64::MAX),
        rate_hz: 8000.0,
        tone_hz: 512.0,
        channels: 6,
        rungs: [Rung { gain: 1.0, settle_s: 0.0 }; 16].into_iter().collect(),
        count_v: 1.0,
        rail_counts: i32::MIN,
        array: Array::new(&[node(0.0, 0), node(0.4, 3)], sigma, 0.05).unwrap(),
        calibration: clipped(&long),
        settings: Settings {
            pace_m_per_s: Some(full),
            bench_moment_a_m2: Some(full),
            ..Settings::default()
        },
    };
    let written = bytes(&Record::Header(header), u32::MAX);
    println!("longest header: {} of {MAX_RECORD_BYTES} bytes", written.len());
    // All of it, also when nothing but zeros has to be stuffed.
    assert!(written.len() > 500);
    let zeros = frame(&[0; MAX_RECORD_BYTES], &mut [1; MAX_FRAME_BYTES]).unwrap().len();
    let ones = frame(&[1; MAX_RECORD_BYTES], &mut [1; MAX_FRAME_BYTES]).unwrap().len();
    assert!(zeros.max(ones) <= MAX_FRAME_BYTES);
    assert_eq!(frame(&[1; MAX_RECORD_BYTES + 1], &mut [1; 2 * MAX_FRAME_BYTES]), Err(NoRoom));
}

/// Bytes of a record with another head, sealed again as a later writer would.
fn resealed(record: &[u8], version: u8, kind: u8, more: &[u8]) -> Vec<u8> {
    let mut all = record[..record.len() - 4].to_vec();
    (all[0], all[1]) = (version, kind);
    all.extend(more);
    let length = (all.len() - 8) as u16;
    all[6..8].copy_from_slice(&length.to_le_bytes());
    // CRC-32/ISCSI bit by bit, as its catalogue describes it: reflected polynomial 0x82f63b78, all ones before and
    // after.
    let mut checksum = u32::MAX;
    for byte in &all {
        checksum ^= u32::from(*byte);
        for _ in 0..8 {
            checksum = checksum >> 1 ^ if checksum & 1 == 1 { 0x82f6_3b78 } else { 0 };
        }
    }
    all.extend((!checksum).to_le_bytes());
    all
}

#[test]
fn an_old_reader_steps_over_what_it_does_not_know() {
    let old = bytes(&note("as before"), 4);
    assert_eq!(resealed(&old, 1, 5, &[]), old, "sealed as the codec does it");
    let open = |bytes: &[u8]| Envelope::whole(bytes).unwrap().open();
    assert_eq!(open(&resealed(&old, 2, 5, &[])), Err(Unreadable::Version(2)));
    assert_eq!(open(&resealed(&old, 1, 99, &[])), Err(Unreadable::Kind(99)));
    // A field that a later writer added at the end.
    assert_eq!(open(&resealed(&old, 1, 5, &[1, 2, 3])), Ok(note("as before")));
    // A note is no fix.
    assert_eq!(open(&resealed(&old, 1, 3, &[])), Err(Unreadable::Payload(Kind::Fix)));

    // In a stream they are counted as there, and nothing after them is lost.
    let mut stream = Vec::new();
    for (n, (version, kind)) in [(1, 5), (2, 5), (1, 99), (1, 5)].into_iter().enumerate() {
        let sealed = resealed(&bytes(&note("x"), n as u32), version, kind, &[]);
        stream.extend_from_slice(frame(&sealed, &mut [0; MAX_FRAME_BYTES]).unwrap());
    }
    let (whole, deframer) = received(&stream);
    assert_eq!(whole, [0, 1, 2, 3]);
    assert_eq!((deframer.losses().lost(), deframer.damaged()), (0, 0));
}

#[test]
fn a_reader_that_comes_late_or_stays_on_loses_no_more_than_it_missed() {
    let stream: Vec<u8> = (0..5).flat_map(|n| framed(&note("here"), n)).collect();
    let (whole, deframer) = received(&stream[7..stream.len() - 1]);
    assert_eq!(whole, [1, 2, 3]);
    assert_eq!((deframer.damaged(), deframer.losses().lost()), (1, 0));
    assert!(deframer.is_within());

    // Something far too long is not kept, and the next record is.
    let flood: Vec<u8> =
        [vec![1; 5000], vec![0], framed(&note("after"), 9), vec![0, 0], framed(&note("it"), 10)].concat();
    let (whole, deframer) = received(&flood);
    assert_eq!((whole, deframer.damaged()), (vec![9, 10], 1));

    // A handset that starts anew has lost nothing.
    let again: Vec<u8> = [8, 9, 0, 1, 4].into_iter().flat_map(|n| framed(&note("n"), n)).collect();
    let (_, deframer) = received(&again);
    assert_eq!((deframer.losses().lost(), deframer.losses().restarts()), (2, 1));
}

#[test]
fn cut_anywhere_a_record_is_no_record() {
    let written = bytes(&note("whole or not at all"), 3);
    for length in 0..written.len() {
        assert_eq!(Envelope::take(&written[..length]), Err(Damage::Short), "{length}");
    }
    let mut twice = written.clone();
    twice.extend(&written);
    let (first, rest) = Envelope::take(&twice).unwrap();
    assert_eq!((first.sequence, rest), (3, &written[..]));
    assert_eq!(Envelope::whole(&twice), Err(Damage::Trailing));
}
