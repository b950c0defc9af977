//! What firmware says by defmt: numbers of texts, and values. The texts themselves are in its image.

use std::io::{Read, Write};

use anyhow::{Context as _, Result, bail};
use defmt_decoder::{DecodeError, Table};

/// Put into words all that firmware says until it stops.
pub fn print(image: &[u8], mut from: impl Read, mut to: impl Write) -> Result<()> {
    let table = Table::parse(image)?.context("this image does not speak by defmt")?;
    let mut decoder = table.new_stream_decoder();
    let mut bytes = [0; 4096];
    loop {
        let read = from.read(&mut bytes)?;
        decoder.received(&bytes[..read]);
        loop {
            match decoder.decode() {
                Ok(frame) => writeln!(to, "{}", frame.display_message())?,
                Err(DecodeError::UnexpectedEof) => break,
                Err(DecodeError::Malformed) => bail!("what was said is no frame of this image"),
            }
        }
        if read == 0 {
            return Ok(());
        }
    }
}
