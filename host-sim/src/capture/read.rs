//! Replay: the samples of a capture as a source of blocks.

use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::iter::Peekable;
use std::vec;

use nullwalk_core::frame::{Block, BlockInfo, MastReading, SampleIndex, SampleSource};

use super::error::{CaptureError, Notice};
use super::track::{Track, TrackRow};
use super::wav::WavFrames;

/// Frames read at a time.
const BUFFER_FRAMES: usize = 4096;

/// Plays a capture back. A block ends at each row of the track, at a gap, and where the buffer is full.
pub struct CaptureReader<const C: usize, R = BufReader<File>> {
    wav: WavFrames<R>,
    rows: Peekable<vec::IntoIter<TrackRow>>,
    /// Index of the next frame, lost ones counted.
    next: SampleIndex,
    length: SampleIndex,
    rung: u8,
}

impl<const C: usize, R: Read + Seek> CaptureReader<C, R> {
    /// Plays `wav` back along `track`.
    ///
    /// # Errors
    /// When the file does not have `C` channels.
    pub fn new(wav: WavFrames<R>, track: Track) -> Result<Self, CaptureError> {
        if wav.channels() != C {
            return Err(CaptureError::Channels {
                file: wav.file().to_path_buf(),
                found: wav.channels(),
                wanted: C,
                remedy: "read it with the number of channels it has",
            });
        }
        let length = wav.promised() + track.rows().last().map_or(0, |row| row.dropped);
        Ok(Self { wav, length, rows: track.into_rows().into_iter().peekable(), next: 0, rung: 0 })
    }

    /// Samples from the beginning to the end that the file promises, lost ones counted.
    pub fn length(&self) -> SampleIndex {
        self.length
    }

    /// Hand over every block that is left, with what the mast read at its first frame.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn each_block(
        &mut self,
        mut use_block: impl FnMut(&Block<'_, C>, Option<MastReading>),
    ) -> Result<(), CaptureError> {
        let mut frames = vec![[0; C]; BUFFER_FRAMES];
        while let Some(info) = self.read(&mut frames)? {
            let frames = frames.get(..info.frames).unwrap_or(&[]);
            use_block(&Block { frames, start: info.start, rung: info.rung }, info.mast);
        }
        Ok(())
    }

    /// What was odd in the samples so far; complete once [`SampleSource::read`] has given `None`.
    pub fn notices(&self) -> Vec<Notice> {
        let mut notices = self.wav.notices();
        let unused = self.rows.len();
        if unused > 0 {
            let text = format!("{unused} rows of the track lie behind the last sample read");
            notices.push(Notice::new(self.wav.file(), text));
        }
        notices
    }
}

impl<const C: usize, R: Read + Seek> SampleSource<C> for CaptureReader<C, R> {
    type Error = CaptureError;

    fn read(&mut self, frames: &mut [[i32; C]]) -> Result<Option<BlockInfo>, CaptureError> {
        let mut mast = None;
        let mut start = self.next;
        let here = self.next;
        if let Some(row) = self.rows.next_if(|row| row.sample - row.dropped == here) {
            start = row.sample;
            mast = row.mast;
            self.rung = row.rung.unwrap_or(self.rung);
        }
        // The next row's first frame is the first after the gap before it.
        let until_row = self.rows.peek().map_or(u64::MAX, |row| row.sample - row.dropped - start);
        let length = frames.len().min(usize::try_from(until_row).unwrap_or(usize::MAX));
        let filled = match frames.get_mut(..length) {
            Some(part) => self.wav.read(part)?,
            None => 0,
        };
        self.next = start + filled as u64;
        Ok((filled > 0).then_some(BlockInfo { frames: filled, start, rung: self.rung, mast }))
    }

    /// A recording cannot be told to change its gain.
    fn set_rung(&mut self, _rung: u8) {}
}
