//! An hour of records, with the power cut at every byte and every erase step of it. Prints its counts
//! (`cargo test --release -p nullwalk-field-book --test power_cuts -- --nocapture`).

mod script;

use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

use embassy_futures::block_on;
use nullwalk_core::record::{Envelope, Keeping, MAX_RECORD_BYTES, Record, encode};
use nullwalk_field_book::mock::{Cut, MockFlash, Operation};
use nullwalk_field_book::{FieldBook, Layout, Recovery};
use rayon::prelude::*;
use script::{hop, hour, station};

const PAGE: usize = 4096;
/// An hour nearly fills these.
const KEPT_PAGES: usize = 6;
/// An hour of hops fills these some three hundred times.
const RAW_PAGES: usize = 4;
const PAGES: usize = KEPT_PAGES + RAW_PAGES;
/// A page holds at least so many hops, and at most two pages are without: one just erased, one about to be filled.
const HOPS_PER_PAGE: usize = 28;
const LEAST_HOPS: usize = (RAW_PAGES - 2) * HOPS_PER_PAGE;
/// Of the hops, the power is cut at every byte of one in so many.
const HOPS_PER_CUT_HOP: usize = 800;
/// Of the cuts, one in so many is followed by more records and another start.
const CUTS_PER_SEQUEL: usize = 8;

type Flash<const WORD: usize> = MockFlash<WORD, PAGE>;
type Book<const WORD: usize> = FieldBook<Flash<WORD>>;

fn open<const WORD: usize>(flash: Flash<WORD>) -> (Book<WORD>, Recovery) {
    let page = |n: usize| (n * PAGE) as u32;
    let layout = Layout::new(page(0)..page(KEPT_PAGES), page(KEPT_PAGES)..page(PAGES));
    block_on(FieldBook::open(flash, layout)).expect("a book that was cut short opens")
}

/// A record without its checksum, which was looked at before it came this far.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Content {
    sequence: u32,
    kind: u8,
    payload: Vec<u8>,
}

impl Content {
    fn of(envelope: &Envelope<'_>) -> Self {
        Self { sequence: envelope.sequence, kind: envelope.kind, payload: envelope.payload.to_vec() }
    }

    fn written(record: &Record, sequence: u32) -> Self {
        let mut buffer = [0; MAX_RECORD_BYTES];
        let bytes = encode(record, sequence, &mut buffer).expect("room");
        Self::of(&Envelope::whole(bytes).expect("whole"))
    }
}

/// What is in a book: what must never go, and hops.
fn contents<const WORD: usize>(book: &mut Book<WORD>) -> (Vec<Content>, Vec<Content>) {
    let (mut kept, mut hops) = (Vec::new(), Vec::new());
    block_on(book.kept(|e| kept.push(Content::of(&e)))).expect("what must never go is read");
    block_on(book.hops(|e| hops.push(Content::of(&e)))).expect("hops are read");
    (kept, hops)
}

/// One record of the hour, and the operations that wrote it.
struct Entry {
    content: Content,
    is_hop: bool,
    operations: Vec<Operation>,
}

fn write_hour<const WORD: usize>() -> Vec<Entry> {
    let mut flash = Flash::<WORD>::new(PAGES);
    flash.operations = Some(Vec::new());
    let (mut book, recovery) = open(flash);
    assert_eq!(recovery, Recovery::default());
    let mut entries = Vec::new();
    let mut done = 0;
    for (record, n) in hour().iter().zip(0..) {
        block_on(book.append(record)).expect("there is room for the hour");
        let operations = book.flash().operations.as_deref().unwrap_or_default();
        entries.push(Entry {
            content: Content::written(record, n),
            is_hop: record.kind().keeping() == Keeping::WhileThereIsRoom,
            operations: operations[done..].to_vec(),
        });
        done = operations.len();
    }
    assert_eq!(book.flash().work.unerased_bytes, 0);
    entries
}

#[derive(Default)]
struct Counts {
    cuts: AtomicUsize,
    within_erasing: AtomicUsize,
    sequels: AtomicUsize,
    /// The most that opening had to do.
    read_bytes: AtomicUsize,
    erased_pages: AtomicUsize,
}

/// Records up to one that the power fails in.
struct Before<'a> {
    kept: &'a [&'a Entry],
    hops: &'a [&'a Entry],
}

/// Cut the power while `entry` is written, open the book again, and see that all is there.
fn cut_and_look<const WORD: usize>(image: Vec<u8>, before: &Before<'_>, entry: &Entry, counts: &Counts) {
    let count = counts.cuts.fetch_add(1, Relaxed);
    let (mut book, recovery) = open(Flash::<WORD>::with_image(image));
    let work = book.flash().work;
    counts.read_bytes.fetch_max(work.read_bytes, Relaxed);
    counts.erased_pages.fetch_max(work.erased_pages, Relaxed);
    assert!(!recovery.hops_given_up, "the hops were given up");

    let (kept, hops) = contents(&mut book);
    let expected = || before.kept.iter().map(|e| &e.content);
    assert!(kept.iter().take(before.kept.len()).eq(expected()), "what must never go has gone or changed");
    match &kept[before.kept.len()..] {
        [] => {}
        [last] => assert!(!entry.is_hop && *last == entry.content, "a record that nobody wrote"),
        _ => panic!("records that nobody wrote"),
    }
    let hops = match hops.split_last() {
        Some((last, earlier)) if entry.is_hop && *last == entry.content => earlier,
        _ => &hops,
    };
    assert!(hops.len() >= LEAST_HOPS.min(before.hops.len()), "{} hops are left", hops.len());
    let newest = &before.hops[before.hops.len().saturating_sub(hops.len())..];
    assert!(hops.iter().eq(newest.iter().map(|e| &e.content)), "hops are gone from the middle, or changed");

    if count.is_multiple_of(CUTS_PER_SEQUEL) {
        counts.sequels.fetch_add(1, Relaxed);
        let sequel: Vec<Record> = vec![hop(1), station(9), hop(2)];
        let first = book.next_sequence();
        for record in &sequel {
            block_on(book.append(record)).expect("it goes on");
        }
        assert_eq!(book.flash().work.unerased_bytes, 0, "something was written over");
        let (mut book, _) = open(book.into_flash());
        let (kept_after, hops_after) = contents(&mut book);
        let written = |n: usize| Content::written(&sequel[n], first + n as u32);
        assert_eq!(kept_after[..kept.len()], kept);
        assert_eq!(kept_after[kept.len()..], [written(1)]);
        assert_eq!(hops_after[hops_after.len() - 2..], [written(0), written(2)]);
    }
}

/// Cut the power at every step of the operations that `chosen` picks.
fn cut_within<const WORD: usize>(
    start: &[u8],
    before: &Before<'_>,
    entry: &Entry,
    chosen: impl Fn(&Operation) -> bool,
    counts: &Counts,
) {
    let mut image = start.to_vec();
    for (operation, n) in entry.operations.iter().zip(0_u64..) {
        for step in (0..operation.steps()).filter(|_| chosen(operation)) {
            let seed = u64::from(entry.content.sequence) << 32 | n << 16 | step as u64;
            for cut in [Cut::Plain, Cut::Half(seed)] {
                let mut cut_short = image.clone();
                operation.apply(&mut cut_short, Some((step, cut)));
                let erasing = matches!(operation, Operation::Erase { .. });
                counts.within_erasing.fetch_add(usize::from(erasing), Relaxed);
                cut_and_look::<WORD>(cut_short, before, entry, counts);
            }
        }
        operation.apply(&mut image, None);
    }
}

/// Erasing, and the short markers of a page: what turning to the next page takes besides the record.
fn turns_page(operation: &Operation) -> bool {
    matches!(operation, Operation::Erase { .. }) || operation.steps() <= 4
}

/// Cut the power at every byte of what must never go and of some hops, and at every step in one of so many page turns.
fn sweep<const WORD: usize>(one_in: u32) {
    let entries = write_hour::<WORD>();
    let kept: Vec<&Entry> = entries.iter().filter(|e| !e.is_hop).collect();
    let hops: Vec<&Entry> = entries.iter().filter(|e| e.is_hop).collect();
    let counts = Counts::default();
    // Each stretch begins with the image as it was then.
    let mut image = vec![0xff; PAGES * PAGE];
    let (mut kept_before, mut hops_before) = (0, 0);
    let stretches: Vec<_> = entries
        .chunks(200)
        .map(|stretch| {
            let start = (image.clone(), kept_before, hops_before, stretch);
            for entry in stretch {
                entry.operations.iter().for_each(|operation| operation.apply(&mut image, None));
                *if entry.is_hop { &mut hops_before } else { &mut kept_before } += 1;
            }
            start
        })
        .collect();
    stretches.into_par_iter().for_each(|(mut image, mut kept_before, mut hops_before, stretch)| {
        for entry in stretch {
            let before = Before { kept: &kept[..kept_before], hops: &hops[..hops_before] };
            let every_byte = !entry.is_hop || hops_before.is_multiple_of(HOPS_PER_CUT_HOP);
            let erases = entry.operations.iter().any(|o| matches!(o, Operation::Erase { .. }));
            if every_byte {
                cut_within::<WORD>(&image, &before, entry, |_| true, &counts);
            } else if erases && entry.content.sequence.is_multiple_of(one_in) {
                cut_within::<WORD>(&image, &before, entry, turns_page, &counts);
            }
            entry.operations.iter().for_each(|operation| operation.apply(&mut image, None));
            *if entry.is_hop { &mut hops_before } else { &mut kept_before } += 1;
        }
    });

    let (cuts, read_bytes) = (counts.cuts.into_inner(), counts.read_bytes.into_inner());
    let written: usize = entries.iter().flat_map(|e| &e.operations).map(Operation::steps).sum();
    println!(
        "words of {WORD}: an hour of {} records in {written} steps, {cuts} power cuts ({} while erasing, {} gone on \
         after): 0 stations lost, 0 corrupt records accepted; opening reads at most {:.2} times the flash and erases \
         at most {} page",
        entries.len(),
        counts.within_erasing.into_inner(),
        counts.sequels.into_inner(),
        read_bytes as f64 / (PAGES * PAGE) as f64,
        counts.erased_pages.load(Relaxed),
    );
    assert!(cuts >= 10_000);
    // Twice all of it, and a torn page word by word.
    assert!(read_bytes <= (2 * PAGES + 8) * PAGE, "opening reads {read_bytes} bytes");
    assert!(counts.erased_pages.into_inner() <= 1);
}

#[test]
fn nothing_is_lost_wherever_the_power_is_cut() {
    sweep::<1>(1);
}

#[test]
fn nor_with_words_of_four_bytes() {
    sweep::<4>(4);
}
