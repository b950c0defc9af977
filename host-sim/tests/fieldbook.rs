//! A simulated locate, kept and streamed as a handset does it: read back, repaired, exported, run again and followed.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::thread;
use std::time::Duration;

use nullwalk::capture::{Capture, Content};
use nullwalk::fieldbook::{FieldBook, FieldBookError, Form, export, follow, line, open_port};
use nullwalk::run;
use nullwalk::site::{Site, builtin};
use nullwalk::synth::Simulation;
use nullwalk_core::locate::Settings;
use nullwalk_core::record::{
    Fault, FaultKind, Header, Hop, MAX_FRAME_BYTES, MAX_RECORD_BYTES, Note, Record, Reset, Station,
    clipped, encode, frame,
};
use serialport::{SerialPort as _, TTYPort};
use tempfile::TempDir;

/// What a handset would have said in one locate on a clean site.
fn locate() -> &'static [Record] {
    static RECORDS: OnceLock<Vec<Record>> = OnceLock::new();
    RECORDS.get_or_init(|| {
        let text = builtin().iter().find(|site| site.name == "clean-level").unwrap().toml;
        let (site, _) = Site::from_toml(text, "clean-level").unwrap();
        let array = site.array.array().unwrap().unwrap();
        let instrument =
            run::instrument::<6>(&site.signal, site.front_end.ladder().unwrap(), array).unwrap();
        let mut header = Header::new(&instrument, Settings::default());
        header.build = clipped("nullwalk-handset test");
        header.reset = Reset::PowerOn;
        let mut records = vec![Record::Header(header)];
        let mut simulation = Simulation::<6>::new(&site, 0, 1).unwrap();
        let mut last = None;
        run::locate(&instrument, &mut simulation, None, |update| {
            records.push(Record::Hop(Hop::new(update, 2)));
            records.push(Record::Guidance(update.guidance.clone()));
            if let Some(fix) = &update.fix {
                records.push(Record::Fix(fix.clone()));
                last = Some(fix.clone());
            }
        })
        .unwrap();
        let fix = last.expect("a fix on a clean site");
        records.push(Record::Station(Station {
            at: fix.at,
            utc_s: None,
            number: 1,
            name: clipped("gate"),
            snr_db: 30.0,
            carrier_offset_hz: 0.0,
            found: Ok(fix),
        }));
        records.push(Record::Note(Note { at: 8000, text: clipped("lorry parked over it") }));
        records.push(Record::Fault(Fault { at: 9000, kind: FaultKind::Overrun, channel: None, count: 3 }));
        records
    })
}

/// What storage keeps of it.
fn kept() -> Vec<Record> {
    locate().iter().filter(|record| !matches!(record, Record::Guidance(_))).cloned().collect()
}

fn bytes(record: &Record, sequence: u32) -> Vec<u8> {
    encode(record, sequence, &mut [0; MAX_RECORD_BYTES]).unwrap().to_vec()
}

fn framed(record: &Record, sequence: u32) -> Vec<u8> {
    frame(&bytes(record, sequence), &mut [0; MAX_FRAME_BYTES]).unwrap().to_vec()
}

fn stream(records: &[Record]) -> Vec<u8> {
    records.iter().zip(0..).flat_map(|(record, n)| framed(record, n)).collect()
}

fn found(bytes: &[u8]) -> FieldBook {
    FieldBook::find(Path::new("book"), bytes).unwrap()
}

fn records(book: &FieldBook) -> Vec<Record> {
    book.records().cloned().collect()
}

fn scratch() -> TempDir {
    tempfile::tempdir().unwrap()
}

#[test]
fn a_recording_runs_again_with_the_very_same_guidance_and_fixes() {
    let book = found(&stream(locate()));
    let recording = book.recording(None).unwrap();
    let (mut guidance, mut fixes) = (Vec::new(), Vec::new());
    let again = recording
        .again(&book.file, |said, fix| {
            guidance.push(Record::Guidance(said.clone()));
            fixes.extend(fix.cloned().map(Record::Fix));
        })
        .unwrap();
    let of = |wanted: fn(&Record) -> bool| -> Vec<Vec<u8>> {
        locate().iter().filter(|record| wanted(record)).map(|record| bytes(record, 0)).collect()
    };
    let written = |records: &[Record]| -> Vec<Vec<u8>> { records.iter().map(|r| bytes(r, 0)).collect() };
    assert!(guidance.len() > 100 && !fixes.is_empty());
    assert_eq!(written(&guidance), of(|r| matches!(r, Record::Guidance(_))));
    assert_eq!(written(&fixes), of(|r| matches!(r, Record::Fix(_))));
    assert_eq!((again.same, again.different), (fixes.len(), 0));

    // Without the first half of the walk it is another walk, and that is said.
    let mut half = recording.clone();
    half.hops.drain(..half.hops.len() / 2);
    let again = half.again(&book.file, |_, _| ()).unwrap();
    assert!(again.different > 0, "{again:?}");
}

#[test]
fn an_image_is_read_whatever_stands_around_the_records() {
    let kept = kept();
    // Out of order, as the two regions of a flash are, and with noise between them.
    let mut noise = 1_u32;
    let mut random = move || {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (noise >> 24) as u8
    };
    let mut image = vec![0xff; 500];
    let numbered: Vec<_> = kept.iter().zip(0_u32..).collect();
    let (hops, others): (Vec<_>, Vec<_>) = numbered.iter().partition(|(r, _)| matches!(r, Record::Hop(_)));
    for (record, n) in others.iter().chain(&hops) {
        let length = usize::from(random() % 20);
        image.extend(std::iter::repeat_with(&mut random).take(length));
        image.extend(bytes(record, *n));
    }
    image.extend(vec![0; 700]);
    let book = found(&image);
    assert_eq!((book.form, book.lost, book.overwritten), (Form::Image, 0, 0));
    assert_eq!(records(&book), kept);
    assert_eq!(records(&found(&book.repaired())), kept, "and repaired into a stream");

    // A hop that is not there any more is told from a station that is lost.
    let later = hops.iter().skip(10).chain(&others);
    let image: Vec<u8> = later.flat_map(|(record, n)| bytes(record, *n)).collect();
    let book = found(&image);
    assert_eq!((book.overwritten, book.lost), (10, 0));
    let image: Vec<u8> =
        numbered.iter().filter(|(_, n)| *n != 40).flat_map(|(record, n)| bytes(record, *n)).collect();
    assert_eq!(found(&image).lost, 1);
}

#[test]
fn a_damaged_stream_is_repaired_and_what_was_lost_is_said_and_where() {
    let kept = kept();
    let mut damaged = stream(&kept);
    let ends: Vec<usize> = damaged.iter().enumerate().filter(|(_, b)| **b == 0).map(|(n, _)| n).collect();
    damaged[ends[4] - 20] ^= 0x40;
    damaged.truncate(ends[ends.len() - 1] - 3);
    let book = found(&damaged);
    assert_eq!(book.form, Form::Stream);
    assert_eq!(book.entries.len(), kept.len() - 2);
    let places: Vec<_> = book.damaged.iter().map(|damaged| damaged.place.clone()).collect();
    assert_eq!(places, [ends[3] + 1..ends[4], ends[ends.len() - 2] + 1..damaged.len()]);
    assert_eq!(book.lost, 1, "that one more was to come, no number tells");

    let repaired = found(&book.repaired());
    assert_eq!((repaired.damaged.len(), repaired.entries.len()), (0, book.entries.len()));
    assert_eq!(records(&repaired), records(&book));
}

#[test]
fn records_of_a_later_version_are_counted_and_kept() {
    let mut later = bytes(&kept()[1], 1);
    later[0] = 2;
    let checked = later.len() - 4;
    // Sealed anew, bit by bit as the catalogue of checksums describes CRC-32/ISCSI.
    let mut checksum = u32::MAX;
    for byte in &later[..checked] {
        checksum ^= u32::from(*byte);
        for _ in 0..8 {
            checksum = checksum >> 1 ^ if checksum & 1 == 1 { 0x82f6_3b78 } else { 0 };
        }
    }
    later[checked..].copy_from_slice(&(!checksum).to_le_bytes());
    for bytes in [
        [bytes(&kept()[0], 0), later.clone(), bytes(&kept()[2], 2)].concat(),
        [
            framed(&kept()[0], 0),
            frame(&later, &mut [0; MAX_FRAME_BYTES]).unwrap().to_vec(),
            framed(&kept()[2], 2),
        ]
        .concat(),
    ] {
        let book = found(&bytes);
        assert_eq!((book.entries.len(), book.unreadable(), book.lost), (3, 1, 0));
        assert_eq!(found(&book.repaired()).entries[1].bytes, later);
    }
}

#[test]
fn a_recording_becomes_a_capture_that_can_be_replayed() {
    let dir = scratch();
    let book = found(&stream(locate()));
    let recording = book.recording(None).unwrap();
    let target = dir.path().join("capture");
    let (written, alone) = export(&recording, &book.file, &target).unwrap();
    assert_eq!((&written, alone), (&vec![target.clone()], 0));
    let capture = Capture::open(&target).unwrap();
    assert_eq!(capture.notices, []);
    let Content::Field(fields) = &capture.content else { panic!("{:?}", capture.content) };
    let header = recording.header.as_ref().unwrap();
    assert!(fs::read_to_string(target.join("capture.toml")).unwrap().contains("full_scale_v = 2.5\n"));
    assert_eq!(fields.rows.len(), recording.hops.len());
    for (row, hop) in fields.rows.iter().zip(&recording.hops) {
        let nodes = header.array.fields(header.tone_hz, &hop.phasors);
        assert_eq!((row.lower_t, row.upper_t), (nodes[0].field_t, Some(nodes[1].field_t)));
        assert_eq!(row.mast.unwrap_or_default(), hop.mast);
    }
    // What a table of fields does not hold, marks and carrier, costs it little on a clean site.
    let outcome = run::locate_phasors(capture.array.unwrap(), fields).unwrap();
    let again = recording.again(&book.file, |_, _| ()).unwrap().outcome;
    let depth = |outcome: &run::Outcome| outcome.judgement.depth.unwrap();
    let (a, b) = (depth(&outcome), depth(&again));
    assert!((a.depth_m - b.depth_m).abs() < b.sigma_m, "{a:?} {b:?}");
    // Nothing is written over.
    assert!(export(&recording, &book.file, &target).is_err());

    // Where hops are missing there are two tables.
    let mut gap = recording.clone();
    gap.hops.remove(100);
    let parts = dir.path().join("parts");
    let (written, _) = export(&gap, &book.file, &parts).unwrap();
    assert_eq!(written, [parts.join("part-1"), parts.join("part-2")]);
    assert!(written.iter().all(|part| Capture::open(part).is_ok()));
}

#[test]
fn what_cannot_be_done_is_said_with_place_and_remedy() {
    let said = |error: FieldBookError| error.to_string();
    let dir = scratch();
    let missing = dir.path().join("none");
    assert!(said(FieldBook::open(&missing).unwrap_err()).contains("cannot open"));
    let empty = FieldBook::find(Path::new("f.bin"), &[7; 5000]).unwrap_err();
    assert!(said(empty).starts_with("f.bin: no whole record in 5000 bytes; give"));
    let twice = found(&[stream(&kept()), stream(&kept())].concat());
    assert_eq!(twice.recordings().len(), 2);
    assert!(said(twice.recording(None).unwrap_err()).contains("--recording"));
    assert!(said(twice.recording(Some(3)).unwrap_err()).contains("recording 3: there are 2;"));
    let headless = found(&stream(&kept()[1..]));
    let error = headless.recording(None).unwrap().again(Path::new("f"), |_, _| ()).unwrap_err();
    assert!(said(error).contains("its header is lost"));
}

/// Send over a pseudo-terminal, in the pieces given, and follow. Returns what was told, logged and counted.
fn over_a_terminal(pieces: Vec<Vec<u8>>) -> (Vec<Record>, Vec<u8>, nullwalk::fieldbook::Followed) {
    let (mut handset, host) = TTYPort::pair().unwrap();
    let port = host.name().unwrap();
    // The terminal stays for as long as the handset has its end; this end is the follower's.
    drop(host);
    let mut opened = open_port(&port, 115_200).unwrap();
    let sender = thread::spawn(move || {
        for piece in pieces {
            handset.write_all(&piece).unwrap();
            // Late, and in pieces that have nothing to do with records.
            thread::sleep(Duration::from_millis(1));
        }
        // The reader is behind by what the terminal holds; only then the handset is unplugged.
        thread::sleep(Duration::from_millis(500));
        drop(handset);
    });
    let (mut told, mut log) = (Vec::new(), Vec::new());
    let counted = follow(&mut opened, Some((&PathBuf::from("log"), &mut log)), |record, _| {
        told.push(record.clone());
    })
    .unwrap();
    sender.join().unwrap();
    (told, log, counted)
}

#[test]
fn a_link_is_followed_whatever_the_pieces() {
    let sent = &locate()[..300];
    let bytes = stream(sent);
    let pieces = bytes.chunks(97).map(<[u8]>::to_vec).collect();
    let (told, log, counted) = over_a_terminal(pieces);
    assert_eq!(told, sent);
    assert_eq!(log, bytes, "the log has every byte");
    assert_eq!((counted.records, counted.lost, counted.damaged, counted.restarts), (300, 0, 0, 0));
    // The same guidance as on the handset, in words.
    let words: Vec<_> = told.iter().filter_map(line).collect();
    assert_eq!(words, sent.iter().filter_map(line).collect::<Vec<_>>());
    assert!(words.iter().any(|words| words.starts_with("LISTEN")), "{words:?}");
    assert_eq!(records(&found(&log)), sent);
}

#[test]
fn what_a_bad_link_cuts_and_garbles_is_counted() {
    let sent = &locate()[..300];
    let mut pieces: Vec<Vec<u8>> = sent.iter().zip(0..).map(|(record, n)| framed(record, n)).collect();
    // Joined in the middle of a record, one never sent, one garbled, one cut short, a zero lost, noise between two.
    let torn = pieces[0].split_off(30);
    pieces[0] = torn;
    pieces[50].clear();
    let middle = pieces[100].len() / 2;
    pieces[100][middle] ^= 0x15;
    pieces[150].truncate(40);
    pieces[200].pop();
    pieces[250].splice(0..0, b"garbage\0".iter().copied());
    let (told, log, counted) = over_a_terminal(pieces.clone());
    let spoilt = [0, 50, 100, 150, 151, 200, 201];
    let whole: Vec<Record> =
        sent.iter().enumerate().filter(|(n, _)| !spoilt.contains(n)).map(|(_, r)| r.clone()).collect();
    assert_eq!(told, whole);
    assert_eq!(log, pieces.concat());
    // The first was never known to be due.
    assert_eq!((counted.records, counted.lost), (293, 6));
    assert_eq!(counted.damaged, 5);
}

#[test]
fn a_port_that_is_not_there_is_said_so() {
    let error = open_port("/dev/no-such-port", 9600).map(|_| ()).unwrap_err().to_string();
    assert!(error.starts_with("/dev/no-such-port: cannot open"), "{error}");
}
