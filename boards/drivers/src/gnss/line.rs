//! Lines out of a stream of bytes.

use heapless::Vec;
/// The standard allows 82 characters; receivers that give more decimals send some more.
const LONGEST: usize = 102;

/// Why a line was dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// Longer than any sentence.
    Overlong,
    /// A byte that no sentence has, or the next line began before this one ended.
    Garbled,
}

/// Collects one line at a time. Whatever comes between lines is skipped.
#[derive(Debug, Clone, Default)]
pub struct Lines {
    line: Vec<u8, LONGEST>,
    is_finished: bool,
}

impl Lines {
    /// Take in a byte. `Ok(true)` when it finished a line, which [`line`](Self::line) holds until the next byte.
    ///
    /// # Errors
    /// Why the line so far was dropped.
    pub fn push(&mut self, byte: u8) -> Result<bool, Cut> {
        if self.is_finished {
            self.line.clear();
            self.is_finished = false;
        }
        match byte {
            b'$' => {
                let was_cut = !self.line.is_empty();
                self.line.clear();
                // An empty line has room.
                let _ = self.line.push(byte);
                if was_cut { Err(Cut::Garbled) } else { Ok(false) }
            }
            _ if self.line.is_empty() => Ok(false),
            b'\r' | b'\n' => {
                self.is_finished = true;
                Ok(true)
            }
            b' '..=b'~' => {
                if self.line.push(byte).is_err() {
                    self.line.clear();
                    return Err(Cut::Overlong);
                }
                Ok(false)
            }
            _ => {
                self.line.clear();
                Err(Cut::Garbled)
            }
        }
    }

    /// The finished line, from its `$` to its checksum.
    pub fn line(&self) -> &[u8] {
        if self.is_finished { &self.line } else { &[] }
    }
}
