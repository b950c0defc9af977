//! From a locate to the flash of a handset, through a power cut, to the command on a desk.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use embassy_futures::block_on;
use nullwalk::fieldbook::{FieldBook as Found, Form};
use nullwalk::run;
use nullwalk::site::{Site, builtin};
use nullwalk::synth::Simulation;
use nullwalk_core::locate::Settings;
use nullwalk_core::record::{Envelope, Header, Hop, Record, Station, clipped};
use nullwalk_field_book::mock::{Cut, MockFlash};
use nullwalk_field_book::{FieldBook, Layout};

const PAGE: usize = 4096;
const PAGES: usize = 64;
const LAYOUT: Layout = Layout::new(0..16 * PAGE as u32, 16 * PAGE as u32..(PAGES * PAGE) as u32);

type Flash = MockFlash<4, PAGE>;

/// Locate on a site with an instrument that keeps a field book, until the power fails after so many bytes.
fn handset(site: &str, power: Option<usize>) -> Flash {
    let text = builtin().iter().find(|b| b.name == site).expect("a built-in site").toml;
    let (site, _) = Site::from_toml(text, site).expect("a sound site");
    let array = site.array.array().expect("sound").expect("with nodes");
    let ladder = site.front_end.ladder().expect("sound");
    let instrument = run::instrument::<6>(&site.signal, ladder, array).expect("sound");
    let mut flash = Flash::new(PAGES);
    flash.power = power.map(|steps| (steps, Cut::Half(7)));
    let (mut book, _) = block_on(FieldBook::open(flash, LAYOUT)).expect("a blank flash");
    let mut header = Header::new(&instrument, Settings::default());
    header.build = clipped("handset under test");
    let mut keep = |record: Record| block_on(book.append(&record)).is_ok();
    let mut on = keep(Record::Header(header));
    let mut simulation = Simulation::<6>::new(&site, 0, 1).expect("a sound site");
    let mut last = None;
    let outcome = run::locate(&instrument, &mut simulation, None, |update| {
        on = on && keep(Record::Hop(Hop::new(update, 0)));
        if let Some(fix) = &update.fix {
            last = Some(fix.clone());
        }
    });
    let outcome = outcome.unwrap_or_else(|never| match never {});
    if let Some(fix) = last.clone() {
        on = on && keep(Record::Fix(fix));
    }
    let found = last.ok_or(outcome.judgement.reasons);
    let at = found.as_ref().map_or(0, |fix| fix.at);
    let (snr_db, carrier_offset_hz) = (outcome.best_snr_db, outcome.carrier_offset_hz);
    let station =
        Station { at, utc_s: None, number: 7, name: clipped("gate"), snr_db, carrier_offset_hz, found };
    on = on && keep(Record::Station(station));
    assert_eq!(on, power.is_none());
    let mut flash = book.into_flash();
    flash.restart();
    flash
}

/// What the handset itself reads of its book, by number.
fn on_the_handset(flash: Flash) -> Vec<(u32, Vec<u8>)> {
    let (mut book, _) = block_on(FieldBook::open(flash, LAYOUT)).expect("it opens");
    let mut records = Vec::new();
    let mut add = |envelope: Envelope<'_>| records.push((envelope.sequence, envelope.bytes.to_vec()));
    block_on(book.kept(&mut add)).expect("readable");
    block_on(book.hops(&mut add)).expect("readable");
    records.sort();
    records
}

fn nullwalk(folder: &Path, arguments: &[&str]) -> Output {
    let command = env!("CARGO_BIN_EXE_nullwalk-under-test");
    Command::new(command).args(arguments).current_dir(folder).output().expect("it runs")
}

#[track_caller]
fn says(output: &Output, status: i32, parts: &[&str]) {
    let text = [&output.stdout[..], &output.stderr].concat();
    let text = String::from_utf8_lossy(&text);
    assert_eq!(output.status.code(), Some(status), "{text}");
    for part in parts {
        assert!(text.contains(part), "no `{part}` in:\n{text}");
    }
}

#[test]
fn the_desk_reads_what_the_handset_reads_also_after_a_power_cut() {
    for power in [None, Some(5000), Some(30_011), Some(40_002)] {
        let flash = handset("clean-level", power);
        let found = Found::find(Path::new("image"), flash.image()).expect("records");
        assert_eq!((found.form, found.lost, found.overwritten), (Form::Image, 0, 0));
        let here: Vec<_> = found.entries.iter().map(|e| (e.sequence, e.bytes.clone())).collect();
        assert_eq!(here, on_the_handset(flash), "{power:?}");
        assert!(here.len() > 30);
    }
}

#[test]
fn the_command_lists_repairs_exports_and_replays_a_flash() {
    let folder = tempfile::tempdir().expect("a folder");
    let desk = folder.path();
    let mut image = handset("clean-level", None).image().to_vec();
    fs::write(desk.join("flash.bin"), &image).expect("written");

    let listed = nullwalk(desk, &["field-book", "list", "flash.bin", "--job", "desk.job"]);
    says(&listed, 0, &["handset under test", "Station 7  gate", "AGREE", "no permission to dig"]);
    assert!(desk.join("desk.job").exists());

    let replayed = nullwalk(desk, &["field-book", "replay", "flash.bin"]);
    says(&replayed, 0, &["the same, bit for bit: 1 of 1", "AGREE"]);

    says(&nullwalk(desk, &["field-book", "capture", "flash.bin", "--out", "capture"]), 0, &["capture"]);
    says(&nullwalk(desk, &["replay", "capture"]), 0, &["AGREE"]);

    // A hole in the middle of the hops: said, stepped over, and the rest repaired.
    image[20 * PAGE..21 * PAGE].fill(0x5a);
    fs::write(desk.join("hole.bin"), &image).expect("written");
    let repaired = nullwalk(desk, &["field-book", "repair", "hole.bin", "--out", "repaired.nwb"]);
    says(&repaired, 0, &["records are lost, by their numbers"]);
    says(
        &nullwalk(desk, &["field-book", "list", "repaired.nwb"]),
        0,
        &["Station 7  gate", "framed records"],
    );
    let again = nullwalk(desk, &["field-book", "repair", "hole.bin", "--out", "repaired.nwb"]);
    says(&again, 1, &["repaired.nwb: exists already"]);
    says(
        &nullwalk(desk, &["field-book", "capture", "hole.bin", "--out", "parts"]),
        0,
        &["part-1", "part-2"],
    );

    fs::write(desk.join("other.bin"), vec![0x5a; 10_000]).expect("written");
    says(
        &nullwalk(desk, &["field-book", "list", "other.bin"]),
        1,
        &["other.bin: no whole record in 10000 bytes; give"],
    );
    says(&nullwalk(desk, &["field-book", "list", "none"]), 1, &["none: cannot open"]);
    let followed = nullwalk(desk, &["field-book", "follow", "no-such-port", "--log", "log"]);
    says(&followed, 1, &["no-such-port: cannot open"]);
    assert!(!desk.join("log").exists());
}

#[test]
fn a_refused_station_is_kept_as_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("flash.bin"), handset("empty-lot", None).image()).expect("written");
    let listed = nullwalk(folder.path(), &["field-book", "list", "flash.bin"]);
    says(&listed, 4, &["REFUSED: no figure may be given", "The tone that is set is not heard here."]);
}
