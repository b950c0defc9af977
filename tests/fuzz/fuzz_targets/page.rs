//! Any text as the host that a request is for, and as the names that come with files.
#![no_main]

use std::net::IpAddr;
use std::path::{Component, Path};

use libfuzzer_sys::fuzz_target;
use nullwalk::serve::{host_is_ours, is_folder_name, is_part_of_a_capture};

fuzz_target!(|text: &str| {
    if host_is_ours(text, 8765, true) {
        let name = text.rsplit_once(':').map_or(text, |(name, _)| name).trim_matches(['[', ']']);
        assert!(name.eq_ignore_ascii_case("localhost") || name.parse::<IpAddr>().is_ok(), "{text:?}");
    } else {
        assert!(!host_is_ours(text, 8765, false), "{text:?}");
    }
    if is_folder_name(text) || is_part_of_a_capture(text) {
        let mut parts = Path::new(text).components();
        assert!(matches!((parts.next(), parts.next()), (Some(Component::Normal(_)), None)), "{text:?}");
    }
});
