//! Passive mains in a recording: the grid's frequency over time, its harmonics, and what changed between two recordings.

mod svg;
mod text;

use nullwalk_core::error::ConfigError;
use nullwalk_core::mains::{Comparison, Finding, Hum, Mains, ORDERS, Standing, compare};
use serde::Serialize;

use crate::capture::{Capture, CaptureError, Description, Notice};
use crate::equipment::coupled;
use crate::stats::median;
use crate::with_channels;

pub use svg::frequency_svg;

/// A change is told when chance explains it more rarely than this, all harmonics together.
pub const LEVEL: f32 = 0.01;

/// Why a recording cannot be looked into.
#[derive(Debug, thiserror::Error)]
pub enum MainsError {
    /// It cannot be read.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// It has a rate that the core does not take.
    #[error("{path}: {rate_hz} samples a second: {error}; convert it with any sound tool")]
    Rate {
        /// The recording.
        path: String,
        /// Its rate.
        rate_hz: f64,
        /// What is asked.
        error: ConfigError,
    },
    /// Recordings that are compared must hear the same coils.
    #[error("{path}: {found} channels, the record before has {wanted}; record both with the same coils")]
    Channels {
        /// The recording.
        path: String,
        /// Its channels.
        found: usize,
        /// Those of the one before.
        wanted: usize,
    },
    /// Too short, or no grid in it.
    #[error(
        "{path}: holds less than two seconds of a known grid; stand still for at least five, and record again"
    )]
    TooShort {
        /// The recording.
        path: String,
    },
}

/// What is heard of mains in a recording.
#[derive(Debug, Clone, Serialize)]
pub struct Report {
    /// Length, seconds.
    pub duration_s: f64,
    /// 50 or 60, if the grid was known at any time.
    pub grid_hz: Option<f32>,
    /// Share of the hops in which it was.
    pub known_share: f64,
    /// The frequency over time.
    pub track: Vec<Point>,
    /// The fundamental and the second to the ninth harmonic.
    pub harmonics: Vec<Row>,
    /// The harmonic that was most often the one to locate on.
    pub strongest: Option<usize>,
    /// Samples touched the rail: harmonics may be made by the instrument.
    pub clipped: bool,
    /// What to tell.
    pub finding: &'static str,
}

/// The frequency at one time.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Point {
    /// Middle of the two seconds that it is measured over, seconds since the recording began.
    pub time_s: f64,
    /// The frequency, hertz.
    pub hz: f64,
    /// Its standard uncertainty from the noise, hertz.
    pub sigma_hz: f64,
}

/// One harmonic over the whole recording.
#[derive(Debug, Clone, Serialize)]
pub struct Row {
    /// Its order.
    pub order: usize,
    /// Share of the hops in which it was heard.
    pub heard_share: f64,
    /// Median amplitude on each channel, volts at the coil (peak), in hops in which it was heard.
    pub amplitude_v: Vec<f64>,
    /// Median over those hops of power over noise, decibels, all channels together.
    pub snr_db: f64,
}

/// What changed from one recording to another.
#[derive(Debug, Clone, Serialize)]
pub struct LoadTest {
    /// The order of the harmonic that changed most surely; none when nothing is known to have changed.
    pub changed: Option<usize>,
    /// The level at which that is told.
    pub level: f32,
    /// Every harmonic's change.
    pub changes: Vec<ChangeRow>,
}

/// One harmonic's change.
#[derive(Debug, Clone, Serialize)]
pub struct ChangeRow {
    /// Its order.
    pub order: usize,
    /// Change on each channel as real and imaginary part, volts at the coil (peak).
    pub change_v: Vec<[f32; 2]>,
    /// Standard uncertainty of each part.
    pub sigma_v: Vec<f32>,
    /// How often chance alone would make it as large.
    pub chance: f32,
    /// Size of the change at each node, lower first, tesla, where nodes are described.
    pub change_t: Vec<f32>,
}

/// Look into a recording.
///
/// # Errors
/// When it cannot be read or its rate does not fit. Notices of what was odd come with the report.
pub fn look(capture: &Capture) -> Result<(Report, Vec<Notice>), MainsError> {
    let found = capture.description.signal.channels;
    with_channels!(found, C => {
        let (hums, notices) = hums::<C>(capture)?;
        Ok((report(&hums, capture.description.signal.sample_rate_hz), notices))
    })
    .unwrap_or_else(|| Err(too_many(capture)))
}

/// Compare two recordings made at the same place with the mast held alike.
///
/// # Errors
/// As [`look`], and when their channels differ or either is too short.
pub fn load_test(before: &Capture, during: &Capture) -> Result<LoadTest, MainsError> {
    let wanted = before.description.signal.channels;
    let found = during.description.signal.channels;
    if found != wanted {
        return Err(MainsError::Channels { path: during.path.display().to_string(), found, wanted });
    }
    with_channels!(wanted, C => {
        let [first, second] = [stood::<C>(before)?, stood::<C>(during)?];
        let comparison = compare(&first, &second);
        Ok(told(&comparison.ok_or_else(|| too_short(during))?, during))
    })
    .unwrap_or_else(|| Err(too_many(before)))
}

fn too_short(capture: &Capture) -> MainsError {
    MainsError::TooShort { path: capture.path.display().to_string() }
}

fn too_many(capture: &Capture) -> MainsError {
    let found = capture.description.signal.channels;
    CaptureError::Channels {
        file: capture.path.clone(),
        found,
        wanted: 8,
        remedy: "keep at most 8 channels",
    }
    .into()
}

/// A record of a whole recording, of two seconds at least.
fn stood<const C: usize>(capture: &Capture) -> Result<Standing<C>, MainsError> {
    let mut standing = Standing::default();
    hums::<C>(capture)?.0.iter().for_each(|hum| standing.push(hum));
    if standing.is_comparable() { Ok(standing) } else { Err(too_short(capture)) }
}

fn hums<const C: usize>(capture: &Capture) -> Result<(Vec<Hum<C>>, Vec<Notice>), MainsError> {
    let rate_hz = capture.description.signal.sample_rate_hz;
    let mains = Mains::new(rate_hz as f32).map_err(|error| MainsError::Rate {
        path: capture.path.display().to_string(),
        rate_hz,
        error,
    })?;
    let mut state = mains.start::<C>();
    let mut reader = capture.reader::<C>()?;
    let mut hums = Vec::new();
    reader.each_block(|block, _| mains.push(&mut state, &capture.ladder, block, |hum| hums.push(*hum)))?;
    Ok((hums, [capture.notices.clone(), reader.notices()].concat()))
}

fn report<const C: usize>(hums: &[Hum<C>], rate_hz: f64) -> Report {
    let seconds = |hum: &Hum<C>| hum.centre as f64 / rate_hz;
    let known: Vec<&Hum<C>> = hums.iter().filter(|hum| hum.grid.is_some()).collect();
    let track = known
        .iter()
        .filter_map(|hum| {
            let frequency = hum.frequency?;
            Some(Point {
                time_s: seconds(hum) - f64::from(frequency.ago_s),
                hz: frequency.hz.into(),
                sigma_hz: frequency.sigma_hz.into(),
            })
        })
        .collect();
    let harmonics = (1..=ORDERS).map(|order| row(&known, order)).collect();
    let strongest = |order: usize| known.iter().filter(|hum| hum.strongest() == Some(order)).count();
    let best =
        (1..=ORDERS).rev().max_by_key(|&order| strongest(order)).filter(|&order| strongest(order) > 0);
    Report {
        duration_s: hums.last().map_or(0.0, seconds),
        grid_hz: known.last().and_then(|hum| hum.grid).map(|grid| grid.nominal_hz()),
        known_share: share(known.len(), hums.len()),
        track,
        harmonics,
        strongest: best,
        clipped: hums.iter().any(|hum| hum.marks.clipped),
        finding: best.map_or(Finding::Silent, |order| Finding::Heard { order }).sentence(),
    }
}

fn row<const C: usize>(known: &[&Hum<C>], order: usize) -> Row {
    let heard: Vec<_> =
        known.iter().filter_map(|hum| hum.harmonics.get(order - 1)).filter(|h| h.is_heard()).collect();
    let amplitude = |channel: usize| {
        let all = heard.iter().filter_map(|h| h.value_v.get(channel)).map(|z| f64::from(z.norm()));
        median(&mut all.collect::<Vec<_>>())
    };
    let over_noise = heard.iter().map(|h| 10.0 * f64::from(h.power / C as f32).log10());
    Row {
        order,
        heard_share: share(heard.len(), known.len()),
        amplitude_v: (0..C).map(amplitude).collect(),
        snr_db: median(&mut over_noise.collect::<Vec<_>>()),
    }
}

fn share(part: usize, whole: usize) -> f64 {
    if whole == 0 { 0.0 } else { part as f64 / whole as f64 }
}

fn told<const C: usize>(comparison: &Comparison<C>, capture: &Capture) -> LoadTest {
    let Description { signal, front_end, array, .. } = &capture.description;
    // Opened captures have arrays that can be; one whose coils form no nodes tells volts alone.
    let array = coupled(array, front_end, signal).ok().flatten();
    let changes = (1..).zip(&comparison.changes).map(|(order, change)| {
        let fields = comparison.phasors(order).zip(array.as_ref()).map(|((hz, phasors), array)| {
            let size =
                |field_t: [num_complex::Complex32; 3]| field_t.iter().map(|z| z.norm_sqr()).sum::<f32>();
            array.fields(hz, &phasors).iter().map(|node| size(node.field_t).sqrt()).collect()
        });
        ChangeRow {
            order,
            change_v: change.value_v.iter().map(|z| [z.re, z.im]).collect(),
            sigma_v: change.sigma_v.to_vec(),
            chance: change.chance,
            change_t: fields.unwrap_or_default(),
        }
    });
    LoadTest { changed: comparison.changed(LEVEL), level: LEVEL, changes: changes.collect() }
}
