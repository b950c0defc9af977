//! A job on a disk that is full or may not be written to: said in one line, and nothing is lost.
#![cfg(unix)]

use std::fs::{self, Permissions};
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
use std::os::unix::process::CommandExt as _;
use std::path::Path;
use std::process::{Command, Output};

use nullwalk::book::Station;
use nullwalk::job::{Content, Draft, Job, Note, Place, RunCard, Settings, StationEntry};

/// A job with a run and two stations.
fn job(path: &Path) {
    let mut job = Job::create(path, Settings::default()).expect("begun");
    let run = RunCard { name: "drain".into(), ..RunCard::default() };
    let station = |number: u32| {
        let found = Station { number, ..Station::default() };
        let place = Place::Grid { east_m: f64::from(number), north_m: 0.0, sigma_m: 0.02 };
        Draft::New(Content::Station(Box::new(StationEntry {
            run: 2,
            found,
            place,
            ..StationEntry::default()
        })))
    };
    job.append(&[Draft::New(Content::Run(run)), station(1), station(2)]).expect("entered");
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Files may not grow beyond so many blocks of 512 or 1024 bytes, as `ulimit -f` counts; the signal that comes with it is
/// ignored, so that a write fails as on a full disk.
fn on_a_full_disk(folder: &Path, blocks: u64, arguments: &[&str]) -> Output {
    let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
    let mut shell = Command::new("bash");
    shell.args(["-c", &script, env!("CARGO_BIN_EXE_nullwalk")]).args(arguments).current_dir(folder);
    shell.output().expect("bash runs")
}

#[test]
fn on_a_full_disk_nothing_is_entered_and_nothing_lost() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("yard.job");
    job(&path);
    let before = Job::open(&path).expect("whole").state().clone();
    // A note of 200 kB does not fit into files of 64 kB.
    let long = "x".repeat(100_000);
    let tried = on_a_full_disk(folder.path(), 64, &["job", "note", "yard.job", &long]);
    let message = said(&tried);
    assert_eq!(tried.status.code(), Some(1), "{message}");
    assert!(
        message.starts_with("nullwalk: yard.job: the disk is full") && message.contains("make room"),
        "{message}"
    );
    assert_eq!(Job::open(&path).expect("whole").state(), &before);
    // A map that was there stays as it was.
    fs::write(folder.path().join("map.dxf"), "the old one").expect("written");
    let tried = on_a_full_disk(folder.path(), 1, &["job", "export", "yard.job", "--out", "map.dxf"]);
    let message = said(&tried);
    assert_eq!(tried.status.code(), Some(1), "{message}");
    assert!(
        message.contains("map.dxf: cannot be written") && message.contains("room on the disk"),
        "{message}"
    );
    assert_eq!(fs::read(folder.path().join("map.dxf")).expect("there"), b"the old one");
    let tried = on_a_full_disk(folder.path(), 1, &["job", "export", "yard.job", "--out", "map.gpkg"]);
    assert!(said(&tried).contains("map.gpkg: cannot be written"), "{}", said(&tried));
    let left: Vec<_> =
        fs::read_dir(folder.path()).expect("read").map(|e| e.expect("read").file_name()).collect();
    assert_eq!(left.len(), 2, "the job and the old map, and no rubbish: {left:?}");
    // With room again it goes on.
    let mut job = Job::open(&path).expect("whole");
    job.append(&[Draft::New(Content::Note(Note { text: long, about: None }))]).expect("entered");
}

/// In a folder that may be read and not written to; as another user where the test is run by one who may do anything.
#[test]
fn in_a_read_only_folder_a_job_can_be_read_and_says_that_it_cannot_be_added_to() {
    const NOBODY: u32 = 65_534;
    let folder = tempfile::tempdir().expect("a folder");
    let locked = folder.path().join("locked");
    fs::create_dir(&locked).expect("made");
    job(&locked.join("yard.job"));
    // The program may stand where others may not look.
    let program = folder.path().join("nullwalk");
    fs::copy(env!("CARGO_BIN_EXE_nullwalk"), &program).expect("copied");
    let mode = |path: &Path, mode| fs::set_permissions(path, Permissions::from_mode(mode)).expect("set");
    mode(folder.path(), 0o755);
    mode(&program, 0o755);
    let is_root = fs::metadata(folder.path()).expect("there").uid() == 0;
    let run = |arguments: &[&str]| {
        let mut command = Command::new(&program);
        command.args(arguments).current_dir(&locked);
        if is_root {
            command.uid(NOBODY).gid(NOBODY);
        }
        command.output().expect("it runs")
    };
    // The folder alone; the folder and the file.
    for file_mode in [0o666, 0o444] {
        mode(&locked.join("yard.job"), file_mode);
        mode(&locked, 0o555);
        let shown = run(&["job", "show", "yard.job"]);
        assert!(shown.status.success(), "{}", said(&shown));
        let text = String::from_utf8_lossy(&shown.stdout).into_owned();
        assert!(text.contains("Run \"drain\"") && text.contains("no permission to dig"), "{text}");
        let tried = run(&["job", "note", "yard.job", "words"]);
        let message = said(&tried);
        assert_eq!(tried.status.code(), Some(1), "{message}");
        assert!(
            message.contains("yard.job: can be read but not written to; copy it to a folder"),
            "{message}"
        );
        for arguments in
            [&["job", "new", "other.job"][..], &["job", "export", "yard.job", "--out", "map.dxf"]]
        {
            let tried = run(arguments);
            assert_eq!(tried.status.code(), Some(1));
            assert!(said(&tried).contains("check the path"), "{}", said(&tried));
        }
        mode(&locked, 0o755);
    }
    assert_eq!(Job::open(&locked.join("yard.job")).expect("whole").history().expect("read").len(), 4);
}
