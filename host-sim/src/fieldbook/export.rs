//! From hops to captures of fields.

use std::path::{Path, PathBuf};

use nullwalk_core::record::{Header, Hop};
use nullwalk_core::tone::Tone;

use super::{FieldBookError, Recording};
use crate::capture::{Description, FieldRow, Made, write_field};
use crate::equipment::{ArrayFile, Bench, CalibrationFile, FrontEnd, NodeFile, RungFile, Signal};

/// Write a recording as a capture of fields at `target`, or, where hops are missing, as several within it. Returns the
/// captures' folders, and how many hops stood too alone for a capture.
///
/// # Errors
/// When the recording cannot be played, or the captures cannot be written.
pub fn export(
    recording: &Recording,
    file: &Path,
    target: &Path,
) -> Result<(Vec<PathBuf>, usize), FieldBookError> {
    let (header, hops) = recording.playable(file)?;
    let step = Tone::new(header.tone_hz, header.rate_hz).map_or(0, |tone| u64::from(tone.hop_samples()));
    // A table of fields has no gaps.
    let parts: Vec<&[Hop]> = hops
        .chunk_by(|a, b| b.phasors.centre.wrapping_sub(a.phasors.centre) == step)
        .filter(|part| part.len() > 1)
        .collect();
    let alone = hops.len() - parts.iter().map(|part| part.len()).sum::<usize>();
    if parts.is_empty() {
        return Err(FieldBookError::Recording {
            file: file.to_path_buf(),
            number: recording.number,
            problem: "no two of its hops follow each other".to_owned(),
            remedy: "too much is lost for a capture; its stations are listed",
        });
    }
    let description = describe(recording.number, header, file);
    let mut written = Vec::new();
    for (part, n) in parts.iter().zip(1..) {
        let place = if parts.len() == 1 { target.to_path_buf() } else { target.join(format!("part-{n}")) };
        if n == 1 && parts.len() > 1 {
            std::fs::create_dir(target).map_err(FieldBookError::io(target, "make"))?;
        }
        let rows: Vec<FieldRow> = part.iter().map(|hop| row(header, hop)).collect();
        write_field(&place, &description, &rows)?;
        written.push(place);
    }
    Ok((written, alone))
}

fn row(header: &Header, hop: &Hop) -> FieldRow {
    let nodes = header.array.fields(header.tone_hz, &hop.phasors);
    FieldRow {
        time_s: hop.phasors.centre as f64 / f64::from(header.rate_hz),
        lower_t: nodes.first().map(|node| node.field_t).unwrap_or_default(),
        upper_t: nodes.get(1).map(|node| node.field_t),
        // A row has one sigma for both nodes: the larger claims least.
        sigma_t: nodes.iter().map(|node| node.sigma_t).fold(f32::MIN_POSITIVE, f32::max),
        mast: Some(hop.mast),
    }
}

fn describe(number: usize, header: &Header, file: &Path) -> Description {
    let sigma = header.array.sigma();
    let nodes = header.array.nodes().iter();
    Description {
        made: Made {
            by: header.build.to_string(),
            note: format!("recording {number} of {}", file.display()),
        },
        signal: signal(header),
        front_end: front_end(header),
        array: ArrayFile {
            foot_m: shortest(header.array.foot_m()),
            calibration: CalibrationFile {
                node_ratio_sigma: shortest(sigma.node_ratio),
                scale_sigma: shortest(sigma.scale),
                tilt_sigma_deg: f64::from(sigma.tilt_rad).to_degrees(),
                note: header.calibration.to_string(),
                ..CalibrationFile::default()
            },
            node: nodes
                .map(|node| NodeFile {
                    position_m: node.position_m.to_array().map(shortest),
                    coil: Vec::new(),
                })
                .collect(),
        },
    }
}

/// The chain before the phasors, as far as a header tells of it.
fn front_end(header: &Header) -> FrontEnd {
    let usual = FrontEnd::default();
    let Some(lowest) = header.rungs.first() else { return usual };
    let counts = f64::from(usual.full_scale_counts);
    FrontEnd {
        full_scale_v: f64::from(header.count_v) * f64::from(lowest.gain) * counts,
        // The core's rail is two counts short of the chain's.
        rail_fraction: (f64::from(header.rail_counts) + 2.0) / counts,
        rungs: header
            .rungs
            .iter()
            .map(|rung| RungFile { gain: shortest(rung.gain), settle_s: shortest(rung.settle_s) })
            .collect(),
        ..usual
    }
}

/// What a recording listened for.
pub fn signal(header: &Header) -> Signal {
    let bench = header
        .settings
        .bench_moment_a_m2
        .map(|bench| Bench { moment_a_m2: shortest(bench.value), sigma_a_m2: shortest(bench.sigma) });
    Signal {
        sample_rate_hz: shortest(header.rate_hz),
        tone_hz: shortest(header.tone_hz),
        channels: usize::from(header.channels),
        bench,
    }
}

/// The shortest decimal that reads back as the same number.
fn shortest(value: f32) -> f64 {
    value.to_string().parse().unwrap_or_else(|_| f64::from(value))
}
