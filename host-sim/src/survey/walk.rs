//! The walk that a survey is made of: fields with their places, from one capture or several.

use std::path::{Path, PathBuf};

use glam::{DMat3, DVec2, DVec3};
use nullwalk_core::array::Array;
use nullwalk_core::fit::line::PhasorLook;
use nullwalk_core::frame::{MastReading, heading_rotation};
use nullwalk_core::looking::phasor_look;
use num_complex::Complex64;

use super::SurveyError;
use crate::capture::{Capture, Content, Description, FieldRecording, Notice};
use crate::carried;
use crate::equipment::coupled;
use crate::run::{self, Kit, Listen};
use crate::with_channels;

/// Tesla to nanotesla.
pub const NT: f64 = 1e9;
/// A node that is not there has been measured this badly, nanotesla.
const ABSENT_NT: f64 = 1e9;
/// A pass ends where the walk has turned away by more than 60 degrees from where it began: cosine of that.
const TURNED: f64 = 0.5;
/// Directions of the walk are taken over so much of it, metres.
const STRIDE_M: f64 = 0.5;
/// A pass is so long at least, metres.
const SHORTEST_M: f64 = 1.5;
/// Fewer looks than this are no walk.
const FEWEST: usize = 12;

/// What both nodes saw at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sight {
    /// Place of the lower node, site frame, metres.
    pub at_m: DVec3,
    /// From the lower node to the upper one, site frame, metres.
    pub upper_m: DVec3,
    /// The field's phasors at the lower and the upper node, site frame, nanotesla.
    pub field_nt: [[Complex64; 3]; 2],
    /// Noise of each real number at each node, nanotesla.
    pub sigma_nt: [f64; 2],
    /// Standard uncertainty of the place, metres.
    pub place_sigma_m: f64,
    /// Which pass it belongs to: a stretch of walk without a turn.
    pub pass: usize,
}

/// Which phase the fields of a walk share.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, clap::ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Phase {
    /// None: that of each window is its own, as of a transmitter whose clock nobody knows.
    Free,
    /// One: the fields were demodulated against a reference of the transmitter.
    Common,
}

/// All of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Walk {
    /// In the order walked.
    pub sights: Vec<Sight>,
    /// What phase they share.
    pub phase: Phase,
    /// Height of the lower node above the ground as it was carried, metres.
    pub carried_m: f64,
    /// Relative uncertainty of a field that all of them share.
    pub relative: f64,
    /// What was heard, hertz.
    pub tone_hz: f64,
}

impl Walk {
    /// From captures, walked one after the other, with the lower node `carried_m` above the ground or as recorded.
    ///
    /// # Errors
    /// Names the capture that cannot be used, and the remedy.
    pub fn open(
        paths: &[PathBuf],
        listen: Listen,
        phase: Phase,
        carried_m: Option<f64>,
    ) -> Result<(Self, Vec<Notice>), SurveyError> {
        let mut notices = Vec::new();
        let mut walk: Option<(Self, Array)> = None;
        for path in paths {
            let capture = Capture::open(path)?;
            notices.extend(capture.notices.iter().cloned());
            let part = Self::of(&capture, path, listen, phase, &mut notices)?;
            match &mut walk {
                None => walk = Some(part),
                Some((walk, _)) => walk.append(part.0, path)?,
            }
        }
        let (mut walk, array) = walk.ok_or(SurveyError::NoCapture)?;
        let recorded_up_m = walk.sights.iter().map(|sight| sight.at_m.z);
        walk.carried_m = carried::height_m(carried_m, recorded_up_m, 0.0, &array)?;
        walk.mark_passes();
        Ok((walk, notices))
    }

    fn of(
        capture: &Capture,
        path: &Path,
        listen: Listen,
        phase: Phase,
        notices: &mut Vec<Notice>,
    ) -> Result<(Self, Array), SurveyError> {
        let Description { signal, front_end, array, .. } = &capture.description;
        let config = |error| SurveyError::Config { path: path.to_path_buf(), error };
        let array = coupled(array, front_end, signal).map_err(config)?;
        let array = array.ok_or_else(|| SurveyError::Nodes { path: path.to_path_buf() })?;
        let (sights, tone_hz) = match (&capture.content, listen) {
            (Content::Field(recording), Listen::Tone) => {
                let upper_m = array.nodes().get(1).map(|node| node.position_m.as_dvec3());
                (sights(recording, upper_m, path)?, signal.tone_hz)
            }
            (Content::Field(_), Listen::Mains(_)) => {
                return Err(SurveyError::NoMains { path: path.to_path_buf() });
            }
            (Content::Samples { .. }, Listen::Tone) if phase == Phase::Common => {
                return Err(SurveyError::NoReference { path: path.to_path_buf() });
            }
            (Content::Samples { .. }, _) => {
                let kit =
                    Kit { signal: signal.clone(), ladder: capture.ladder.clone(), array: array.clone() };
                let heard = with_channels!(signal.channels, C => {
                    let mut reader = capture.reader::<C>()?;
                    let heard = run::walk::<C, _>(&kit, listen, &mut reader).map_err(config)??;
                    notices.extend(reader.notices());
                    heard
                });
                let heard = heard.ok_or_else(|| SurveyError::Nodes { path: path.to_path_buf() })?;
                (seen(&heard, phase, path)?, heard.frequency_hz)
            }
        };
        let sigma = array.sigma();
        let relative = f64::from(sigma.node_ratio.hypot(sigma.tilt_rad));
        // How high it was carried is known when all of it is.
        Ok((Self { phase, carried_m: 0.0, sights, relative, tone_hz }, array))
    }

    fn append(&mut self, part: Self, path: &Path) -> Result<(), SurveyError> {
        if (part.tone_hz - self.tone_hz).abs() > 0.5 {
            return Err(SurveyError::Tones {
                path: path.to_path_buf(),
                found_hz: part.tone_hz,
                wanted_hz: self.tone_hz,
            });
        }
        self.sights.extend(part.sights);
        self.relative = self.relative.max(part.relative);
        Ok(())
    }

    /// Number the passes: a new one begins where the walk turns, or jumps to another place.
    pub fn mark_passes(&mut self) {
        let places: Vec<DVec2> = self.sights.iter().map(|sight| sight.at_m.truncate()).collect();
        let (mut pass, mut heading, mut from) = (0, None::<DVec2>, 0);
        for n in 0..places.len() {
            let here = places[n];
            let jumped = n > 0 && here.distance(places[n - 1]) > 2.0 * STRIDE_M;
            if jumped {
                (pass, heading, from) = (pass + 1, None, n);
            } else if here.distance(places[from]) > STRIDE_M {
                let way = (here - places[from]).normalize_or_zero();
                let along = heading.get_or_insert(way);
                if along.dot(way) < TURNED {
                    pass += 1;
                    heading = Some(way);
                }
                from = n;
            }
            self.sights[n].pass = pass;
        }
        self.join_short_passes(&places);
    }

    /// A step from lane to lane is no pass: it belongs to the one before.
    fn join_short_passes(&mut self, places: &[DVec2]) {
        let (mut number, mut last) = (None::<usize>, None);
        let mut from = 0;
        while from < places.len() {
            let pass = self.sights[from].pass;
            let to = (from..places.len()).find(|&n| self.sights[n].pass != pass).unwrap_or(places.len());
            let long = places[from].distance(places[to - 1]) >= SHORTEST_M;
            if long || number.is_none() {
                // What came before the first long one belongs to it.
                number =
                    Some(if last == Some(true) { number.unwrap_or(0) + 1 } else { number.unwrap_or(0) });
                last = Some(long || last == Some(true));
            }
            self.sights[from..to].iter_mut().for_each(|sight| sight.pass = number.unwrap_or(0));
            from = to;
        }
    }

    /// How many passes there are.
    pub fn passes(&self) -> usize {
        self.sights.last().map_or(0, |sight| sight.pass + 1)
    }

    /// The middle of the walk in plan, and the mean height of the lower node.
    pub fn middle_m(&self) -> DVec3 {
        let sum: DVec3 = self.sights.iter().map(|sight| sight.at_m).sum();
        sum / self.sights.len().max(1) as f64
    }

    /// Height of the ground in the site frame, near a place: the mean of the nearest looks less the height at which it was carried.
    pub fn ground_m(&self, place_m: DVec2) -> f64 {
        let near = self.sights.iter().min_by(|a, b| {
            let far = |sight: &Sight| sight.at_m.truncate().distance_squared(place_m);
            far(a).total_cmp(&far(b))
        });
        near.map_or(0.0, |sight| sight.at_m.z) - self.carried_m
    }
}

/// What was heard in samples. Windows overlap, so of neighbours that share noise one is kept.
fn seen(heard: &run::Walk, phase: Phase, path: &Path) -> Result<Vec<Sight>, SurveyError> {
    let every = heard.inflation.ceil().max(1.0) as usize;
    let sight = |seen: &run::Seen| {
        let place_sigma_m = f64::from(seen.glimpse.mast.position?.sigma_m);
        let PhasorLook { look, quadrature_nt } = phasor_look(&seen.glimpse, &heard.array, 1.0)?;
        let turn = match phase {
            Phase::Common => Complex64::from_polar(1.0, f64::from(seen.phase_rad)),
            Phase::Free => Complex64::ONE,
        };
        let field_nt = [0, 1].map(|node| {
            let (re, im) = (look.fields_nt[node].to_array(), quadrature_nt[node].to_array());
            [0, 1, 2].map(|k| Complex64::new(f64::from(re[k]), f64::from(im[k])) * turn)
        });
        Some(Sight {
            at_m: look.at_m.as_dvec3(),
            upper_m: look.upper_m.as_dvec3(),
            field_nt,
            sigma_nt: look.sigma_nt.map(f64::from),
            place_sigma_m,
            pass: 0,
        })
    };
    let sights: Vec<Sight> = heard.seen.iter().step_by(every).filter_map(sight).collect();
    enough(sights, heard.seen.len(), path)
}

fn sights(
    recording: &FieldRecording,
    upper_m: Option<DVec3>,
    path: &Path,
) -> Result<Vec<Sight>, SurveyError> {
    let sights: Vec<Sight> = recording
        .rows
        .iter()
        .filter_map(|row| {
            let MastReading { position, heading_rad, tilt } = row.mast?;
            let (position, heading_rad) = position.zip(heading_rad)?;
            let turn = heading_rotation(heading_rad) * tilt.unwrap_or_default().levelling();
            let turn = DMat3::from_cols_array(&turn.to_cols_array().map(f64::from));
            let site = |field: [num_complex::Complex32; 3]| {
                let re = turn * DVec3::from_array(field.map(|z| f64::from(z.re))) * NT;
                let im = turn * DVec3::from_array(field.map(|z| f64::from(z.im))) * NT;
                [(re.x, im.x), (re.y, im.y), (re.z, im.z)].map(|(re, im)| Complex64::new(re, im))
            };
            let sigma_nt = f64::from(row.sigma_t) * NT;
            Some(Sight {
                at_m: position.enu_m.as_dvec3(),
                upper_m: turn * upper_m.unwrap_or_default(),
                field_nt: [site(row.lower_t), row.upper_t.map_or([Complex64::ZERO; 3], site)],
                sigma_nt: [sigma_nt, if row.upper_t.is_some() { sigma_nt } else { ABSENT_NT }],
                place_sigma_m: f64::from(position.sigma_m),
                pass: 0,
            })
        })
        .collect();
    enough(sights, recording.rows.len(), path)
}

fn enough(sights: Vec<Sight>, of: usize, path: &Path) -> Result<Vec<Sight>, SurveyError> {
    if sights.len() < FEWEST {
        return Err(SurveyError::Poses { path: path.to_path_buf(), found: sights.len(), of });
    }
    Ok(sights)
}
