//! Recording: whatever a source gives goes into a capture on its way.
//!
//! A capture is put together in a hidden folder beside its place and moved there whole. Whatever goes
//! wrong before, the hidden folder goes away again and nothing else was touched.

use std::fs::{self, File};
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use hound::{SampleFormat, WavSpec, WavWriter};
use nullwalk_core::frame::{BlockInfo, MastReading, SampleIndex, SampleSource};
use tempfile::TempDir;
use thiserror::Error;

use super::error::CaptureError;
use super::manifest::Description;
use super::{
    MANIFEST_FILE, SAMPLES_FILE, TRACK_FILE, check_equipment, check_tone, missing, pose, track,
    wav::{MAX_COUNT, MIN_COUNT},
};

/// Bytes of one sample: 24 bits.
const SAMPLE_BYTES: u64 = 3;
/// What a WAV file can hold, less room for its header.
const LARGEST_WAV_BYTES: u64 = u32::MAX as u64 - 4096;

/// Where a capture is put together.
pub(super) struct Workshop {
    target: PathBuf,
    manifest: String,
    // Removes itself, and what is left in it, when dropped.
    private: TempDir,
}

impl Workshop {
    /// Begins a capture that will stand at `target`, where nothing may be yet.
    pub fn open(target: &Path, description: &Description) -> Result<Self, CaptureError> {
        refuse_existing(target)?;
        check_tone(target, &description.signal)?;
        let name = target.file_name().ok_or_else(|| missing(target, "give the capture a name"))?;
        let above = target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        if !above.is_dir() {
            return Err(missing(above, "make the folder the capture is to stand in"));
        }
        let manifest = description.to_toml().map_err(|e| CaptureError::Manifest {
            file: target.join(MANIFEST_FILE),
            place: "whole".to_owned(),
            problem: e.to_string(),
            remedy: "describe the instrument in plain numbers and text",
        })?;
        let private = tempfile::Builder::new()
            .prefix(&format!(".{}.unfinished-", name.to_string_lossy()))
            .tempdir_in(above)
            .map_err(CaptureError::io(above, "write"))?;
        let workshop = Self { target: target.to_path_buf(), manifest, private };
        // A folder of its own within the private one: this one has the usual permissions.
        fs::create_dir(workshop.folder()).map_err(CaptureError::io(above, "write"))?;
        Ok(workshop)
    }

    /// The folder that becomes the capture.
    pub fn folder(&self) -> PathBuf {
        self.private.path().join("capture")
    }

    /// Adds the description and moves the capture to its place.
    pub fn deliver(self) -> Result<(), CaptureError> {
        let (target, folder) = (&self.target, self.folder());
        fs::write(folder.join(MANIFEST_FILE), &self.manifest).map_err(CaptureError::io(target, "write"))?;
        refuse_existing(target)?;
        fs::rename(folder, target).map_err(CaptureError::io(target, "write"))
    }
}

/// Writes a capture block by block.
pub struct CaptureWriter<const C: usize> {
    workshop: Workshop,
    wav: WavWriter<BufWriter<File>>,
    track: csv::Writer<File>,
    rate_hz: f64,
    top_rung: u8,
    frames: u64,
    next: SampleIndex,
    rung: u8,
    /// Whether a reader with the same buffer would end its block here anyway.
    block_ends: bool,
    /// Whether a write has failed, so that the files no longer fit together.
    broken: bool,
}

impl<const C: usize> CaptureWriter<C> {
    /// Begins a capture that will stand at `target`, where nothing may be yet.
    ///
    /// # Errors
    /// When something is there, the folder above is missing or not writable, or `description` cannot work
    /// or has another number of channels.
    pub fn create(target: &Path, description: &Description) -> Result<Self, CaptureError> {
        refuse_existing(target)?;
        let (ladder, _) = check_equipment(target, description)?;
        if description.signal.channels != C {
            return Err(CaptureError::Channels {
                file: target.to_path_buf(),
                found: C,
                wanted: description.signal.channels,
                remedy: "describe the channels that are recorded",
            });
        }
        let workshop = Workshop::open(target, description)?;
        let folder = workshop.folder();
        let rate_hz = description.signal.sample_rate_hz;
        let spec = WavSpec {
            channels: C as u16,
            sample_rate: rate_hz.round() as u32,
            bits_per_sample: 24,
            sample_format: SampleFormat::Int,
        };
        let wav = WavWriter::create(folder.join(SAMPLES_FILE), spec).map_err(wav_error(target))?;
        let mut track = csv::Writer::from_path(folder.join(TRACK_FILE)).map_err(csv_error(target))?;
        track.write_record(track::columns()).map_err(csv_error(target))?;
        Ok(Self {
            workshop,
            wav,
            track,
            rate_hz,
            top_rung: ladder.top(),
            frames: 0,
            next: 0,
            rung: 0,
            block_ends: false,
            broken: false,
        })
    }

    /// Adds a block. `filled` says whether it filled the buffer of whoever asked for it: a replay ends
    /// such a block by itself, and any other only because a row says so.
    ///
    /// # Errors
    /// When the block breaks the contract of a source, or does not fit the format, or the disk does not
    /// take it. Blocks added before are safe except in the last case.
    pub fn append(
        &mut self,
        info: &BlockInfo,
        frames: &[[i32; C]],
        filled: bool,
    ) -> Result<(), CaptureError> {
        self.check(info, frames)?;
        self.broken = true;
        self.append_row(info)?;
        for count in frames.as_flattened() {
            self.wav.write_sample(*count).map_err(wav_error(&self.workshop.target))?;
        }
        self.broken = false;
        self.frames += frames.len() as u64;
        self.next = info.start + frames.len() as u64;
        self.rung = info.rung;
        self.block_ends = filled;
        Ok(())
    }

    fn check(&self, info: &BlockInfo, frames: &[[i32; C]]) -> Result<(), CaptureError> {
        let wrong = |sample, problem: String, remedy| {
            Err(CaptureError::Block { file: self.workshop.target.clone(), sample, problem, remedy })
        };
        if info.start < self.next || info.start > track::LAST_SAMPLE {
            let problem = format!("the block follows sample {}", self.next);
            return wrong(info.start, problem, "a source must count its samples upwards from 0");
        }
        if info.rung > self.top_rung {
            let problem = format!("rung {} is not on the ladder", info.rung);
            return wrong(info.start, problem, "describe all rungs under front_end.rungs");
        }
        if !info.mast.is_none_or(|mast| recordable(&mast)) {
            let problem = "the mast's pose is not finite, too far away, or has a negative sigma".into();
            return wrong(info.start, problem, "leave out what was not measured");
        }
        for (frame, sample) in frames.iter().zip(info.start..) {
            if let Some(count) = frame.iter().find(|c| !(MIN_COUNT..=MAX_COUNT).contains(*c)) {
                let problem = format!("{count} counts do not fit in 24 bits");
                return wrong(sample, problem, "scale the samples to a 24-bit converter");
            }
        }
        let bytes = (self.frames + frames.len() as u64) * C as u64 * SAMPLE_BYTES;
        if bytes > LARGEST_WAV_BYTES {
            let problem = "a WAV file holds no more than 4 GiB".into();
            return wrong(info.start, problem, "finish this capture and begin another");
        }
        Ok(())
    }

    /// Writes a row where a reader would not do the same thing without one.
    fn append_row(&mut self, info: &BlockInfo) -> Result<(), CaptureError> {
        let dropped = info.start - self.next;
        let ends_early = self.frames > 0 && !self.block_ends;
        if info.mast.is_none() && info.rung == self.rung && dropped == 0 && !ends_early {
            return Ok(());
        }
        let time_s = info.start as f64 / self.rate_hz;
        let lost = if dropped > 0 { dropped.to_string() } else { String::new() };
        let cells = [time_s.to_string()]
            .into_iter()
            .chain(pose::cells(info.mast.as_ref()))
            .chain([info.rung.to_string(), lost]);
        self.track.write_record(cells).map_err(csv_error(&self.workshop.target))
    }

    /// Finishes the capture and moves it to its place.
    ///
    /// # Errors
    /// When nothing was recorded, something stands there by now, or the disk does not take it.
    pub fn finish(self) -> Result<(), CaptureError> {
        if self.frames == 0 || self.broken {
            return Err(CaptureError::Block {
                file: self.workshop.target,
                sample: self.next,
                problem: if self.broken { "a write has failed" } else { "nothing was recorded" }.into(),
                remedy: "look at the source and the disk, and record again",
            });
        }
        let Self { workshop, wav, mut track, .. } = self;
        wav.finalize().map_err(wav_error(&workshop.target))?;
        track.flush().map_err(CaptureError::io(&workshop.target, "write"))?;
        workshop.deliver()
    }
}

fn refuse_existing(target: &Path) -> Result<(), CaptureError> {
    // Not `exists`: a dangling link is something, too.
    match target.symlink_metadata() {
        Ok(_) => Err(CaptureError::Exists { file: target.to_path_buf() }),
        Err(_) => Ok(()),
    }
}

/// Whether a pose reads back from the track as it is.
fn recordable(mast: &MastReading) -> bool {
    let near = |p: nullwalk_core::frame::Position| {
        p.enu_m.abs().max_element() <= pose::FARTHEST_M
            && p.enu_m.is_finite()
            && (0.0..f32::INFINITY).contains(&p.sigma_m)
    };
    mast.position.is_none_or(near)
        && mast.heading_rad.is_none_or(f32::is_finite)
        && mast.tilt.is_none_or(|t| t.pitch_rad.is_finite() && t.roll_rad.is_finite())
}

fn wav_error(target: &Path) -> impl FnOnce(hound::Error) -> CaptureError {
    let target = target.to_path_buf();
    move |e| match e {
        hound::Error::IoError(e) => CaptureError::io(&target, "write")(e),
        other => CaptureError::io(&target, "write")(std::io::Error::other(other)),
    }
}

pub(super) fn csv_error(target: &Path) -> impl FnOnce(csv::Error) -> CaptureError {
    let target = target.to_path_buf();
    move |e| CaptureError::io(&target, "write")(e.into())
}

/// A source that is recorded as it is read.
pub struct Recording<S, const C: usize> {
    source: S,
    writer: CaptureWriter<C>,
}

/// What can go wrong with a [`Recording`].
#[derive(Debug, Error)]
pub enum RecordingError<E: std::error::Error + 'static> {
    /// The source itself.
    #[error(transparent)]
    Source(E),
    /// Writing.
    #[error(transparent)]
    Capture(#[from] CaptureError),
}

impl<S, const C: usize> Recording<S, C> {
    /// Records `source` into `writer`.
    pub fn new(source: S, writer: CaptureWriter<C>) -> Self {
        Self { source, writer }
    }

    /// The source that is being recorded.
    pub fn source_mut(&mut self) -> &mut S {
        &mut self.source
    }

    /// Ends the recording, moves the capture to its place, and gives the source back. Dropping the
    /// recording instead discards it.
    ///
    /// # Errors
    /// As [`CaptureWriter::finish`].
    pub fn finish(self) -> Result<S, CaptureError> {
        self.writer.finish()?;
        Ok(self.source)
    }
}

impl<S, const C: usize> SampleSource<C> for Recording<S, C>
where
    S: SampleSource<C, Error: std::error::Error + 'static>,
{
    type Error = RecordingError<S::Error>;

    fn read(&mut self, frames: &mut [[i32; C]]) -> Result<Option<BlockInfo>, Self::Error> {
        let info = self.source.read(frames).map_err(RecordingError::Source)?;
        let Some(mut info) = info else {
            return Ok(None);
        };
        // Live and replayed blocks are to be the same, also where a sensor spoke but told nothing.
        info.mast = info.mast.and_then(pose::told);
        if let Some(block) = frames.get(..info.frames)
            && !block.is_empty()
        {
            self.writer.append(&info, block, info.frames == frames.len())?;
        }
        Ok(Some(info))
    }

    fn set_rung(&mut self, rung: u8) {
        self.source.set_rung(rung);
    }
}
