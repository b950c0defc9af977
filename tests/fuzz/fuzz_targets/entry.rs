//! Any text as what an entry of a job says.
#![no_main]

use libfuzzer_sys::fuzz_target;
use nullwalk::job::Content;

fuzz_target!(|text: &str| {
    for kind in ["settings", "source", "run", "station", "point", "tie", "note", "photo", "other"] {
        if let Ok(Some(content)) = Content::from_text(kind, text) {
            assert_eq!(content.kind(), kind);
            let _ = content.to_value();
        }
    }
});
