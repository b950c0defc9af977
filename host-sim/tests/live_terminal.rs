//! The live view on a real pseudo-terminal: the program as a person has it before them.
#![cfg(unix)]

mod handset_records;

use std::fs;
use std::io::{Read as _, Write as _};
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::thread;
use std::time::{Duration, Instant};

use handset_records::{handset_records, stream};
use nullwalk::book::Verdict;
use nullwalk::job::Job;
use nullwalk_core::words;
use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use serialport::{SerialPort as _, TTYPort};
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_nullwalk");
/// The machine may be busy with other tests.
const PATIENCE: Duration = Duration::from_secs(60);

/// A terminal with the program in it, and what is on its screen.
struct Desk {
    master: Box<dyn MasterPty + Send>,
    child: Box<dyn Child + Send + Sync>,
    keys: Box<dyn std::io::Write + Send>,
    bytes: Receiver<Vec<u8>>,
    screen: vt100::Parser,
    raw: Vec<u8>,
}

fn size(cols: u16, rows: u16) -> PtySize {
    PtySize { rows, cols, pixel_width: 0, pixel_height: 0 }
}

fn some(count: u16) -> NonZero<u16> {
    NonZero::new(count).expect("not nothing")
}

impl Desk {
    /// Run a command line of a shell, in which `$0` is the program.
    fn shell(folder: &Path, (cols, rows): (u16, u16), script: &str, environment: &[(&str, &str)]) -> Self {
        let pair = native_pty_system().openpty(size(cols, rows)).expect("a pseudo-terminal");
        let mut command = CommandBuilder::new("sh");
        command.args(["-c", script, PROGRAM]);
        command.cwd(folder);
        command.env("TERM", "xterm-256color");
        command.env_remove("NO_COLOR");
        for (name, value) in environment {
            command.env(name, value);
        }
        let child = pair.slave.spawn_command(command).expect("it starts");
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        let keys = pair.master.take_writer().expect("a writer");
        let (sender, bytes) = mpsc::channel();
        thread::spawn(move || {
            let mut room = [0; 4096];
            while let Ok(read @ 1..) = reader.read(&mut room) {
                if sender.send(room[..read].to_vec()).is_err() {
                    break;
                }
            }
        });
        let screen = vt100::Parser::new(some(rows), some(cols), 0);
        Self { master: pair.master, child, keys, bytes, screen, raw: Vec::new() }
    }

    /// Run the live view as it is, with the terminal's settings written down before and after.
    fn live(folder: &Path, size: (u16, u16), arguments: &str) -> Self {
        let script = format!(
            "stty -g >before; \"$0\" live {arguments}; echo \"left with $?\"; stty -g >after; echo done"
        );
        Self::shell(folder, size, &script, &[])
    }

    /// Take in what has come, for so long at most. Whether the other end is still there.
    fn look(&mut self, patience: Duration) -> bool {
        match self.bytes.recv_timeout(patience) {
            Ok(bytes) => {
                self.screen.process(&bytes);
                self.raw.extend_from_slice(&bytes);
                true
            }
            Err(RecvTimeoutError::Timeout) => true,
            Err(RecvTimeoutError::Disconnected) => false,
        }
    }

    fn text(&self) -> String {
        self.screen.screen().contents()
    }

    #[track_caller]
    fn wait(&mut self, what: &str, is_so: impl Fn(&str) -> bool) {
        let begun = Instant::now();
        while !is_so(&self.text()) {
            let is_there = self.look(Duration::from_millis(50));
            let late = begun.elapsed() > PATIENCE;
            assert!(is_there && !late, "{what} does not come:\n{}", self.text());
        }
    }

    #[track_caller]
    fn sees(&mut self, part: &str) {
        self.wait(part, |text| text.contains(part));
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).and_then(|()| self.keys.flush()).expect("pressed");
    }

    fn resize(&mut self, cols: u16, rows: u16) {
        self.screen.screen_mut().set_size(some(rows), some(cols));
        self.master.resize(size(cols, rows)).expect("resized");
    }

    /// Seconds of the recording, as the title says.
    fn time_s(&self) -> f64 {
        let text = self.text();
        let title = text.lines().next().unwrap_or_default();
        let words: Vec<&str> = title.split_whitespace().collect();
        let unit = words.iter().position(|word| *word == "s").expect("seconds");
        let of = words.iter().position(|word| *word == "of");
        words[of.unwrap_or(unit) - 1].parse().expect("a number")
    }

    /// The program has left: the terminal is as it was before.
    #[track_caller]
    fn is_left(&mut self, folder: &Path, status: i32) {
        self.sees(&format!("left with {status}"));
        self.sees("done");
        let screen = self.screen.screen();
        assert!(!screen.alternate_screen() && !screen.hide_cursor(), "{}", self.text());
        let [before, after] =
            ["before", "after"].map(|name| fs::read_to_string(folder.join(name)).unwrap());
        assert_eq!(before, after, "modes of the terminal");
        self.child.wait().expect("it is over");
    }
}

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

/// A capture of a clean walk, recorded once and copied.
fn capture(folder: &Path) -> PathBuf {
    let made = Command::new(PROGRAM)
        .args(["record", "clean-level", "walk"])
        .current_dir(folder)
        .stdout(Stdio::null())
        .status()
        .expect("it runs");
    assert!(made.success());
    folder.join("walk/station-1")
}

#[test]
fn a_walk_is_watched_paused_stepped_marked_and_left() {
    let folder = folder();
    capture(folder.path());
    let mut desk = Desk::live(folder.path(), (80, 24), "walk/station-1 --speed 4 --job yard.job");
    for part in ["Guidance", "Plan", "Verdict", "Signal", "Spectrum", "station-1, 512 Hz", "4x"] {
        desk.sees(part);
    }
    desk.sees("HOME");
    desk.sees(words::CAUTION_NOTHING);

    desk.press(" ");
    desk.sees("PAUSED");
    let paused_s = desk.time_s();
    thread::sleep(Duration::from_millis(400));
    desk.look(Duration::from_millis(50));
    assert_eq!(desk.time_s(), paused_s);
    desk.press("sss");
    let stepped = format!("{:.1} of", ((paused_s + 0.05) * 10.0).floor() / 10.0 + 0.2);
    let after = move |text: &str| {
        let said = text
            .lines()
            .next()
            .and_then(|l| l.split(" of ").next()?.split_whitespace().last()?.parse().ok());
        said.is_some_and(|s: f64| s > paused_s + 0.05)
    };
    desk.wait(&format!("a step to {stepped}"), after);

    for (key, part) in [
        ("?", "leave"),
        ("2", "strength, then forward"),
        ("3", "About the tone"),
        ("4", "Plan, north up"),
        ("5", "Verdict in full"),
        ("1", "Guidance"),
    ] {
        desk.press(key);
        desk.sees(part);
    }
    desk.press("+++");
    desk.sees("32x");
    desk.press("-");
    desk.sees("16x");
    desk.press(" ");
    desk.sees("END");
    desk.sees("AGREE");
    desk.sees(words::CAUTION_DEPTH);
    desk.press("m");
    desk.sees("Station 1 with a fix. No permission to dig. Kept in yard.job.");
    desk.press("m");
    desk.sees("this was marked already: it is station 1");
    desk.press("q");
    desk.sees("1 station kept in yard.job");
    desk.is_left(folder.path(), 0);

    let job = Job::open(&folder.path().join("yard.job")).expect("a job");
    let stations: Vec<_> = job.state().stations().map(|(_, station)| station.clone()).collect();
    assert_eq!(stations.len(), 1);
    let found = &stations[0].found;
    assert_eq!((found.number, found.verdict), (1, Verdict::Agree));
    assert!(found.depth_to_source_m.is_some_and(|depth| (depth.value - 1.0).abs() < 0.05), "{found:?}");
    let source = job.state().sources().next().expect("where it came from").1.clone();
    assert_eq!(stations[0].origin.as_ref().map(|origin| origin.sha256.is_empty()), Some(false));
    assert_eq!((source.what.as_str(), source.path.as_str()), ("capture", "walk/station-1"));
}

#[test]
fn without_a_job_it_is_said_that_nothing_is_kept() {
    let folder = folder();
    let mut desk = Desk::live(folder.path(), (80, 24), "--site clean-level --speed 32");
    desk.sees("HOME");
    desk.press("m");
    desk.sees("NOT KEPT: no job was named; leave, and begin with --job FILE");
    desk.press("\x03");
    desk.is_left(folder.path(), 0);
    assert!(!desk.text().contains("kept in"), "{}", desk.text());
}

#[test]
fn it_follows_the_size_of_the_terminal() {
    let folder = folder();
    let mut desk = Desk::live(folder.path(), (20, 5), "--site clean-level");
    desk.sees("20 x 5 is too small:");
    desk.resize(80, 24);
    desk.sees("Guidance");
    desk.sees("q leave");
    desk.resize(120, 40);
    desk.wait("the last line of 40", |text| text.lines().nth(39).is_some_and(|l| l.contains("q leave")));
    desk.resize(30, 8);
    desk.sees("30 x 8 is too small:");
    desk.press("q");
    desk.is_left(folder.path(), 0);
}

#[test]
fn no_colour_is_used_where_none_is_wanted() {
    let folder = folder();
    for (set, has_colour) in [(Some("1"), false), (Some(""), true), (None, true)] {
        let environment: Vec<(&str, &str)> = set.map(|value| ("NO_COLOR", value)).into_iter().collect();
        let mut desk =
            Desk::shell(folder.path(), (80, 24), "\"$0\" live --site clean-level; echo over", &environment);
        desk.sees("signal [");
        desk.sees("rung");
        desk.press("q");
        desk.sees("over");
        let raw = String::from_utf8_lossy(&desk.raw).into_owned();
        let is_tinted = raw.contains("\x1b[38;") || raw.contains("\x1b[3") && raw.contains(";5;");
        assert_eq!(is_tinted, has_colour, "NO_COLOR={set:?}");
    }
}

#[test]
fn signals_give_the_terminal_back() {
    for signal in ["TERM", "HUP", "INT"] {
        let folder = folder();
        let script = "stty -g >before; sh -c 'echo $$ >pid; exec \"$0\" live --site clean-level' \"$0\"; \
                      echo \"left with $?\"; stty -g >after; echo done";
        let mut desk = Desk::shell(folder.path(), (80, 24), script, &[]);
        desk.sees("Guidance");
        let pid = fs::read_to_string(folder.path().join("pid")).expect("its number");
        let sent = Command::new("kill").args([&format!("-{signal}"), pid.trim()]).status().expect("sent");
        assert!(sent.success());
        desk.is_left(folder.path(), 0);
    }
}

#[test]
fn it_ends_when_the_terminal_goes_away() {
    // In a session of its own no signal tells it.
    for session in ["", "setsid"] {
        let folder = folder();
        let script = format!("sh -c 'echo $$ >pid; exec {session} \"$0\" live --site clean-level' \"$0\"");
        let mut desk = Desk::shell(folder.path(), (80, 24), &script, &[]);
        desk.sees("Guidance");
        let pid = fs::read_to_string(folder.path().join("pid")).expect("its number");
        drop(desk);
        let state =
            || Command::new("ps").args(["-o", "stat=", "-p", pid.trim()]).output().expect("told").stdout;
        let begun = Instant::now();
        // What nobody has waited for yet is over as well.
        while state().first().is_some_and(|state| *state != b'Z') {
            assert!(begun.elapsed() < PATIENCE, "it goes on without a terminal");
            thread::sleep(Duration::from_millis(50));
        }
    }
}

#[test]
fn what_cannot_be_shown_is_said_before_the_terminal_is_taken() {
    let folder = folder();
    capture(folder.path());
    let wav = folder.path().join("walk/station-1/samples.wav");
    fs::write(folder.path().join("torn.wav"), &fs::read(&wav).expect("samples")[..20]).expect("written");
    fs::write(folder.path().join("text.nwb"), "no field book at all").expect("written");
    fs::create_dir(folder.path().join("empty")).expect("made");
    for (arguments, parts) in [
        ("gone", vec!["gone", "give the folder of a capture"]),
        ("torn.wav", vec!["torn.wav", "header"]),
        ("text.nwb", vec!["text.nwb", "no whole record"]),
        ("empty", vec!["empty", "capture.toml"]),
        ("--serial /dev/nowhere", vec!["/dev/nowhere", "cannot open", "check the path"]),
        ("--site nowhere", vec!["nowhere", "built in are"]),
        ("--site clean-level --station 9", vec!["--station", "1 to 1"]),
        ("walk/station-1 --job walk", vec!["walk"]),
        ("walk/station-1 --speed 99", vec!["--speed", "0.25 to 32"]),
    ] {
        let mut desk = Desk::live(folder.path(), (200, 24), arguments);
        desk.is_left(folder.path(), 1);
        let text = desk.text();
        assert!(
            text.contains("nullwalk: ") && parts.iter().all(|part| text.contains(part)),
            "{arguments}: {text}"
        );
        assert!(!String::from_utf8_lossy(&desk.raw).contains("\x1b[?1049h"), "{arguments}: it was taken");
    }
}

#[test]
fn a_capture_that_ends_in_mid_walk_is_shown_to_its_end_and_refused() {
    let folder = folder();
    capture(folder.path());
    let wav = folder.path().join("walk/station-1/samples.wav");
    let whole = fs::read(&wav).expect("samples");
    fs::write(&wav, &whole[..whole.len() / 5]).expect("cut");
    let mut desk = Desk::live(folder.path(), (80, 24), "walk/station-1 --speed 32");
    desk.sees("END");
    for part in ["REFUSE", "no figure", "it ended without a fix", words::CAUTION_NOTHING] {
        desk.sees(part);
    }
    desk.press("q");
    desk.is_left(folder.path(), 0);
}

#[test]
fn piped_output_is_refused_with_a_remedy() {
    let output = Command::new(PROGRAM)
        .args(["live", "--site", "clean-level"])
        .stdin(Stdio::null())
        .output()
        .expect("it runs");
    let complained = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        complained.contains("this is no terminal") && complained.contains("nullwalk replay"),
        "{complained}"
    );
    assert!(output.stdout.is_empty());
}

#[test]
fn a_handset_is_followed_over_its_port_and_logged() {
    let folder = folder();
    let (mut handset, host) = TTYPort::pair().expect("a port");
    let port = host.name().expect("its name");
    drop(host);
    let mut desk =
        Desk::live(folder.path(), (80, 24), &format!("--serial {port} --log link.nwb --job yard.job"));
    desk.sees("waiting for the first samples");
    let bytes = stream(handset_records());
    let sender = thread::spawn(move || {
        for piece in bytes.chunks(700) {
            handset.write_all(piece).expect("sent");
            thread::sleep(Duration::from_millis(1));
        }
        thread::sleep(Duration::from_millis(500));
    });
    desk.sees("AGREE");
    desk.sees("live");
    desk.press("m");
    desk.sees("Station 1 with a fix.");
    sender.join().expect("sent");
    desk.sees("the link ended");
    desk.press("q");
    desk.is_left(folder.path(), 0);
    let logged = Command::new(PROGRAM)
        .args(["field-book", "list", "link.nwb"])
        .current_dir(folder.path())
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&logged.stdout).into_owned();
    assert!(said.contains("1 recording") || said.contains("recording 1"), "{said}");

    // What was logged can be watched again.
    let mut desk = Desk::live(folder.path(), (80, 24), "link.nwb --speed 32");
    desk.sees("END");
    desk.sees("AGREE");
    desk.press("q");
    desk.is_left(folder.path(), 0);
}

#[test]
fn killed_while_marking_nothing_that_was_said_to_be_kept_is_lost() {
    let folder = folder();
    let job = folder.path().join("yard.job");
    let (mut most, mut said) = (0, 0);
    for round in 0..12_u64 {
        let script = "echo $$ >pid; exec \"$0\" live --site clean-level --speed 16 --job yard.job";
        let mut desk = Desk::shell(folder.path(), (80, 24), script, &[]);
        desk.sees("Guidance");
        // Every step is another moment, which may be marked.
        desk.press(" ");
        desk.sees("PAUSED");
        let until = Instant::now() + Duration::from_millis(150 + 37 * round);
        while Instant::now() < until {
            desk.press("sm");
            desk.look(Duration::from_millis(5));
            said = said.max(number_said(&desk.text()));
        }
        let pid = fs::read_to_string(folder.path().join("pid")).expect("its number");
        assert!(Command::new("kill").args(["-KILL", pid.trim()]).status().expect("sent").success());
        while desk.look(Duration::from_secs(5)) {
            said = said.max(number_said(&desk.text()));
        }
        desk.child.wait().expect("it is over");
        let kept = Job::open(&job).expect("whole");
        let numbers: Vec<u32> = kept.state().stations().map(|(_, s)| s.found.number).collect();
        assert!(numbers.iter().copied().eq(1..=numbers.len() as u32), "{numbers:?}");
        assert!(said <= numbers.len() as u32, "{said} were said to be kept, {} are there", numbers.len());
        assert!(numbers.len() >= most);
        most = numbers.len();
    }
    assert!(said >= 12, "only {said} stations were marked: this shows nothing");
}

/// The station that is said to be kept, if one is.
fn number_said(text: &str) -> u32 {
    let after = text.split(" Station ").nth(1).filter(|_| text.contains("Kept in"));
    after.and_then(|rest| rest.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}
