//! The files of a capture: what they may be called, and how much they may hold.

use crate::capture::{FIELD_FILE, MANIFEST_FILE, SAMPLES_FILE, TRACK_FILE};

/// Files of a capture, and the most that each may hold.
pub const PARTS: [(&str, u64); 4] =
    [(MANIFEST_FILE, 1 << 20), (SAMPLES_FILE, 256 << 20), (TRACK_FILE, 64 << 20), (FIELD_FILE, 64 << 20)];
/// All of them together.
pub const LARGEST_BYTES: u64 = 256 << 20;
pub const LONGEST_NAME: usize = 60;

/// Whether a file of this name belongs to a capture.
pub fn is_part_of_a_capture(name: &str) -> bool {
    PARTS.iter().any(|(part, _)| *part == name)
}

/// Whether a capture's folder may have this name: one that is a name on every system and leads nowhere else.
pub fn is_folder_name(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    (1..=LONGEST_NAME).contains(&name.len())
        && name.chars().all(plain)
        && name.starts_with(|c: char| c.is_ascii_alphanumeric())
        && !name.ends_with('.')
}

/// The last part of a name that may come with the folders before it.
pub fn last_part(name: &str) -> &str {
    name.rsplit(['/', '\\']).next().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lead_nowhere_else() {
        for name in ["walk-1", "a", "2026.05_x"] {
            assert!(is_folder_name(name), "{name}");
        }
        for name in
            ["", ".", "..", ".hidden", "a/b", "a\\b", "-rf", "a b", "ä", "a.", "a\0", &"x".repeat(61)]
        {
            assert!(!is_folder_name(name), "{name}");
        }
        assert_eq!(last_part("walk/../capture.toml"), "capture.toml");
        assert_eq!(last_part("C:\\walk\\samples.wav"), "samples.wav");
        assert!(!is_part_of_a_capture("../capture.toml") && !is_part_of_a_capture(""));
    }
}
