//! Bad captures: each gives one clear message with file, place and remedy, and nothing panics.

use std::fs::{self, File};
use std::io::Cursor;
use std::path::{Path, PathBuf};

use nullwalk::capture::{Capture, CaptureError, FieldRecording, Manifest, Notice, Track, WavFrames};
use nullwalk_core::frame::SampleSource;
use proptest::prelude::*;
use tempfile::TempDir;

const MANIFEST: &str = "format = \"nullwalk-capture\"\nversion = 1\n";
const FIELD_HEAD: &str = "time_s,n0x_re_t,n0x_im_t,n0y_re_t,n0y_im_t,n0z_re_t,n0z_im_t,sigma_t\n";

/// A RIFF/WAVE file by the letter of its specification (Microsoft and IBM 1991, Multimedia Programming
/// Interface and Data Specifications 1.0), so that any part of it can be spoilt.
struct Wav {
    tag: [u8; 4],
    format: u16,
    channels: u16,
    rate_hz: u32,
    bits: u16,
    promised_bytes: u32,
    data: Vec<u8>,
}

impl Wav {
    /// Half a second of two quiet 16-bit channels at 8 kHz.
    fn good() -> Self {
        let data = vec![1; 4000 * 4];
        Self {
            tag: *b"RIFF",
            format: 1,
            channels: 2,
            rate_hz: 8000,
            bits: 16,
            promised_bytes: data.len() as u32,
            data,
        }
    }

    fn bytes(&self) -> Vec<u8> {
        let frame_bytes = self.channels * self.bits / 8;
        let mut bytes = Vec::new();
        bytes.extend(self.tag);
        bytes.extend(self.promised_bytes.wrapping_add(36).to_le_bytes());
        bytes.extend(b"WAVEfmt \x10\0\0\0");
        bytes.extend(self.format.to_le_bytes());
        bytes.extend(self.channels.to_le_bytes());
        bytes.extend(self.rate_hz.to_le_bytes());
        bytes.extend((self.rate_hz * u32::from(frame_bytes)).to_le_bytes());
        bytes.extend(frame_bytes.to_le_bytes());
        bytes.extend(self.bits.to_le_bytes());
        bytes.extend(b"data");
        bytes.extend(self.promised_bytes.to_le_bytes());
        bytes.extend(&self.data);
        bytes
    }
}

/// A capture folder that is good until a file of it is replaced.
struct Folder(TempDir);

impl Folder {
    fn new() -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        folder.put("capture.toml", MANIFEST);
        folder.put("samples.wav", Wav::good().bytes());
        folder
    }

    /// A good capture of phasors.
    fn of_phasors() -> Self {
        let folder = Self::new();
        fs::remove_file(folder.0.path().join("samples.wav")).unwrap();
        folder.put("field.csv", format!("{FIELD_HEAD}0,1,1,1,1,1,1,1\n0.1,1,1,1,1,1,1,1\n"));
        folder
    }

    fn put(&self, name: &str, content: impl AsRef<[u8]>) -> &Self {
        fs::write(self.0.path().join(name), content).unwrap();
        self
    }

    /// Opens the capture and reads all its samples.
    fn read(&self) -> Result<(u64, Vec<Notice>), CaptureError> {
        read_all(self.0.path())
    }

    /// The message, without the folder's own path.
    fn complaint(&self) -> String {
        let message = self.read().expect_err("this capture is bad").to_string();
        message.replace(&format!("{}/", self.0.path().display()), "")
    }
}

fn read_all(path: &Path) -> Result<(u64, Vec<Notice>), CaptureError> {
    let capture = Capture::open(path)?;
    let mut frames = [[0; 2]; 1000];
    let mut reader = capture.reader::<2>()?;
    let mut total = 0;
    while let Some(block) = reader.read(&mut frames)? {
        total += block.frames as u64;
    }
    Ok((total, [capture.notices, reader.notices()].concat()))
}

/// Asserts the whole message: file, place, what is wrong, and what to do.
#[track_caller]
fn assert_complaint(folder: &Folder, expected: &str) {
    assert_eq!(folder.complaint(), expected);
}

#[track_caller]
fn assert_wav_complaint(wav: &Wav, expected: &str) {
    assert_complaint(Folder::new().put("samples.wav", wav.bytes()), expected);
}

#[test]
fn the_good_capture_is_good() {
    assert_eq!(Folder::new().read().unwrap(), (4000, vec![]));
    Capture::open(Folder::of_phasors().0.path()).unwrap();
}

#[test]
fn missing_files() {
    let nowhere = PathBuf::from("no/such/walk");
    assert_eq!(
        read_all(&nowhere).unwrap_err().to_string(),
        "no/such/walk: not found; give the folder of a capture, or a WAV file"
    );
    let folder = Folder(tempfile::tempdir().unwrap());
    assert_complaint(
        &folder,
        "capture.toml: not found; a capture folder holds capture.toml and samples.wav",
    );
    folder.put("capture.toml", MANIFEST);
    assert_complaint(&folder, "samples.wav: not found; put the samples there, or phasors into field.csv");
    assert!(
        Folder::of_phasors()
            .complaint()
            .starts_with("samples.wav: not found; this capture holds phasors (field.csv): ask for those")
    );
}

#[test]
fn a_folder_without_capture_toml_is_read_with_a_notice() {
    let folder = Folder::new();
    fs::remove_file(folder.0.path().join("capture.toml")).unwrap();
    let (frames, notices) = folder.read().unwrap();
    assert_eq!(frames, 4000);
    assert!(notices[0].to_string().contains("capture.toml: not there"));
}

#[test]
fn wav_headers() {
    assert_complaint(
        Folder::new().put("samples.wav", ""),
        "samples.wav, header: the file is empty; record or copy it again",
    );
    assert_wav_complaint(
        &Wav { tag: *b"RIFX", ..Wav::good() },
        "samples.wav, header: big-endian (RIFX); \
         convert it to little-endian RIFF/WAVE with any sound tool",
    );
    assert_wav_complaint(
        &Wav { tag: *b"\x89PNG", ..Wav::good() },
        "samples.wav, header: not a WAV file; \
         convert it to little-endian RIFF/WAVE with any sound tool",
    );
    assert_wav_complaint(
        &Wav { tag: *b"RF64", ..Wav::good() },
        "samples.wav, header: 64-bit RIFF; record parts of less than 4 GiB",
    );
    assert_wav_complaint(
        &Wav { format: 6, ..Wav::good() },
        "samples.wav, header: The wave format of the file is not supported.; \
         save it again as plain PCM with any sound tool",
    );
    assert_wav_complaint(
        &Wav { bits: 8, ..Wav::good() },
        "samples.wav, header: 8-bit samples; save it with 16, 24 or 32 bits, or 32-bit float",
    );
    assert_wav_complaint(
        &Wav { rate_hz: 0, ..Wav::good() },
        "samples.wav, header: says 0 samples a second; record again",
    );
    assert_wav_complaint(
        &Wav { channels: 9, promised_bytes: 18, ..Wav::good() },
        "samples.wav, header: holds 9 channels where 8 are expected; keep at most 8 channels",
    );
    assert_complaint(
        Folder::new().put("samples.wav", &Wav::good().bytes()[..30]),
        "samples.wav, header: ends before the samples begin; \
         the file was cut off: record or copy it again",
    );
}

#[test]
fn wav_files_of_no_length() {
    assert_wav_complaint(
        &Wav { promised_bytes: 0, ..Wav::good() },
        "samples.wav, header: says there are no samples; the recorder may have been stopped before it \
         finished the file: record again, or repair the header with a sound tool",
    );
    assert_wav_complaint(
        &Wav { data: vec![], ..Wav::good() },
        "samples.wav, frame 0: the header promises 4000 frames, none is there; \
         the file was cut off: record or copy it again",
    );
}

#[test]
fn truncated_and_gigantic_wav_files_are_read_as_far_as_they_go() {
    let odd = Wav { data: vec![1; 10 * 4 + 3], ..Wav::good() };
    let huge = Wav { promised_bytes: u32::MAX - 3, ..Wav::good() };
    for (wav, promised, there) in [(odd, 4000, 10), (huge, 1_073_741_823, 4000)] {
        let folder = Folder::new();
        let (frames, notices) = folder.put("samples.wav", wav.bytes()).read().unwrap();
        assert_eq!(frames, there);
        assert_eq!(
            notices[0].text,
            format!("cut off: the header promises {promised} frames, {there} are there and were used")
        );
    }
}

#[test]
fn wav_files_full_of_nan() {
    let data: Vec<u8> = f32::NAN.to_le_bytes().repeat(2 * 100);
    let wav = Wav { format: 3, bits: 32, promised_bytes: data.len() as u32, data, ..Wav::good() };
    let folder = Folder::new();
    let (frames, notices) = folder.put("samples.wav", wav.bytes()).read().unwrap();
    assert_eq!(frames, 100);
    assert_eq!(notices[0].text, "200 samples are not numbers, the first in frame 0; they were taken as 0");
}

#[test]
fn sample_rates_that_do_not_fit() {
    let with = |more: &str| {
        let folder = Folder::new();
        folder.put("capture.toml", format!("{MANIFEST}[signal]\n{more}\n"));
        folder
    };
    assert_complaint(
        &with("tone_hz = 8192"),
        "capture.toml, signal: a tone of 8192 Hz does not fit a sample rate of 8000 Hz (the tone + 10 Hz \
         must stay below half the rate); record at 24000 Hz",
    );
    assert_complaint(
        &with("tone_hz = nan"),
        "capture.toml, signal: a tone of NaN Hz does not fit a sample rate of 8000 Hz (the tone + 10 Hz \
         must stay below half the rate); set signal.tone_hz to a tone of 1 Hz to 48 kHz",
    );
    let slow = Wav { rate_hz: 1000, ..Wav::good() };
    assert_wav_complaint(
        &slow,
        "capture.toml, signal: a tone of 512 Hz does not fit a sample rate of 1000 Hz (the tone + 10 Hz \
         must stay below half the rate); record at 4000 Hz",
    );
    for rate in ["48000", "-8000", "nan", "inf", "0"] {
        let complaint = with(&format!("sample_rate_hz = {rate}")).complaint();
        assert!(complaint.starts_with("capture.toml, signal.sample_rate_hz: "), "{complaint}");
        assert!(complaint.ends_with(
            "but the header of samples.wav says 8000 Hz; give the true rate in both, or leave the key out"
        ));
    }
    let folder = Folder::new();
    let bare = folder.put("samples.wav", slow.bytes()).0.path().join("samples.wav");
    let complaint = read_all(&bare).unwrap_err().to_string();
    assert!(complaint.contains("samples.wav, signal: a tone of 512 Hz does not fit"), "{complaint}");
    assert_complaint(
        &with("channels = 6"),
        "samples.wav, header: holds 2 channels where 6 are expected; \
         correct signal.channels in capture.toml, or leave it out",
    );
}

#[test]
fn manifests() {
    let with = |text: &str| {
        let folder = Folder::new();
        folder.put("capture.toml", text);
        folder.complaint()
    };
    let manifest = |more: &str| with(&format!("{MANIFEST}{more}"));
    assert_eq!(
        with(""),
        "capture.toml, key format: must be \"nullwalk-capture\"; \
         is this the file you meant? If so, add the key"
    );
    assert_eq!(
        with("format = \"nullwalk-capture\""),
        "capture.toml, key version: must be a whole number from 1; write version = 1"
    );
    assert_eq!(
        with("format = \"nullwalk-capture\"\nversion = 7"),
        "capture.toml, key version: version 7 is newer than this program knows (1); \
         read it with a newer nullwalk"
    );
    assert_eq!(
        manifest("[signal]\ntone_hz = \"high\"\n"),
        "capture.toml, line 4: invalid type: string \"high\", expected f64; \
         correct it as the book's capture chapter shows"
    );
    let cut_off = manifest("[signal]\ntone_hz = ");
    assert!(cut_off.starts_with("capture.toml, line 4: "), "{cut_off}");
    assert!(cut_off.ends_with("; correct it as the book's capture chapter shows"), "{cut_off}");
    let not_text = Folder::new();
    not_text.put("capture.toml", [0xff, 0xfe, 0x00]);
    assert!(not_text.complaint().starts_with("capture.toml: cannot read as UTF-8 text: "));
}

#[test]
fn unknown_keys_are_noticed() {
    let folder = Folder::new();
    folder.put("capture.toml", format!("{MANIFEST}colour = 1\n[signal]\nsmell = 2\n"));
    let notices = folder.read().unwrap().1;
    let texts: Vec<_> = notices.iter().map(|n| n.text.as_str()).collect();
    assert_eq!(
        texts,
        ["key colour is not known and not used", "key signal.smell is not known and not used"]
    );
}

#[test]
fn impossible_equipment() {
    let complaint = |more: &str| {
        let folder = Folder::new();
        folder.put("capture.toml", format!("{MANIFEST}{more}"));
        folder.complaint()
    };
    let coil =
        |channel: u8, axis: &str| format!("[[array.node.coil]]\nchannel = {channel}\naxis = {axis}\n");
    let node = |position: &str, axes: [&str; 3], first: u8| {
        let coils: String = axes.iter().zip(first..).map(|(axis, c)| coil(c, axis)).collect();
        format!("[[array.node]]\nposition_m = {position}\n{coils}")
    };
    let straight = ["[1,0,0]", "[0,1,0]", "[0,0,1]"];
    let two_at_once = node("[0,0,0]", straight, 0) + &node("[0,0,0]", straight, 3);
    for (more, expected) in [
        ("[front_end]\nrungs = []".into(), "front_end.rungs must hold at least one rung"),
        (
            "[front_end]\nrungs = [{ gain = 4 }, { gain = 1 }]".into(),
            "front_end.rungs must have positive, rising gains and settling times of 0 to 5 s",
        ),
        ("[front_end]\nfull_scale_v = nan".into(), "front_end.full_scale_v must be positive"),
        ("[array]\nfoot_m = inf".into(), "array.foot_m must be 0 to 2 m"),
        (node("[nan,0,0]", straight, 0), "array.node.position_m must be within 5 m of the mast"),
        (two_at_once, "array.node.position_m must put the nodes 0.05 to 5 m apart"),
        (
            node("[0,0,0]", ["[1,0,0]", "[1,0,0]", "[0,0,1]"], 0),
            "array.node.coil.axis must be three directions that span space, near right angles",
        ),
        (
            node("[0,0,0]", ["[1,0,0]", "[nan,0,0]", "[0,0,1]"], 0),
            "array.node.coil.axis must be three directions that span space, near right angles",
        ),
        (
            node("[0,0,0]", straight, 0),
            "array.node.coil.channel must be below the number of channels; \
             leave out the nodes that were not recorded",
        ),
        (
            format!("[[array.node]]\nposition_m = [0,0,0]\n{}", coil(0, "[1,0,0]")),
            "array.node.coil must list exactly three coils",
        ),
    ] {
        let more: String = more;
        assert_eq!(complaint(&more), format!("capture.toml: {expected}"), "for {more}");
    }
}

#[test]
fn tracks() {
    let complaint = |text: &str| {
        let folder = Folder::new();
        folder.put("track.csv", text);
        folder.complaint()
    };
    const ORDER: &str = "not later than the row before, by one sample at least; \
                         sort the rows by time and keep one for each time";
    for (text, expected) in [
        (
            "",
            "line 1, column time_s: is missing from the header line; \
             begin the file with a line of column names with commas between them",
        ),
        (
            "time;east_m\n1;2\n",
            "line 1, column time_s: is missing from the header line; \
             begin the file with a line of column names with commas between them",
        ),
        ("time_s,time_s\n", "line 1, column time_s: stands in the header twice; keep one of them"),
        (
            "time_s,east_m,north_m\n0,1,2\n0.1,nan,2\n",
            "line 3, column east_m: \"nan\" is not a finite number; \
             write a number with a decimal point, or leave the cell empty if nothing was measured",
        ),
        (
            "time_s,east_m,north_m\n0,1e39,2\n",
            "line 2, column east_m: \"1e39\" is not a finite number; \
             write a number with a decimal point, or leave the cell empty if nothing was measured",
        ),
        (
            "time_s,pitch_deg\n0,steep\n",
            "line 2, column pitch_deg: \"steep\" is not a finite number; \
             write a number with a decimal point, or leave the cell empty if nothing was measured",
        ),
        (
            "time_s,east_m,north_m\n0,1,\n",
            "line 2, column north_m: the cell is empty; give east_m and north_m, or neither",
        ),
        (
            "time_s,east_m,north_m\n0,1,5e6\n",
            "line 2, column north_m: 5000000 m is too far from the site's origin; \
             the site frame is local: subtract an origin near the walk from all positions",
        ),
        (
            "time_s,east_m,north_m,sigma_m\n0,1,2,-0.1\n",
            "line 2, column sigma_m: -0.1 m is negative; a standard uncertainty is 0 or more",
        ),
        ("time_s\n,\n", "line 2, column time_s: the cell is empty; fill it in, or delete the row"),
        (
            "time_s\n-1\n",
            "line 2, column time_s: -1.0 s is not within a recording; \
             count seconds from the first sample, which is at 0",
        ),
        (
            "time_s\n1e300\n",
            "line 2, column time_s: 1e300 s is not within a recording; \
             count seconds from the first sample, which is at 0",
        ),
        ("time_s\n0.1\n0.1\n", &format!("line 3, column time_s: {ORDER}")),
        ("time_s\n0.1\n0.10001\n", &format!("line 3, column time_s: {ORDER}")),
        ("time_s\n0.1\n0.05\n", &format!("line 3, column time_s: {ORDER}")),
        (
            "time_s,rung\n0,9\n",
            "line 2, column rung: there is no such rung; the highest is 4; \
             count rungs from 0, and list them all under front_end.rungs",
        ),
        (
            "time_s,rung\n0,-1\n",
            "line 2, column rung: \"-1\" is not a whole number in range; \
             write a whole number from 0, or leave the cell empty",
        ),
        (
            "time_s,dropped\n0.1,801\n",
            "line 2, column dropped: 801 frames cannot have been lost since the row before; \
             give the frames lost between the two rows; time_s counts them too",
        ),
    ] {
        assert_eq!(complaint(text), format!("track.csv, {expected}"), "for {text:?}");
    }
    let not_text = Folder::new();
    not_text.put("track.csv", b"time_s\n0\n\xff\xfe\n");
    let complaint = not_text.complaint();
    assert!(complaint.starts_with("track.csv, line 3, column any: "), "{complaint}");
    assert!(complaint.ends_with("; save the table as plain text (UTF-8) with commas between cells"));
}

#[test]
fn gigantic_text_files_are_not_read() {
    let folder = Folder::new();
    // Sparse: these take no room on the disk.
    let grow = |name: &str, bytes| {
        File::create(folder.0.path().join(name)).unwrap().set_len(bytes).unwrap();
    };
    grow("track.csv", 1 << 40);
    assert_complaint(
        &folder,
        "track.csv: 1099511627776 bytes is more than a table may hold (268435456); \
         record in shorter parts",
    );
    grow("capture.toml", 1 << 30);
    assert_complaint(
        &folder,
        "capture.toml: 1073741824 bytes is more than a description may hold (1048576); \
         record in shorter parts",
    );
}

#[test]
fn phasors() {
    let complaint = |text: &str| {
        let folder = Folder::of_phasors();
        folder.put("field.csv", text).complaint()
    };
    let row = |time: &str, rest: &str| format!("{time},{rest}\n");
    let ones = "1,1,1,1,1,1,1";
    let rows =
        |times: &[&str]| FIELD_HEAD.to_owned() + &times.iter().map(|t| row(t, ones)).collect::<String>();
    let upper = FIELD_HEAD.trim().to_owned() + ",n1x_re_t\n";
    for (text, expected) in [
        (
            "time_s,sigma_t\n".to_owned(),
            "line 1, column n0x_re_t: is missing from the header line; \
             begin the file with a line of column names with commas between them",
        ),
        (
            upper,
            "line 1, column n1x_im_t: is missing from the header line; \
             begin the file with a line of column names with commas between them",
        ),
        (
            FIELD_HEAD.to_owned() + &row("0", "1,NaN,1,1,1,1,1"),
            "line 2, column n0x_im_t: \"NaN\" is not a finite number; \
             write a number with a decimal point, or leave the cell empty if nothing was measured",
        ),
        (
            FIELD_HEAD.to_owned() + &row("0", "1,1,1,,1,1,1"),
            "line 2, column n0y_im_t: the cell is empty; fill it in, or delete the row",
        ),
        (
            FIELD_HEAD.to_owned() + &row("0", "1,1,1,1,1,1,-1e-12"),
            "line 2, column sigma_t: -1e-12 T cannot be; \
             a standard uncertainty is above 0; nothing is known exactly",
        ),
        (
            rows(&["0", "0.1", "0.1"]),
            "line 4, column time_s: not later than the row before; \
             sort the rows by time and keep one for each time",
        ),
        (
            rows(&["0.5", "0.25"]),
            "line 3, column time_s: not later than the row before; \
             sort the rows by time and keep one for each time",
        ),
        (
            rows(&["0", "0.125", "0.375"]),
            "line 4, column time_s: 0.25 s after the row before, where the rows before are 0.125 s \
             apart; space the rows evenly, within 1 %; split the recording at a gap",
        ),
        (rows(&["0", "1", "2"]), "line 2, column time_s: 1 rows a second; give 5 to 50 rows a second"),
        (rows(&["0"]), "line 2, column time_s: less than two rows; give 5 to 50 rows a second"),
    ] {
        assert_eq!(complaint(&text), format!("field.csv, {expected}"), "for {text:?}");
    }
    let folder = Folder::of_phasors();
    let node = |z: f64| format!("[[array.node]]\nposition_m = [0.0, 0.0, {z}]\n");
    folder.put("capture.toml", format!("{MANIFEST}{}{}", node(0.0), node(0.4)));
    assert_complaint(
        &folder,
        "field.csv, line 1, column n1x_re_t: 1 nodes here, 2 in capture.toml; \
         list one [[array.node]] for each node, or leave [array] out",
    );
}

/// Bytes that look like a table now and then, so that a parser gets past its header.
fn table(head: &'static str) -> impl Strategy<Value = Vec<u8>> {
    let cell = prop_oneof![
        "[-+0-9.eE]{0,6}",
        any::<f64>().prop_map(|x| x.to_string()),
        "\\PC{0,4}",
        Just(String::new()),
    ];
    let row = prop::collection::vec(cell, 0..16).prop_map(|cells| cells.join(","));
    let rows = prop::collection::vec(row, 0..8).prop_map(move |rows| head.to_owned() + &rows.join("\n"));
    prop_oneof![rows.prop_map(String::into_bytes), prop::collection::vec(any::<u8>(), 0..200)]
}

/// A good file with some of its bytes overwritten and its end cut off.
fn spoilt(good: Vec<u8>) -> impl Strategy<Value = Vec<u8>> {
    let edits = prop::collection::vec((0..good.len().min(64), any::<u8>()), 0..6);
    (edits, 0..=good.len()).prop_map(move |(edits, length)| {
        let mut bytes = good.clone();
        for (at, byte) in edits {
            bytes[at] = byte;
        }
        bytes.truncate(length);
        bytes
    })
}

/// A complaint must name the file it is about.
fn assert_named<T>(outcome: Result<T, CaptureError>) -> Result<(), TestCaseError> {
    if let Err(complaint) = outcome {
        let text = complaint.to_string();
        prop_assert!(text.starts_with("the-file"), "{text}");
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn no_manifest_panics(noise in "\\PC{0,80}") {
        let file = Path::new("the-file");
        assert_named(Manifest::parse(&noise, file, &mut Vec::new()))?;
        let text = format!("{MANIFEST}{noise}");
        assert_named(Manifest::parse(&text, file, &mut Vec::new()))?;
    }

    #[test]
    fn no_track_panics(
        bytes in table("time_s,east_m,north_m,up_m,heading_deg,pitch_deg,roll_deg,sigma_m,rung,dropped\n"),
    ) {
        let file = Path::new("the-file");
        assert_named(Track::parse(bytes.as_slice(), file, 8000.0, 0.05, 4, &mut Vec::new()))?;
    }

    #[test]
    fn no_field_table_panics(bytes in table(FIELD_HEAD)) {
        let file = Path::new("the-file");
        assert_named(FieldRecording::parse(bytes.as_slice(), file, 0.05, &mut Vec::new()))?;
    }

    #[test]
    fn no_wav_file_panics(bytes in spoilt(Wav::good().bytes())) {
        let file = Path::new("the-file");
        let read_all = || -> Result<(), CaptureError> {
            let mut wav = WavFrames::new(Cursor::new(bytes), file)?;
            let mut frames = [[0; 2]; 64];
            while wav.read(&mut frames)? > 0 {}
            Ok(())
        };
        assert_named(read_all())?;
    }
}
