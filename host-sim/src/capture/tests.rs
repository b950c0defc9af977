//! What goes in comes out: recording and replay, and the sample formats of other people's files.

use std::convert::Infallible;
use std::fs;
use std::path::Path;

use glam::Vec3;
use hound::{SampleFormat, WavSpec, WavWriter};
use nullwalk_core::frame::{BlockInfo, MastReading, Position, SampleSource, Tilt};
use proptest::prelude::*;

use super::*;

/// A live source that plays blocks from a script, each as long as the script says.
#[derive(Debug)]
struct Script {
    blocks: Vec<(BlockInfo, Vec<[i32; 2]>)>,
    at: usize,
}

impl SampleSource<2> for Script {
    type Error = Infallible;

    fn read(&mut self, frames: &mut [[i32; 2]]) -> Result<Option<BlockInfo>, Infallible> {
        let Some((info, block)) = self.blocks.get(self.at) else {
            return Ok(None);
        };
        frames[..block.len()].copy_from_slice(block);
        self.at += 1;
        Ok(Some(*info))
    }

    fn set_rung(&mut self, _rung: u8) {}
}

fn everything<S: SampleSource<2>>(source: &mut S, buffer: usize) -> Vec<(BlockInfo, Vec<[i32; 2]>)>
where
    S::Error: std::fmt::Debug,
{
    let mut frames = vec![[0; 2]; buffer];
    std::iter::from_fn(|| {
        let info = source.read(&mut frames).unwrap()?;
        Some((info, frames[..info.frames].to_vec()))
    })
    .collect()
}

fn description() -> Description {
    Description {
        signal: Signal { channels: 2, ..Signal::default() },
        array: ArrayFile { node: Vec::new(), ..ArrayFile::default() },
        ..Description::default()
    }
}

fn mast() -> impl Strategy<Value = MastReading> {
    let metres = || -90_000.0_f32..90_000.0;
    let position = (metres(), metres(), metres(), 0.0_f32..10.0)
        .prop_map(|(e, n, u, sigma_m)| Position { enu_m: Vec3::new(e, n, u), sigma_m });
    let angle = || prop_oneof![-10.0_f32..10.0, Just(-0.0_f32), Just(f32::MIN_POSITIVE)];
    let tilt = (angle(), angle()).prop_map(|(pitch_rad, roll_rad)| Tilt { pitch_rad, roll_rad });
    (prop::option::of(position), prop::option::of(angle()), prop::option::of(tilt))
        .prop_map(|(position, heading_rad, tilt)| MastReading { position, heading_rad, tilt })
}

const BUFFER: usize = 16;

fn script() -> impl Strategy<Value = Script> {
    let count = -(1_i32 << 23)..1 << 23;
    let frames = prop::collection::vec([count.clone(), count], 1..=BUFFER);
    let gap = prop_oneof![3 => Just(0_u64), 1 => 1_u64..100_000_000_000];
    let block = (gap, frames, 0_u8..5, prop::option::of(mast()));
    prop::collection::vec(block, 1..40).prop_map(|parts| {
        let mut start = 0;
        let mut blocks = Vec::new();
        for (gap, frames, rung, mast) in parts {
            start += gap;
            blocks.push((BlockInfo { frames: frames.len(), start, rung, mast }, frames));
            start += blocks.last().unwrap().0.frames as u64;
        }
        Script { blocks, at: 0 }
    })
}

proptest! {
    #[test]
    fn a_replay_gives_the_recorded_blocks_bit_for_bit(
        script in script(),
        sample_rate_hz in prop_oneof![Just(8000.0), Just(44_100.0), 7990.0_f64..8010.0],
    ) {
        let shelf = tempfile::tempdir().unwrap();
        let target = shelf.path().join("walk");
        let signal = Signal { sample_rate_hz, ..description().signal };
        let description = Description { signal, ..description() };
        let writer = CaptureWriter::<2>::create(&target, &description).unwrap();
        let mut recording = Recording::new(script, writer);
        let live = everything(&mut recording, BUFFER);
        recording.finish().unwrap();

        let capture = Capture::open(&target).unwrap();
        prop_assert_eq!(&capture.description, &description);
        prop_assert_eq!(&capture.notices, &[]);
        let mut reader = capture.reader::<2>().unwrap();
        let replayed = everything(&mut reader, BUFFER);
        // As text, because == does not tell -0.0 from 0.0.
        prop_assert_eq!(format!("{live:?}"), format!("{replayed:?}"));
        prop_assert_eq!(reader.notices(), &[]);
    }
}

fn write_wav<S: hound::Sample + Copy>(file: &Path, bits: u16, format: SampleFormat, samples: &[S]) {
    let spec = WavSpec { channels: 2, sample_rate: 8000, bits_per_sample: bits, sample_format: format };
    let mut writer = WavWriter::create(file, spec).unwrap();
    samples.iter().for_each(|&s| writer.write_sample(s).unwrap());
    writer.finalize().unwrap();
}

/// Writes two frames in one format, and reads them back as counts.
fn counts_of<S: hound::Sample + Copy>(bits: u16, format: SampleFormat, samples: [S; 4]) -> [i32; 4] {
    let shelf = tempfile::tempdir().unwrap();
    let file = shelf.path().join("card.wav");
    write_wav(&file, bits, format, &samples);
    let capture = Capture::open(&file).unwrap();
    assert_eq!(capture.description.signal.channels, 2);
    assert!(capture.array.is_none());
    let blocks = everything(&mut capture.reader::<2>().unwrap(), BUFFER);
    let [a, b] = blocks[0].1[..] else { panic!("two frames went in") };
    [a[0], a[1], b[0], b[1]]
}

#[test]
fn every_sample_format_comes_out_in_counts_of_24_bits() {
    use SampleFormat::{Float, Int};
    let full = 1 << 23;
    assert_eq!(counts_of(16, Int, [0_i16, 1, -1, i16::MIN]), [0, 256, -256, -full]);
    assert_eq!(counts_of(24, Int, [0_i32, 1, -1, -full]), [0, 1, -1, -full]);
    assert_eq!(counts_of(32, Int, [255_i32, 256, -1, i32::MIN]), [0, 1, -1, -full]);
    assert_eq!(counts_of(32, Float, [0.5_f32, -1.0, 1.0, -7.0]), [full / 2, -full, full - 1, -full]);
}

#[test]
fn samples_that_are_not_numbers_are_zero_and_noticed() {
    let shelf = tempfile::tempdir().unwrap();
    let file = shelf.path().join("card.wav");
    write_wav(&file, 32, SampleFormat::Float, &[0.5_f32, f32::NAN, f32::INFINITY, -0.5]);
    let mut reader = Capture::open(&file).unwrap().reader::<2>().unwrap();
    let blocks = everything(&mut reader, BUFFER);
    assert_eq!(blocks[0].1, [[1 << 22, 0], [0, -(1 << 22)]]);
    let notices = reader.notices();
    assert!(notices[0].text.starts_with("2 samples are not numbers, the first in frame 0"));
}

/// Two frames, so that there is something to read.
fn folder_with_track(shelf: &Path, track: &str) -> PathBuf {
    write_wav(&shelf.join(SAMPLES_FILE), 16, SampleFormat::Int, &[1_i16; 2 * 4000]);
    fs::write(shelf.join(MANIFEST_FILE), "format = \"nullwalk-capture\"\nversion = 1\n").unwrap();
    fs::write(shelf.join(TRACK_FILE), track).unwrap();
    shelf.to_path_buf()
}

#[test]
fn a_track_from_elsewhere_cuts_the_samples_at_its_rows() {
    let shelf = tempfile::tempdir().unwrap();
    let track = "time_s, east_m, north_m, heading_deg, rung\n\
                 0.00101, 1.5, -2, 90,\n\
                 0.002, , , , 3\n\
                 9, 0, 0, 0,\n";
    let capture = Capture::open(&folder_with_track(shelf.path(), track)).unwrap();
    let mut reader = capture.reader::<2>().unwrap();
    let blocks = everything(&mut reader, 3000);
    let shape: Vec<_> = blocks.iter().map(|(b, _)| (b.start, b.frames, b.rung)).collect();
    assert_eq!(shape, [(0, 8, 0), (8, 8, 0), (16, 3000, 3), (3016, 984, 3)]);
    let mast = blocks[1].0.mast.unwrap();
    let position = mast.position.unwrap();
    assert_eq!(position.enu_m, Vec3::new(1.5, -2.0, 0.05));
    assert_eq!(position.sigma_m, 0.05);
    assert_eq!(mast.heading_rad, Some(std::f32::consts::FRAC_PI_2));
    assert_eq!(mast.tilt, None);
    assert!(blocks.iter().all(|(b, _)| b.start == 8 || b.mast.is_none()));
    let notices = reader.notices();
    assert_eq!(notices.len(), 1);
    assert!(notices[0].text.starts_with("1 rows of the track lie behind"));
}

#[test]
fn an_array_section_without_nodes_has_none_and_no_section_has_two() {
    let manifest = |text: &str| {
        let text = format!("format = \"nullwalk-capture\"\nversion = 1\n{text}");
        Manifest::parse(&text, Path::new("capture.toml"), &mut Vec::new()).unwrap()
    };
    let nodes = |text: &str| manifest(text).complete(6, 8000.0).array.node.len();
    assert_eq!(nodes("[array]\nfoot_m = 0.1\n"), 0);
    assert_eq!(nodes(""), 2);
    assert_eq!(manifest("").complete(2, 8000.0).array.node.len(), 0);
}

#[test]
fn a_recording_that_is_dropped_leaves_nothing_behind() {
    let shelf = tempfile::tempdir().unwrap();
    let target = shelf.path().join("walk");
    let mut writer = CaptureWriter::<2>::create(&target, &description()).unwrap();
    let info = BlockInfo { frames: 1, start: 0, rung: 0, mast: None };
    writer.append(&info, &[[1, 2]], false).unwrap();
    assert_eq!(fs::read_dir(shelf.path()).unwrap().count(), 1);
    drop(writer);
    assert_eq!(fs::read_dir(shelf.path()).unwrap().count(), 0);
}

#[test]
fn a_finished_recording_leaves_only_the_capture() {
    let shelf = tempfile::tempdir().unwrap();
    let target = shelf.path().join("walk");
    let mut writer = CaptureWriter::<2>::create(&target, &description()).unwrap();
    let info = BlockInfo { frames: 1, start: 0, rung: 0, mast: None };
    writer.append(&info, &[[1, 2]], false).unwrap();
    writer.finish().unwrap();
    let names = |folder: &Path| {
        let mut names: Vec<_> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    };
    assert_eq!(names(shelf.path()), ["walk"]);
    assert_eq!(names(&target), [MANIFEST_FILE, SAMPLES_FILE, TRACK_FILE]);
}

#[test]
fn what_stands_in_the_way_is_left_alone() {
    let shelf = tempfile::tempdir().unwrap();
    let early = shelf.path().join("early");
    fs::write(&early, "mine").unwrap();
    let refused = CaptureWriter::<2>::create(&early, &description());
    assert!(matches!(refused, Err(CaptureError::Exists { .. })));

    let late = shelf.path().join("late");
    let mut writer = CaptureWriter::<2>::create(&late, &description()).unwrap();
    let info = BlockInfo { frames: 1, start: 0, rung: 0, mast: None };
    writer.append(&info, &[[1, 2]], false).unwrap();
    fs::create_dir(&late).unwrap();
    fs::write(late.join("note"), "mine").unwrap();
    assert!(matches!(writer.finish(), Err(CaptureError::Exists { .. })));
    assert_eq!(fs::read_to_string(late.join("note")).unwrap(), "mine");
    assert_eq!(fs::read_to_string(&early).unwrap(), "mine");
    assert_eq!(fs::read_dir(shelf.path()).unwrap().count(), 2);
}

#[test]
fn blocks_that_cannot_be_recorded_are_refused_and_the_rest_is_kept() {
    let shelf = tempfile::tempdir().unwrap();
    let target = shelf.path().join("walk");
    let mut writer = CaptureWriter::<2>::create(&target, &description()).unwrap();
    let good = BlockInfo { frames: 1, start: 5, rung: 1, mast: None };
    writer.append(&good, &[[1, 2]], false).unwrap();
    let nowhere = MastReading { heading_rad: Some(f32::NAN), ..MastReading::default() };
    let bad = [
        (BlockInfo { start: 5, ..good }, [[1, 2]], "follows sample 6"),
        (BlockInfo { start: 6, rung: 9, ..good }, [[1, 2]], "rung 9 is not on the ladder"),
        (BlockInfo { start: 6, mast: Some(nowhere), ..good }, [[1, 2]], "pose is not finite"),
        (BlockInfo { start: 6, ..good }, [[1, 1 << 23]], "do not fit in 24 bits"),
    ];
    for (info, frames, complaint) in bad {
        let message = writer.append(&info, &frames, false).unwrap_err().to_string();
        assert!(message.contains(complaint), "{message}");
    }
    writer.finish().unwrap();
    let capture = Capture::open(&target).unwrap();
    let blocks = everything(&mut capture.reader::<2>().unwrap(), BUFFER);
    assert_eq!(blocks, [(good, vec![[1, 2]])]);
}

#[test]
fn phasors_are_read_with_their_poses() {
    let shelf = tempfile::tempdir().unwrap();
    let head = "time_s,n0x_re_t,n0x_im_t,n0y_re_t,n0y_im_t,n0z_re_t,n0z_im_t,sigma_t,pitch_deg\n";
    let rows = "0.05,1e-9,2e-9,3e-9,4e-9,5e-9,-6e-9,1e-12,\n0.15,0,0,0,0,0,0,1e-12,180\n";
    fs::write(shelf.path().join(FIELD_FILE), format!("{head}{rows}")).unwrap();
    fs::write(
        shelf.path().join(MANIFEST_FILE),
        "format = \"nullwalk-capture\"\nversion = 1\nmore = 2\n[signal]\ntone_hz = 640.0\n",
    )
    .unwrap();
    let capture = Capture::open(shelf.path()).unwrap();
    assert_eq!(capture.description.signal.tone_hz, 640.0);
    assert_eq!(capture.array.as_ref().unwrap().nodes().len(), 1);
    assert_eq!(capture.notices.len(), 1);
    assert!(capture.notices[0].text.contains("key more is not known"));
    let Content::Field(field) = &capture.content else { panic!("phasors went in") };
    assert!((field.rate_hz - 10.0).abs() < 1e-9);
    let [first, second] = field.rows[..] else { panic!("two rows went in") };
    assert_eq!(first.lower_t[2], num_complex::Complex32::new(5e-9, -6e-9));
    assert_eq!((first.upper_t, first.sigma_t, first.mast), (None, 1e-12, None));
    assert_eq!(second.mast.unwrap().tilt.unwrap().pitch_rad, std::f32::consts::PI);
}
