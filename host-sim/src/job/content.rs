//! What can be entered in a job.

use serde::{Deserialize, Serialize};

use super::{Anchor, Datum, EntryId, Heights, Place};
use crate::book::{self, Measured, Pipe, Provenance, ToleranceZone};

/// What an entry says. The word for its kind and the names of its fields are those in the file.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// What holds for the whole job; its first entry.
    Settings(Settings),
    /// A file that something was taken from.
    Source(Source),
    /// A run, which stations belong to.
    Run(RunCard),
    /// A station.
    Station(Box<StationEntry>),
    /// A permanent point that ties are taped to.
    Point(Point),
    /// A taped distance from a station to a permanent point.
    Tie(Tie),
    /// Words.
    Note(Note),
    /// A photo, by reference.
    Photo(Photo),
    /// A search over an area.
    Sweep(Sweep),
    /// Another line on the site.
    Line(OtherLine),
}

impl Content {
    /// The word for its kind.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Settings(_) => "settings",
            Self::Source(_) => "source",
            Self::Run(_) => "run",
            Self::Station(_) => "station",
            Self::Point(_) => "point",
            Self::Tie(_) => "tie",
            Self::Note(_) => "note",
            Self::Photo(_) => "photo",
            Self::Sweep(_) => "sweep",
            Self::Line(_) => "line",
        }
    }

    /// As it is written.
    ///
    /// # Errors
    /// When it cannot be put in words, which only figures without a value can cause.
    pub fn to_value(&self) -> serde_json::Result<serde_json::Value> {
        match self {
            Self::Settings(it) => serde_json::to_value(it),
            Self::Source(it) => serde_json::to_value(it),
            Self::Run(it) => serde_json::to_value(it),
            Self::Station(it) => serde_json::to_value(it),
            Self::Point(it) => serde_json::to_value(it),
            Self::Tie(it) => serde_json::to_value(it),
            Self::Note(it) => serde_json::to_value(it),
            Self::Photo(it) => serde_json::to_value(it),
            Self::Sweep(it) => serde_json::to_value(it),
            Self::Line(it) => serde_json::to_value(it),
        }
    }

    /// As it was written; `None` for a kind that this program does not know.
    ///
    /// # Errors
    /// When the text is not that of its kind.
    pub fn from_text(kind: &str, body: &str) -> serde_json::Result<Option<Self>> {
        Ok(Some(match kind {
            "settings" => Self::Settings(serde_json::from_str(body)?),
            "source" => Self::Source(serde_json::from_str(body)?),
            "run" => Self::Run(serde_json::from_str(body)?),
            "station" => Self::Station(serde_json::from_str(body)?),
            "point" => Self::Point(serde_json::from_str(body)?),
            "tie" => Self::Tie(serde_json::from_str(body)?),
            "note" => Self::Note(serde_json::from_str(body)?),
            "photo" => Self::Photo(serde_json::from_str(body)?),
            "sweep" => Self::Sweep(serde_json::from_str(body)?),
            "line" => Self::Line(serde_json::from_str(body)?),
            _ => return Ok(None),
        }))
    }
}

/// What holds for the whole job.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Short name of the job.
    pub title: String,
    /// What was looked for.
    pub description: String,
    /// What the crew should know about the place: access, surface, what the grid counts from.
    pub site_note: String,
    /// Where the site's grid lies on the Earth, if that is known.
    pub anchor: Option<Anchor>,
    /// The datum of every latitude and longitude in the job.
    pub datum: Option<Datum>,
    /// What every height given with them counts from.
    pub heights: Option<Heights>,
    /// The notification of the utilities.
    pub ticket: Ticket,
}

impl Settings {
    /// Those of a job that begins with this run.
    pub fn of(run: &book::Run) -> Self {
        Self { title: run.title.clone(), site_note: run.site_note.clone(), ..Self::default() }
    }
}

/// The notification of the utilities, before the ground is opened. What is not known is left empty.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Ticket {
    /// Its number.
    pub number: String,
    /// From when it holds, as free text.
    pub valid_from: String,
    /// Until when.
    pub valid_until: String,
    /// Who is responsible on site.
    pub responsible: String,
}

/// A search over an area, for what nobody had told of.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Sweep {
    /// Where, in words.
    pub area: String,
    /// What was listened for, and how it was walked.
    pub method: String,
    /// What source the depth below is said of, as in `a cable with 50 mA of mains`.
    pub source: String,
    /// How deep such a source would have been noticed, metres.
    pub sees_to_m: Option<f64>,
    /// What came of it.
    pub found: String,
}

/// Another line on the site: marked by its owner, drawn in records, or seen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct OtherLine {
    /// What it is.
    pub name: String,
    /// What flows in it.
    pub utility: Utility,
    /// How it is known of, as in `the owner's mark`.
    pub known_by: String,
    /// False for a line that was expected, and looked for, and not found.
    pub found: bool,
    /// Metres east and north of the grid's origin, corner by corner; empty where nobody measured it.
    pub path: Vec<[f64; 2]>,
}

impl Default for OtherLine {
    fn default() -> Self {
        Self {
            name: String::new(),
            utility: Utility::Unknown,
            known_by: String::new(),
            found: true,
            path: Vec::new(),
        }
    }
}

/// A file that something was taken from: its name, and what tells it from any other.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Source {
    /// The file or folder as it was named.
    pub path: String,
    /// What it is, as in `image of a flash`.
    pub what: String,
    /// SHA-256 of its bytes; of a capture, of its files one after the other in the order of their names.
    pub sha256: String,
    /// Its size.
    pub bytes: u64,
    /// Serial number of the instrument, as the person said who took it in.
    pub instrument: String,
    /// What was wrong with it, in words.
    pub findings: Vec<String>,
}

/// A run: what is one for all its stations.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct RunCard {
    /// Its name, which no other run of the job has.
    pub name: String,
    /// What was looked for.
    pub description: String,
    /// When it was recorded, as free text.
    pub recorded: String,
    /// Who located, and with what.
    pub made: Provenance,
    /// True when its stations come from the simulator.
    pub simulated: bool,
    /// What flows in it.
    pub utility: Utility,
    /// What is known of the pipe.
    pub pipe: Pipe,
    /// How the tolerance zone is drawn.
    pub tolerance_zone: ToleranceZone,
    /// Which way it falls, in terms of the stations' numbers.
    pub falls: Falls,
    /// Stations at which the pipe is known to bend.
    pub bends: Vec<u32>,
    /// How much the direction of the pipe may change from station to station where it does not bend, degrees
    /// (standard deviation).
    pub wander_deg: f64,
    /// How much its slope may, metres for a metre (standard deviation).
    pub wander_slope: f64,
    /// What the counter of the camera's cable said at the trouble spot, metres.
    pub trouble_counter_m: Option<Measured>,
}

impl RunCard {
    /// That of a run which was located.
    pub fn of(run: &book::Run) -> Self {
        Self {
            name: run.title.clone(),
            description: run.description.clone(),
            recorded: run.recorded.clone(),
            made: run.made.clone(),
            simulated: run.simulated,
            pipe: run.pipe,
            tolerance_zone: run.tolerance_zone,
            ..Self::default()
        }
    }
}

impl Default for RunCard {
    fn default() -> Self {
        Self {
            name: String::new(),
            description: String::new(),
            recorded: String::new(),
            made: Provenance::default(),
            simulated: false,
            utility: Utility::default(),
            pipe: Pipe::default(),
            tolerance_zone: ToleranceZone::default(),
            falls: Falls::default(),
            bends: Vec::new(),
            wander_deg: 2.0,
            wander_slope: 0.01,
            trouble_counter_m: None,
        }
    }
}

/// What flows in a line. Letters are ours; colours are those of the uniform colour code (APWA).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Utility {
    /// Sewers and drains: green.
    #[default]
    Drain,
    /// Drinking water: blue.
    Water,
    /// Reclaimed water, irrigation, slurry: purple.
    Reclaimed,
    /// Gas, oil, steam: yellow.
    Gas,
    /// Electric power: red.
    Electric,
    /// Communication: orange.
    Telecom,
    /// Not known.
    Unknown,
}

impl Utility {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::Drain,
        Self::Water,
        Self::Reclaimed,
        Self::Gas,
        Self::Electric,
        Self::Telecom,
        Self::Unknown,
    ];

    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Drain => "drain",
            Self::Water => "water",
            Self::Reclaimed => "reclaimed",
            Self::Gas => "gas",
            Self::Electric => "electric",
            Self::Telecom => "telecom",
            Self::Unknown => "unknown",
        }
    }

    /// Its letter, which stands wherever its colour does.
    pub const fn letter(self) -> &'static str {
        match self {
            Self::Drain => "D",
            Self::Water => "W",
            Self::Reclaimed => "R",
            Self::Gas => "G",
            Self::Electric => "E",
            Self::Telecom => "T",
            Self::Unknown => "U",
        }
    }
}

/// Which way a run falls.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Falls {
    /// Nobody said.
    #[default]
    Unknown,
    /// Towards the higher numbers.
    WithNumbers,
    /// Towards the lower numbers.
    AgainstNumbers,
}

/// A station of a job.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct StationEntry {
    /// The run it belongs to.
    pub run: EntryId,
    /// What was found there.
    #[serde(flatten)]
    pub found: book::Station,
    /// How its place on the site was had.
    pub place: Place,
    /// Height of the ground there, metres, in the heights of the job or over the site's own zero.
    pub ground_m: Option<Measured>,
    /// What the counter of the cable said when the sonde was there, metres.
    pub counter_m: Option<Measured>,
    /// Where it was taken from.
    pub origin: Option<Origin>,
}

/// Where a station was taken from.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Origin {
    /// The file.
    pub source: EntryId,
    /// Number of the record in a field book.
    pub sequence: Option<u32>,
    /// SHA-256 of the record, or of what stands for it.
    pub sha256: String,
    /// Seconds since 1970 by the instrument's clock, if it had one.
    pub utc_s: Option<u64>,
}

/// A permanent point: the corner of a house, a lid, a nail.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Point {
    /// Its name, which no other point of the job has.
    pub name: String,
    /// What it is and how it is found.
    pub description: String,
    /// Where it is. Ties cannot place it.
    pub place: Place,
}

/// A distance taped level from a station to a permanent point.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Tie {
    /// The station.
    pub station: EntryId,
    /// The point.
    pub point: EntryId,
    /// The distance, metres.
    pub distance_m: f64,
    /// Its standard uncertainty, metres.
    pub sigma_m: f64,
}

/// Words, about the job or an entry of it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Note {
    /// The words.
    pub text: String,
    /// What they are about, if not the whole job.
    pub about: Option<EntryId>,
}

/// A photo. The job holds its name and what tells whether it is still the same.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Photo {
    /// The file as it was named.
    pub path: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// What it shows.
    pub text: String,
    /// What it is about, if not the whole job.
    pub about: Option<EntryId>,
}
