//! Captures: one recording, how it was made, and where the mast was.
//!
//! [`Capture::open`] reads a capture folder or a bare WAV file. Its samples come out of a
//! [`CaptureReader`], its phasors (if it is already demodulated) out of a [`FieldRecording`]. A
//! [`Recording`] wrapped around any live source writes a capture on the way; replaying that gives the
//! same blocks, bit for bit. The format is described in the book's chapter on captures.

mod channels;
mod error;
mod field;
mod manifest;
mod pose;
mod read;
mod table;
#[cfg(test)]
mod tests;
mod track;
mod wav;
mod write;
mod write_field;

use std::path::{Path, PathBuf};

use nullwalk_core::array::Array;
use nullwalk_core::error::ConfigError;
use nullwalk_core::frame::MAX_CHANNELS;
use nullwalk_core::gain::Ladder;

pub use error::{CaptureError, Notice};
pub use field::{FieldRecording, FieldRow};
pub use manifest::{Description, Made, Manifest};
pub use read::CaptureReader;
pub use track::{Track, TrackRow};
pub use wav::WavFrames;
pub use write::{CaptureWriter, Recording, RecordingError};
pub use write_field::write_field;

use crate::equipment::{ArrayFile, Signal};

/// Name of the file that says how a capture was made.
pub const MANIFEST_FILE: &str = "capture.toml";
/// Name of the file of raw samples.
pub const SAMPLES_FILE: &str = "samples.wav";
/// Name of the file of poses and rungs.
pub const TRACK_FILE: &str = "track.csv";
/// Name of the file of demodulated phasors.
pub const FIELD_FILE: &str = "field.csv";

/// An opened capture: everything but the samples themselves.
#[derive(Debug, Clone)]
pub struct Capture {
    /// The folder or file that was opened.
    pub path: PathBuf,
    /// How it was made, defaults filled in.
    pub description: Description,
    /// The gain ladder described.
    pub ladder: Ladder,
    /// The array described, if its coils form nodes.
    pub array: Option<Array>,
    /// What was recorded.
    pub content: Content,
    /// What was odd.
    pub notices: Vec<Notice>,
}

/// What a capture holds.
#[derive(Debug, Clone)]
pub enum Content {
    /// Raw samples in a WAV file, and the track beside them.
    Samples {
        /// The WAV file.
        wav: PathBuf,
        /// Where the mast was; empty without a track.
        track: Track,
    },
    /// Phasors, already demodulated.
    Field(FieldRecording),
}

impl Capture {
    /// Opens a capture folder, or a bare WAV file with every other thing at its default.
    ///
    /// # Errors
    /// Names the file, the place in it, what is wrong, and what to do.
    pub fn open(path: &Path) -> Result<Self, CaptureError> {
        if !there(path)? {
            return Err(missing(path, "give the folder of a capture, or a WAV file"));
        }
        if path.is_dir() { Self::open_folder(path) } else { Self::open_samples(path, path, None) }
    }

    fn open_folder(folder: &Path) -> Result<Self, CaptureError> {
        let [manifest, wav, field] =
            [MANIFEST_FILE, SAMPLES_FILE, FIELD_FILE].map(|name| folder.join(name));
        let described = there(&manifest)?;
        if there(&wav)? {
            let mut capture = Self::open_samples(folder, &wav, described.then_some(&*manifest))?;
            if !described {
                let text = "not there: everything it would say is taken at its default";
                capture.notices.push(Notice::new(&manifest, text));
            }
            if field.exists() {
                capture.notices.push(Notice::new(&field, "not used: raw samples are there"));
            }
            return Ok(capture);
        }
        if !described {
            return Err(missing(&manifest, "a capture folder holds capture.toml and samples.wav"));
        }
        if !field.exists() {
            return Err(missing(&wav, "put the samples there, or phasors into field.csv"));
        }
        Self::open_field(folder, &manifest, &field)
    }

    fn open_samples(path: &Path, wav: &Path, manifest: Option<&Path>) -> Result<Self, CaptureError> {
        let mut notices = Vec::new();
        let frames = WavFrames::open(wav)?;
        let said = match manifest {
            Some(file) => Manifest::open(file, &mut notices)?,
            None => Manifest::default(),
        };
        // Complaints about the description go to the file that says it, or leaves it to the WAV header.
        let file = manifest.unwrap_or(wav);
        let description = said.complete(frames.channels(), frames.rate_hz());
        let signal = &description.signal;
        check_channels(wav, frames.channels(), signal)?;
        check_rate(file, frames.rate_hz(), signal)?;
        let (ladder, array) = check_equipment(file, &description)?;
        let track_file = path.join(TRACK_FILE);
        let track = if path != wav && track_file.exists() {
            let rate_hz = signal.sample_rate_hz;
            let foot_m = description.array.foot_m as f32;
            let source = table::open(&track_file)?;
            Track::parse(source, &track_file, rate_hz, foot_m, ladder.top(), &mut notices)?
        } else {
            Track::default()
        };
        let content = Content::Samples { wav: wav.to_path_buf(), track };
        Ok(Self { path: path.to_path_buf(), description, ladder, array, content, notices })
    }

    fn open_field(folder: &Path, manifest: &Path, field: &Path) -> Result<Self, CaptureError> {
        let mut notices = Vec::new();
        let said = Manifest::open(manifest, &mut notices)?;
        let foot_m = said.foot_m();
        let recording = FieldRecording::parse(table::open(field)?, field, foot_m, &mut notices)?;
        let description = said.complete_for_field(recording.nodes());
        let described = description.array.node.len();
        if described != recording.nodes() {
            return Err(CaptureError::Table {
                file: field.to_path_buf(),
                line: 1,
                column: "n1x_re_t".to_owned(),
                problem: format!("{} nodes here, {described} in capture.toml", recording.nodes()),
                remedy: "list one [[array.node]] for each node, or leave [array] out",
            });
        }
        let (ladder, array) = check_equipment(manifest, &description)?;
        let content = Content::Field(recording);
        Ok(Self { path: folder.to_path_buf(), description, ladder, array, content, notices })
    }

    /// The samples, to be read from the start; `C` must be the number of channels, which
    /// [`with_channels!`](crate::with_channels) takes from `description.signal.channels`.
    ///
    /// # Errors
    /// When the capture has another number of channels or holds no raw samples, or its file cannot be read.
    pub fn reader<const C: usize>(&self) -> Result<CaptureReader<C>, CaptureError> {
        let Content::Samples { wav, track } = &self.content else {
            return Err(missing(
                &self.path.join(SAMPLES_FILE),
                "this capture holds phasors (field.csv): ask for those",
            ));
        };
        CaptureReader::new(WavFrames::open(wav)?, track.clone())
    }
}

/// Whether it is there, where the system lets us look: what may not be read is not missing.
fn there(path: &Path) -> Result<bool, CaptureError> {
    path.try_exists().map_err(|source| CaptureError::Io {
        file: path.to_path_buf(),
        action: "open",
        source,
    })
}

fn missing(file: &Path, remedy: &'static str) -> CaptureError {
    CaptureError::Missing { file: file.to_path_buf(), remedy }
}

fn check_channels(wav: &Path, found: usize, signal: &Signal) -> Result<(), CaptureError> {
    let complaint =
        |wanted, remedy| Err(CaptureError::Channels { file: wav.to_path_buf(), found, wanted, remedy });
    if found > MAX_CHANNELS {
        return complaint(MAX_CHANNELS, "keep at most 8 channels");
    }
    if found != signal.channels {
        return complaint(signal.channels, "correct signal.channels in capture.toml, or leave it out");
    }
    Ok(())
}

/// The exact rate may differ from the header's by rounding and by the error of a clock, not by more.
fn check_rate(file: &Path, header_hz: f64, signal: &Signal) -> Result<(), CaptureError> {
    let rate_hz = signal.sample_rate_hz;
    if (rate_hz - header_hz).abs() > 0.5 + 0.01 * header_hz || !rate_hz.is_finite() {
        return Err(CaptureError::Manifest {
            file: file.to_path_buf(),
            place: "signal.sample_rate_hz".to_owned(),
            problem: format!("{rate_hz} Hz, but the header of samples.wav says {header_hz} Hz"),
            remedy: "give the true rate in both, or leave the key out",
        });
    }
    check_tone(file, signal)
}

fn check_tone(file: &Path, signal: &Signal) -> Result<(), CaptureError> {
    if signal.tone_fits() {
        return Ok(());
    }
    let remedy = match Signal::rate_for_tone_hz(signal.tone_hz) {
        Some(rate_hz) => format!("record at {rate_hz} Hz"),
        None => "set signal.tone_hz to a tone of 1 Hz to 48 kHz".to_owned(),
    };
    Err(CaptureError::Tone {
        file: file.to_path_buf(),
        tone_hz: signal.tone_hz,
        rate_hz: signal.sample_rate_hz,
        remedy,
    })
}

fn check_equipment(
    file: &Path,
    description: &Description,
) -> Result<(Ladder, Option<Array>), CaptureError> {
    let ladder = description.front_end.ladder().map_err(CaptureError::config(file))?;
    let array = description.array.array().map_err(CaptureError::config(file))?;
    check_coils(&description.array, description.signal.channels).map_err(CaptureError::config(file))?;
    Ok((ladder, array))
}

fn check_coils(array: &ArrayFile, channels: usize) -> Result<(), ConfigError> {
    let mut coils = array.node.iter().flat_map(|node| &node.coil);
    if coils.all(|coil| usize::from(coil.channel) < channels) {
        return Ok(());
    }
    Err(ConfigError::new(
        "array.node.coil.channel",
        "must be below the number of channels; leave out the nodes that were not recorded",
    ))
}
