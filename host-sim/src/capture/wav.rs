//! Frames out of a WAV file.

use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::{Path, PathBuf};

use hound::{SampleFormat, WavIntoSamples, WavReader};

use super::error::{CaptureError, Notice};

/// Largest count of a 24-bit converter.
pub(super) const MAX_COUNT: i32 = (1 << 23) - 1;
/// Smallest count of a 24-bit converter.
pub(super) const MIN_COUNT: i32 = -(1 << 23);

/// Reads the frames of a WAV file one after the other, as counts of a 24-bit converter.
pub struct WavFrames<R = BufReader<File>> {
    file: PathBuf,
    samples: Samples<R>,
    channels: usize,
    rate_hz: f64,
    /// Frames read so far.
    position: u64,
    /// Frames the header promises.
    promised: u64,
    /// Samples that were not numbers.
    not_a_number: u64,
    first_not_a_number: u64,
    /// Set once the file has ended, early or not.
    ended: bool,
}

enum Samples<R> {
    /// Integers, to be shifted left by this much (right if negative).
    Whole(WavIntoSamples<R, i32>, i32),
    Float(WavIntoSamples<R, f32>),
}

impl WavFrames {
    /// Opens a file and reads its header.
    ///
    /// # Errors
    /// As [`WavFrames::new`], or when the file cannot be opened.
    pub fn open(file: &Path) -> Result<Self, CaptureError> {
        let opened = File::open(file).map_err(CaptureError::io(file, "open"))?;
        Self::new(BufReader::new(opened), file)
    }
}

impl<R: Read + Seek> WavFrames<R> {
    /// Reads the header of what comes from `source`; `file` is its name in messages.
    ///
    /// # Errors
    /// When this is no WAV file of 16, 24 or 32 bits or float, or it holds no frames.
    pub fn new(mut source: R, file: &Path) -> Result<Self, CaptureError> {
        let in_header = |problem: String, remedy| CaptureError::Wav {
            file: file.to_path_buf(),
            place: "header".to_owned(),
            problem,
            remedy,
        };
        const CONVERT: &str = "convert it to little-endian RIFF/WAVE with any sound tool";
        let mut tag = Vec::new();
        source.by_ref().take(4).read_to_end(&mut tag).map_err(CaptureError::io(file, "read"))?;
        match tag.as_slice() {
            b"RIFF" => {}
            b"" => {
                return Err(in_header("the file is empty".to_owned(), "record or copy it again"));
            }
            b"RIFX" => return Err(in_header("big-endian (RIFX)".to_owned(), CONVERT)),
            b"RF64" | b"BW64" => {
                return Err(in_header("64-bit RIFF".to_owned(), "record parts of less than 4 GiB"));
            }
            _ => return Err(in_header("not a WAV file".to_owned(), CONVERT)),
        }
        source.rewind().map_err(CaptureError::io(file, "read"))?;
        let reader = WavReader::new(source).map_err(|e| match e {
            hound::Error::IoError(e) if e.raw_os_error().is_some() => CaptureError::io(file, "read")(e),
            hound::Error::IoError(_) => in_header(
                "ends before the samples begin".to_owned(),
                "the file was cut off: record or copy it again",
            ),
            other => in_header(other.to_string(), "save it again as plain PCM with any sound tool"),
        })?;
        let spec = reader.spec();
        let promised = u64::from(reader.duration());
        if promised == 0 {
            return Err(in_header(
                "says there are no samples".to_owned(),
                "the recorder may have been stopped before it finished the file: record again, or \
                 repair the header with a sound tool",
            ));
        }
        if spec.sample_rate == 0 {
            return Err(in_header("says 0 samples a second".to_owned(), "record again"));
        }
        let samples = match (spec.sample_format, i32::from(spec.bits_per_sample)) {
            (SampleFormat::Int, bits @ (16 | 24 | 32)) => Samples::Whole(reader.into_samples(), 24 - bits),
            (SampleFormat::Float, 32) => Samples::Float(reader.into_samples()),
            (_, bits) => {
                let problem = format!("{bits}-bit samples");
                return Err(in_header(problem, "save it with 16, 24 or 32 bits, or 32-bit float"));
            }
        };
        Ok(Self {
            file: file.to_path_buf(),
            samples,
            channels: usize::from(spec.channels),
            rate_hz: f64::from(spec.sample_rate),
            position: 0,
            promised,
            not_a_number: 0,
            first_not_a_number: 0,
            ended: false,
        })
    }

    /// Number of channels.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// Sample rate in the header, hertz.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Frames that the header promises.
    pub(super) fn promised(&self) -> u64 {
        self.promised
    }

    /// The file's name.
    pub(super) fn file(&self) -> &Path {
        &self.file
    }

    /// Fills the front of `frames` and tells how many there were: less than asked for only at the end.
    /// `C` must be the number of channels.
    ///
    /// # Errors
    /// When the file cannot be read, or breaks off before the first frame.
    pub fn read<const C: usize>(&mut self, frames: &mut [[i32; C]]) -> Result<usize, CaptureError> {
        let mut filled = 0;
        for frame in frames {
            if self.ended {
                break;
            }
            for count in frame.iter_mut() {
                match self.next_count()? {
                    Some(found) => *count = found,
                    None => self.ended = true,
                }
            }
            if !self.ended {
                filled += 1;
                self.position += 1;
            }
        }
        if self.ended && self.position == 0 {
            return Err(CaptureError::Wav {
                file: self.file.clone(),
                place: "frame 0".to_owned(),
                problem: format!("the header promises {} frames, none is there", self.promised),
                remedy: "the file was cut off: record or copy it again",
            });
        }
        Ok(filled)
    }

    /// The next sample in counts; `None` at the end, and where a cut-off file breaks off.
    fn next_count(&mut self) -> Result<Option<i32>, CaptureError> {
        let next = match &mut self.samples {
            Samples::Whole(samples, shift) => {
                let shift = *shift;
                samples.next().map(|s| s.map(|s| if shift < 0 { s >> -shift } else { s << shift }))
            }
            Samples::Float(samples) => samples.next().map(|s| {
                s.map(|volts| {
                    if !volts.is_finite() {
                        if self.not_a_number == 0 {
                            self.first_not_a_number = self.position;
                        }
                        self.not_a_number += 1;
                        return 0;
                    }
                    // A product beyond the range of an i32 saturates, then is limited like any other.
                    ((volts * -(MIN_COUNT as f32)).round() as i32).clamp(MIN_COUNT, MAX_COUNT)
                })
            }),
        };
        match next {
            None => Ok(None),
            Some(Ok(count)) => Ok(Some(count)),
            // The decoder reports a file that ends too early as an error that has no system error number.
            Some(Err(hound::Error::IoError(e))) if e.raw_os_error().is_none() => Ok(None),
            Some(Err(hound::Error::IoError(e))) => Err(CaptureError::io(&self.file, "read")(e)),
            Some(Err(other)) => Err(CaptureError::Wav {
                file: self.file.clone(),
                place: format!("frame {}", self.position),
                problem: other.to_string(),
                remedy: "save it again as plain PCM with any sound tool",
            }),
        }
    }

    /// What was odd in the frames read so far.
    pub fn notices(&self) -> Vec<Notice> {
        let mut notices = Vec::new();
        if self.ended && self.position < self.promised {
            notices.push(Notice::new(
                &self.file,
                format!(
                    "cut off: the header promises {} frames, {} are there and were used",
                    self.promised, self.position
                ),
            ));
        }
        if self.not_a_number > 0 {
            notices.push(Notice::new(
                &self.file,
                format!(
                    "{} samples are not numbers, the first in frame {}; they were taken as 0",
                    self.not_a_number, self.first_not_a_number
                ),
            ));
        }
        notices
    }
}
