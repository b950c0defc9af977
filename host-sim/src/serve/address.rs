//! Where jobs are found on the page.

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};

use super::shelf::Volume;

/// Address of a job.
pub fn address(volume: &Volume) -> String {
    const PLAIN: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'_').remove(b'.').remove(b'~');
    format!("/job/{}", utf8_percent_encode(&volume.name, PLAIN))
}
