//! `capture.toml`: how a capture was made.

use std::io::Read;
use std::ops::Range;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::error::{CaptureError, Notice};
use super::table;
use crate::equipment::{ArrayFile, Bench, CalibrationFile, FrontEnd, NodeFile, Signal};

/// What `format` must say.
const FORMAT: &str = "nullwalk-capture";
/// The newest version that is understood, and the one that is written.
const VERSION: i64 = 1;
const LARGEST_MANIFEST_BYTES: u64 = 1 << 20;

/// How a capture was made, with nothing left open.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Description {
    /// Provenance.
    pub made: Made,
    /// Rate, tone and channels.
    pub signal: Signal,
    /// Amplifier and converter.
    pub front_end: FrontEnd,
    /// Coils; without nodes where they do not form any.
    pub array: ArrayFile,
}

/// Who or what made a capture.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Made {
    /// Program or person.
    pub by: String,
    /// Anything worth telling.
    pub note: String,
}

/// What a `capture.toml` says, before the WAV header and the defaults fill in the rest.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(default)]
pub struct Manifest {
    // Both were looked at before: they are here so that they count as known keys.
    #[serde(rename = "format")]
    _format: String,
    #[serde(rename = "version")]
    _version: i64,
    made: Made,
    signal: SignalSaid,
    front_end: FrontEnd,
    array: Option<ArraySaid>,
}

#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(default)]
struct SignalSaid {
    sample_rate_hz: Option<f64>,
    tone_hz: Option<f64>,
    channels: Option<usize>,
    bench: Option<Bench>,
}

/// Unlike in a site file, an `[array]` that lists no nodes has none.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(default)]
struct ArraySaid {
    foot_m: Option<f64>,
    calibration: CalibrationFile,
    node: Vec<NodeFile>,
}

impl Manifest {
    /// Reads the file.
    ///
    /// # Errors
    /// As [`Manifest::parse`], or when the file cannot be read.
    pub fn open(file: &Path, notices: &mut Vec<Notice>) -> Result<Self, CaptureError> {
        let mut text = String::new();
        table::open_limited(file, "description", LARGEST_MANIFEST_BYTES)?
            .read_to_string(&mut text)
            .map_err(CaptureError::io(file, "read as UTF-8 text"))?;
        Self::parse(&text, file, notices)
    }

    /// Parses the text of a `capture.toml`. Keys that are not known become notices.
    ///
    /// # Errors
    /// When it is not TOML, not a capture's, of a newer version, or a value has the wrong type.
    pub fn parse(text: &str, file: &Path, notices: &mut Vec<Notice>) -> Result<Self, CaptureError> {
        let wrong = |place: &str, problem: String, remedy| CaptureError::Manifest {
            file: file.to_path_buf(),
            place: place.to_owned(),
            problem,
            remedy,
        };
        let not_toml = |e: toml::de::Error| {
            let place = e.span().map_or("key unknown".to_owned(), |span| line(text, span));
            wrong(&place, e.message().to_owned(), "correct it as the book's capture chapter shows")
        };
        let keys: toml::Table = text.parse().map_err(not_toml)?;
        if keys.get("format").and_then(toml::Value::as_str) != Some(FORMAT) {
            let problem = format!("must be {FORMAT:?}");
            return Err(wrong("key format", problem, "is this the file you meant? If so, add the key"));
        }
        match keys.get("version").and_then(toml::Value::as_integer) {
            Some(1..=VERSION) => {}
            Some(newer @ 2..) => {
                let problem = format!("version {newer} is newer than this program knows ({VERSION})");
                return Err(wrong("key version", problem, "read it with a newer nullwalk"));
            }
            _ => {
                let problem = "must be a whole number from 1".to_owned();
                return Err(wrong("key version", problem, "write version = 1"));
            }
        }
        let mut unknown = |path: serde_ignored::Path<'_>| {
            notices.push(Notice::new(file, format!("key {path} is not known and not used")));
        };
        let toml = toml::Deserializer::parse(text).map_err(not_toml)?;
        serde_ignored::deserialize(toml, &mut unknown).map_err(not_toml)
    }

    /// Height of the lower node while the foot is on the ground, metres.
    pub(super) fn foot_m(&self) -> f32 {
        let said = self.array.as_ref().and_then(|a| a.foot_m);
        said.unwrap_or(ArrayFile::default().foot_m) as f32
    }

    /// Fills in what a WAV header says and the defaults.
    pub(super) fn complete(self, channels: usize, rate_hz: f64) -> Description {
        let signal = Signal {
            sample_rate_hz: self.signal.sample_rate_hz.unwrap_or(rate_hz),
            tone_hz: self.signal.tone_hz.unwrap_or(Signal::default().tone_hz),
            channels: self.signal.channels.unwrap_or(channels),
            bench: self.signal.bench,
        };
        let array = match self.array {
            Some(said) => said.complete(),
            None if signal.channels == Signal::default().channels => ArrayFile::default(),
            None => ArrayFile { node: Vec::new(), ..ArrayFile::default() },
        };
        Description { made: self.made, signal, front_end: self.front_end, array }
    }

    /// Fills in the defaults for a recording of `nodes` nodes that is already demodulated. Its coils are
    /// all ideal, on channels of their own.
    pub(super) fn complete_for_field(self, nodes: usize) -> Description {
        let mut array = match self.array {
            Some(said) if !said.node.is_empty() => said.complete(),
            Some(said) => ArrayFile { node: first_nodes(nodes), ..said.complete() },
            None => ArrayFile { node: first_nodes(nodes), ..ArrayFile::default() },
        };
        for (node, ideal) in array.node.iter_mut().zip(ArrayFile::default().node) {
            node.coil = ideal.coil;
        }
        let signal = Signal {
            tone_hz: self.signal.tone_hz.unwrap_or(Signal::default().tone_hz),
            bench: self.signal.bench,
            ..Signal::default()
        };
        Description { made: self.made, signal, front_end: FrontEnd::default(), array }
    }
}

impl ArraySaid {
    fn complete(self) -> ArrayFile {
        ArrayFile {
            foot_m: self.foot_m.unwrap_or(ArrayFile::default().foot_m),
            calibration: self.calibration,
            node: self.node,
        }
    }
}

fn first_nodes(count: usize) -> Vec<NodeFile> {
    ArrayFile::default().node.into_iter().take(count).collect()
}

impl Description {
    /// The text of a `capture.toml` that says all this.
    pub(super) fn to_toml(&self) -> Result<String, toml::ser::Error> {
        #[derive(Serialize)]
        struct Whole<'a> {
            format: &'a str,
            version: i64,
            #[serde(flatten)]
            description: &'a Description,
        }
        toml::to_string(&Whole { format: FORMAT, version: VERSION, description: self })
    }
}

/// "line N" of the start of a span.
fn line(text: &str, span: Range<usize>) -> String {
    let before = text.as_bytes().iter().take(span.start);
    format!("line {}", 1 + before.filter(|&&byte| byte == b'\n').count())
}
