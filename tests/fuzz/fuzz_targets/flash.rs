//! Any bytes as a flash with a field book in it: opened, read, and written on.
#![no_main]

use embassy_futures::block_on;
use libfuzzer_sys::fuzz_target;
use nullwalk_core::record::{Note, Record, clipped};
use nullwalk_field_book::mock::MockFlash;
use nullwalk_field_book::{FieldBook, Layout};

const PAGE: usize = 2048;

fuzz_target!(|bytes: &[u8]| {
    let mut image = vec![0xff; 5 * PAGE];
    for (cell, byte) in image.iter_mut().zip(bytes) {
        *cell = *byte;
    }
    let flash = MockFlash::<4, PAGE>::with_image(image);
    let page = PAGE as u32;
    let Ok((mut book, _)) = block_on(FieldBook::open(flash, Layout::new(0..2 * page, 2 * page..5 * page)))
    else {
        return;
    };
    let note = Record::Note(Note { at: 1, text: clipped("still here") });
    if block_on(book.append(&note)).is_ok() {
        let mut last = None;
        let _ = block_on(book.kept(|envelope| last = Some(envelope.open())));
        assert_eq!(last, Some(Ok(note)));
    }
    let _ = block_on(book.room_bytes());
});
