//! One trial as one row of a CSV file.

use std::fmt::{self, Display};
use std::str::FromStr;

use nullwalk_core::verdict::{Method, Verdict};

/// What a trial was and what came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Name of its kind.
    pub kind: String,
    /// Its number within the kind, counted from 0.
    pub trial: u64,
    /// Seed of the simulation.
    pub seed: u64,
    /// What was drawn, in the order of [`Plan::varied`](super::Plan::varied); empty where this kind draws nothing.
    pub drawn: Vec<String>,
    /// What is really there.
    pub truth: Option<Truth>,
    /// The verdict.
    pub verdict: Verdict,
    /// Codes of the reasons.
    pub reasons: Vec<String>,
    /// The depth that is stated, metres.
    pub depth_m: Option<f32>,
    /// Its standard uncertainty, metres.
    pub sigma_m: Option<f32>,
    /// Lower end of its stated 95 % range, metres.
    pub low_m: Option<f32>,
    /// Upper end of it, metres.
    pub high_m: Option<f32>,
    /// Where the fix puts the source, metres east.
    pub east_m: Option<f32>,
    /// Where the fix puts the source, metres north.
    pub north_m: Option<f32>,
    /// Distance of that from the truth, metres.
    pub place_error_m: Option<f32>,
    /// The standard uncertainty claimed for it, metres.
    pub place_sigma_m: Option<f32>,
    /// Error of the lay, degrees, positive clockwise, up to a quarter turn.
    pub lay_error_deg: Option<f32>,
    /// The standard uncertainty claimed for it, degrees.
    pub lay_sigma_deg: Option<f32>,
    /// What each method found, in the order of [`Method::ALL`].
    pub methods: [Option<MethodDepth>; Method::ALL.len()],
    /// The standard deviation that no unbiased depth from this walk can beat, metres.
    pub bound_m: Option<f32>,
    /// Named statistics that look for distortion.
    pub scores: Vec<(String, Option<f32>)>,
    /// Length of the recording, seconds.
    pub recorded_s: f32,
    /// Time that simulating and locating took, milliseconds.
    pub spent_ms: f32,
}

/// What is really there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Truth {
    /// Metres east.
    pub east_m: f64,
    /// Metres north.
    pub north_m: f64,
    /// Metres below the ground.
    pub depth_m: f64,
    /// Bearing of the dipole, degrees.
    pub lay_deg: f64,
    /// Its tilt, degrees.
    pub pitch_deg: f64,
    /// Its strength, A m2.
    pub moment_a_m2: f64,
}

/// What one method found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MethodDepth {
    /// Depth of the source below the ground, metres.
    pub depth_m: f32,
    /// Its standard uncertainty, metres.
    pub sigma_m: f32,
}

/// A verdict as one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Word(pub Verdict);

impl Display for Word {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.0 {
            Verdict::Agree => "agree",
            Verdict::Doubt => "doubt",
            Verdict::Refuse => "refuse",
        })
    }
}

impl FromStr for Word {
    type Err = ();

    fn from_str(word: &str) -> Result<Self, ()> {
        [Verdict::Agree, Verdict::Doubt, Verdict::Refuse]
            .map(Self)
            .into_iter()
            .find(|w| w.to_string() == word)
            .ok_or(())
    }
}

/// A row that cannot be read: the column and what stands there.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("column {column}: `{value}` cannot be")]
pub struct RowError {
    column: String,
    value: String,
}

/// The names of all columns, given the keys that vary.
pub fn columns(varied: &[String]) -> Vec<String> {
    let names = |list: &[&str]| list.iter().map(|&name| name.to_owned()).collect::<Vec<_>>();
    let methods = Method::ALL.iter().flat_map(|method| {
        let name = method.name().replace(' ', "_");
        [format!("{name}_m"), format!("{name}_sigma_m")]
    });
    let mut columns = names(&["kind", "trial", "seed"]);
    columns.extend_from_slice(varied);
    columns.extend(names(&[
        "true_east_m",
        "true_north_m",
        "true_depth_m",
        "true_lay_deg",
        "true_pitch_deg",
        "true_moment_a_m2",
        "verdict",
        "reasons",
        "depth_m",
        "sigma_m",
        "low95_m",
        "high95_m",
        "east_m",
        "north_m",
        "place_error_m",
        "place_sigma_m",
        "lay_error_deg",
        "lay_sigma_deg",
    ]));
    columns.extend(methods);
    columns.extend(names(&["bound_depth_m", "scores", "recorded_s", SPENT]));
    columns
}

/// No number in a row is larger; nor is any infinite.
const LARGEST: f64 = 1e30;

/// The only column in which two runs of one trial may differ.
pub const SPENT: &str = "spent_ms";

impl Row {
    /// Its fields, one for each column of the file.
    pub fn fields(&self) -> Vec<String> {
        let mut fields = vec![self.kind.clone(), self.trial.to_string(), self.seed.to_string()];
        fields.extend(self.drawn.iter().cloned());
        let truth =
            self.truth.map(|t| [t.east_m, t.north_m, t.depth_m, t.lay_deg, t.pitch_deg, t.moment_a_m2]);
        fields.extend(truth.map_or([const { String::new() }; 6], |t| t.map(|x| x.to_string())));
        fields.extend([Word(self.verdict).to_string(), self.reasons.join(";")]);
        let measured = [
            self.depth_m,
            self.sigma_m,
            self.low_m,
            self.high_m,
            self.east_m,
            self.north_m,
            self.place_error_m,
            self.place_sigma_m,
            self.lay_error_deg,
            self.lay_sigma_deg,
        ];
        let methods = self.methods.iter().flat_map(|m| [m.map(|m| m.depth_m), m.map(|m| m.sigma_m)]);
        fields.extend(measured.into_iter().chain(methods).chain([self.bound_m]).map(optional));
        let scores = self.scores.iter().map(|(name, value)| format!("{name}={}", optional(*value)));
        fields.push(scores.collect::<Vec<_>>().join(";"));
        fields.extend([self.recorded_s.to_string(), self.spent_ms.to_string()]);
        fields
    }

    /// A row from its fields, in the same order; `varied` is the number of keys that vary.
    ///
    /// # Errors
    /// Names the column and what stands in it.
    pub fn parse<'a>(
        fields: impl Iterator<Item = &'a str>,
        columns: &[String],
        varied: usize,
    ) -> Result<Self, RowError> {
        let mut cells =
            Cells { cells: columns.iter().map(String::as_str).zip(fields).collect::<Vec<_>>().into_iter() };
        let kind = cells.text();
        let trial = cells.value()?;
        let seed = cells.value()?;
        let drawn = (0..varied).map(|_| cells.text()).collect();
        let truth = [(); 6].map(|()| cells.optional());
        let truth = match truth {
            [
                Ok(Some(east_m)),
                Ok(Some(north_m)),
                Ok(Some(depth_m)),
                Ok(Some(lay_deg)),
                Ok(Some(pitch_deg)),
                Ok(Some(moment_a_m2)),
            ] => Some(Truth { east_m, north_m, depth_m, lay_deg, pitch_deg, moment_a_m2 }),
            other => {
                for cell in other {
                    cell?;
                }
                None
            }
        };
        let Word(verdict) = cells.value()?;
        let reasons = cells.list();
        Ok(Self {
            kind,
            trial,
            seed,
            drawn,
            truth,
            verdict,
            reasons,
            depth_m: cells.optional()?,
            sigma_m: cells.optional()?,
            low_m: cells.optional()?,
            high_m: cells.optional()?,
            east_m: cells.optional()?,
            north_m: cells.optional()?,
            place_error_m: cells.optional()?,
            place_sigma_m: cells.optional()?,
            lay_error_deg: cells.optional()?,
            lay_sigma_deg: cells.optional()?,
            methods: {
                let mut methods = [None; Method::ALL.len()];
                for method in &mut methods {
                    let (depth_m, sigma_m) = (cells.optional()?, cells.optional()?);
                    *method =
                        depth_m.zip(sigma_m).map(|(depth_m, sigma_m)| MethodDepth { depth_m, sigma_m });
                }
                methods
            },
            bound_m: cells.optional()?,
            scores: cells.scores()?,
            recorded_s: cells.number()?,
            spent_ms: cells.number()?,
        })
    }

    /// Whether two rows say the same, but for the time it took.
    pub fn agrees_with(&self, other: &Self) -> bool {
        Self { spent_ms: 0.0, ..self.clone() } == Self { spent_ms: 0.0, ..other.clone() }
    }

    /// Error of a depth, metres.
    pub fn depth_error_m(&self, depth_m: f32) -> Option<f64> {
        self.truth.map(|truth| f64::from(depth_m) - truth.depth_m)
    }
}

fn optional(value: Option<f32>) -> String {
    value.map_or_else(String::new, |x| x.to_string())
}

/// The cells of one row, with the names of their columns.
struct Cells<'a> {
    cells: std::vec::IntoIter<(&'a str, &'a str)>,
}

impl<'a> Cells<'a> {
    fn next(&mut self) -> (&'a str, &'a str) {
        self.cells.next().unwrap_or(("", ""))
    }

    fn text(&mut self) -> String {
        self.next().1.to_owned()
    }

    fn list(&mut self) -> Vec<String> {
        self.next().1.split(';').filter(|part| !part.is_empty()).map(str::to_owned).collect()
    }

    fn value<T: FromStr>(&mut self) -> Result<T, RowError> {
        let (column, value) = self.next();
        value.parse().map_err(|_| RowError { column: column.to_owned(), value: value.to_owned() })
    }

    /// A number, where there is one.
    fn optional<T: FromStr + Into<f64> + Copy>(&mut self) -> Result<Option<T>, RowError> {
        let (column, value) = self.next();
        if value.is_empty() {
            return Ok(None);
        }
        let number = value.parse().ok().filter(|&x: &T| x.into().abs() < LARGEST);
        number.map(Some).ok_or_else(|| RowError { column: column.to_owned(), value: value.to_owned() })
    }

    fn number(&mut self) -> Result<f32, RowError> {
        let number = self.optional()?;
        number.ok_or_else(|| RowError { column: "the last two".to_owned(), value: String::new() })
    }

    fn scores(&mut self) -> Result<Vec<(String, Option<f32>)>, RowError> {
        let (column, cell) = self.next();
        let score = |part: &str| {
            let (name, value) = part.split_once('=')?;
            let value = if value.is_empty() {
                None
            } else {
                Some(value.parse().ok().filter(|x: &f32| x.is_finite())?)
            };
            Some((name.to_owned(), value))
        };
        let parts = cell.split(';').filter(|part| !part.is_empty());
        parts
            .map(|part| score(part).ok_or(RowError { column: column.to_owned(), value: part.to_owned() }))
            .collect()
    }
}
