//! Following a handset's link while it speaks.

use std::io::{self, Read, Write};
use std::path::Path;
use std::time::Duration;

use nullwalk_core::locate::Guidance;
use nullwalk_core::record::{Deframer, Record, Unreadable};
use serialport::SerialPort;

use super::FieldBookError;

/// A port that is silent for so long is asked again.
const PATIENCE: Duration = Duration::from_millis(200);

/// Takes bytes in as they come, and gives records.
#[derive(Debug, Default)]
pub struct Follower {
    deframer: Deframer,
    records: usize,
    unreadable: usize,
    told: Option<Guidance>,
}

/// What came over a link.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Followed {
    /// Records that were read.
    pub records: usize,
    /// Whole records of a version or kind that this program does not know.
    pub unreadable: usize,
    /// Records missing, by their numbers.
    pub lost: u32,
    /// Stretches that were no whole record.
    pub damaged: u32,
    /// How often the handset began anew.
    pub restarts: u32,
}

impl Follower {
    /// Take bytes in; call `each` for every record that is whole, and for why one cannot be read.
    pub fn push(&mut self, bytes: &[u8], mut each: impl FnMut(Result<&Record, Unreadable>)) {
        for &byte in bytes {
            let Some(Ok(envelope)) = self.deframer.push(byte) else { continue };
            match envelope.open() {
                Ok(record) => {
                    self.records += 1;
                    each(Ok(&record));
                }
                Err(why) => {
                    self.unreadable += 1;
                    each(Err(why));
                }
            }
        }
    }

    /// Whether a record is worth a line: guidance comes ten times a second, and is told once a second or when
    /// something other than figures has changed.
    pub fn is_news(&mut self, record: &Record) -> bool {
        match record {
            Record::Hop(_) => false,
            Record::Guidance(now) => {
                let news = self.told.as_ref().is_none_or(|told| {
                    let changed = told.phase != now.phase
                        || told.trouble.map(|t| t.code()) != now.trouble.map(|t| t.code())
                        || told.crossed != now.crossed
                        || told.mark.is_some() != now.mark.is_some();
                    changed || now.sweep.is_some() || now.at.abs_diff(told.at) >= SECOND_SAMPLES
                });
                if news {
                    self.told = Some(now.clone());
                }
                news
            }
            _ => true,
        }
    }

    /// What came so far.
    pub fn so_far(&self) -> Followed {
        let losses = self.deframer.losses();
        Followed {
            records: self.records,
            unreadable: self.unreadable,
            lost: losses.lost(),
            damaged: self.deframer.damaged(),
            restarts: losses.restarts(),
        }
    }
}

/// Samples between lines of guidance: a second at the usual rate.
const SECOND_SAMPLES: u64 = 8000;

/// A serial port, to be followed.
///
/// # Errors
/// When it cannot be opened.
pub fn open_port(port: &str, baud: u32) -> Result<Box<dyn SerialPort>, FieldBookError> {
    let opened = serialport::new(port, baud).timeout(PATIENCE).open();
    opened.map_err(|error| FieldBookError::io(Path::new(port), "open")(error.into()))
}

/// Follow a port until it goes away. Every byte goes to `log` as it came, so that nothing depends on what this program
/// makes of it; `tell` gets the records, and whether each is news.
///
/// # Errors
/// When the log does not take what came. A port that goes away is no error.
pub fn follow(
    port: &mut dyn Read,
    mut log: Option<(&Path, &mut dyn Write)>,
    mut tell: impl FnMut(&Record, bool),
) -> Result<Followed, FieldBookError> {
    let mut follower = Follower::default();
    let mut buffer = [0; 4096];
    loop {
        let read = match port.read(&mut buffer) {
            Ok(0) => break,
            Ok(read) => read,
            Err(e) if matches!(e.kind(), io::ErrorKind::TimedOut | io::ErrorKind::Interrupted) => continue,
            // Unplugged, or the other end of a pseudo-terminal was closed.
            Err(_) => break,
        };
        let bytes = buffer.get(..read).unwrap_or_default();
        if let Some((file, log)) = &mut log {
            log.write_all(bytes).and_then(|()| log.flush()).map_err(FieldBookError::io(file, "write"))?;
        }
        let mut records = Vec::new();
        follower.push(bytes, |record| records.extend(record.ok().cloned()));
        for record in &records {
            let news = follower.is_news(record);
            tell(record, news);
        }
    }
    Ok(follower.so_far())
}
