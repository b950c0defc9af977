//! Captures taken in through the page: located, kept, entered; and what is not taken.

mod page;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use nullwalk::job::{Content, Draft, Job, RunCard, Settings};
use page::Page;

fn nullwalk(folder: &Path, arguments: &[&str]) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_nullwalk"));
    let output = command.args(arguments).current_dir(folder).output().unwrap();
    assert!(
        output.status.code().is_some_and(|code| code != 1),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
}

/// A job with a run, and a capture of a station of the simulator.
fn yard() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("yard.job");
    let mut job = Job::create(&path, Settings { title: "Yard".into(), ..Settings::default() }).unwrap();
    job.append(&[Draft::New(Content::Run(RunCard { name: "drain".into(), ..RunCard::default() }))])
        .unwrap();
    (folder, path)
}

/// What lies beside the job.
fn kept(folder: &Path) -> Vec<String> {
    let Ok(entries) = fs::read_dir(folder.join("yard-captures")) else { return vec![] };
    let mut names: Vec<_> =
        entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn a_capture_is_located_kept_and_entered_once() {
    let (folder, path) = yard();
    nullwalk(folder.path(), &["record", "drain-run", "recorded"]);
    let recorded = folder.path().join("recorded/station-1");
    let [manifest, samples, track] =
        ["capture.toml", "samples.wav", "track.csv"].map(|name| fs::read(recorded.join(name)).unwrap());
    let files: [(&str, &[u8]); 3] =
        [("station-1/capture.toml", &manifest), ("samples.wav", &samples), ("C:\\x\\track.csv", &track)];
    let page = Page::of(folder.path(), &["yard.job"]);
    let key = page.key("/job/yard.job/upload");
    let taken =
        page.upload("yard.job", &[("key", &key), ("name", "walk-1"), ("run", "2"), ("by", "me")], &files);
    assert_eq!(taken.status, 303, "{}", taken.text());
    let shown = page.get(taken.header("location").unwrap());
    let text = shown.text();
    assert!(
        shown.status == 200 && text.contains("Agree") && text.contains("Never permission to dig"),
        "{text}"
    );
    assert!(text.contains("walk-1") && text.contains("SHA-256"));
    assert_eq!(kept(folder.path()), ["walk-1"]);
    assert_eq!(fs::read(folder.path().join("yard-captures/walk-1/samples.wav")).unwrap(), samples);
    let job = Job::open(&path).unwrap();
    let (_, station) = job.state().stations().next().unwrap();
    assert_eq!((station.run, station.found.number), (2, 1));
    // The same as the command finds.
    nullwalk(folder.path(), &["replay", "recorded/station-1", "--job", "other.job"]);
    let other = Job::open(&folder.path().join("other.job")).unwrap();
    let (_, by_command) = other.state().stations().next().unwrap();
    assert_eq!(station.found.depth_to_source_m, by_command.found.depth_to_source_m);
    assert_eq!(station.found.position, by_command.found.position);
    assert_eq!(job.history().unwrap().last().unwrap().by, "me");
    // And the job finds its file again, unchanged.
    nullwalk(folder.path(), &["job", "check", "yard.job"]);
    let entries = job.history().unwrap().len();
    let again = page.upload("yard.job", &[("key", &key), ("name", "walk-2"), ("run", "")], &files);
    assert!(
        again.status == 409 && again.text().contains("in the job already, as station 1"),
        "{}",
        again.text()
    );
    let same_name = page.upload("yard.job", &[("key", &key), ("name", "walk-1"), ("run", "")], &files);
    assert_eq!(same_name.status, 409);
    assert_eq!(Job::open(&path).unwrap().history().unwrap().len(), entries);
    assert_eq!(kept(folder.path()), ["walk-1"]);
    // A new run of its own, for another one: half of the samples.
    let half = &samples[..samples.len() / 2];
    let files: [(&str, &[u8]); 3] =
        [("capture.toml", &manifest), ("samples.wav", half), ("track.csv", &track)];
    let taken = page.upload("yard.job", &[("key", &key), ("name", "walk-2"), ("run", "")], &files);
    assert_eq!(taken.status, 303, "{}", taken.text());
    assert!(Job::open(&path).unwrap().state().run_named("walk-2").is_some());
}

#[test]
fn what_is_no_capture_is_not_taken_and_leaves_nothing() {
    let (folder, path) = yard();
    let page = Page::of(folder.path(), &["yard.job"]);
    let key = page.key("/job/yard.job/upload");
    let manifest: (&str, &[u8]) = ("capture.toml", b"format = \"nullwalk-capture\"\nversion = 1\n");
    let fields = [("key", &*key), ("name", "walk")];
    let large = vec![b'#'; (1 << 20) + 1];
    let odd = vec![b'x'; 2000];
    for (fields, files, status, words) in [
        (&fields[..], vec![("run.sh", &b"#!"[..])], 415, "is no file of a capture"),
        (&fields, vec![("../../capture.toml.exe", b"")], 415, "is no file of a capture"),
        (&fields, vec![("", b"")], 415, "is no file of a capture"),
        (&fields, vec![("capture.toml", &large)], 413, "larger than 1 MB"),
        (&fields, vec![manifest, manifest], 422, "Two files of one name"),
        (&fields, vec![], 422, "no files"),
        (&fields, vec![manifest], 422, "samples.wav"),
        (&fields, vec![manifest, ("samples.wav", &odd)], 422, "samples.wav"),
        (&fields, vec![("capture.toml", &odd), ("field.csv", &odd)], 422, "capture.toml"),
        (&fields, vec![manifest, ("field.csv", b"time_s\n1\n")], 422, "field.csv"),
        (&[("name", "walk")], vec![manifest], 403, "before the page was started anew"),
        (&[("key", "x"), ("name", "walk")], vec![manifest], 403, "before the page was started anew"),
        (&[("key", &*key), ("name", "../up")], vec![manifest], 422, "Name of the capture"),
        (&[("key", &*key), ("name", "")], vec![manifest], 422, "Name of the capture"),
        (&[("key", &*key), ("name", "walk"), ("run", "x")], vec![manifest], 404, "no such page"),
        (&[("key", &*key), ("name", "walk"), ("else", "x")], vec![manifest], 422, "no field"),
    ] {
        let answer = page.upload("yard.job", fields, &files);
        let text = answer.text();
        assert!(
            answer.status == status && text.contains(words),
            "{fields:?} {status} {words}: {} {text}",
            answer.status
        );
        assert!(!text.contains(".arriving"), "{text}");
        assert_eq!(kept(folder.path()), Vec::<String>::new(), "{words}");
    }
    assert_eq!(page.upload("nothing.job", &fields, &[manifest]).status, 404);
    let kind = "application/x-www-form-urlencoded";
    assert_eq!(page.post("/job/yard.job/upload/files", kind, "", b"key=x").status, 415);
    // What breaks off in the middle.
    let head = format!(
        "POST /job/yard.job/upload/files HTTP/1.1\r\nHost: {}\r\nContent-Type: multipart/form-data; boundary=edge\r\n\
         Content-Length: 99999\r\n\r\n--edge\r\nContent-Disposition: form-data; name=\"key\"\r\n\r\n{key}\r\n--edge\r\n",
        page.address
    );
    let mut stream = page.connect();
    std::io::Write::write_all(&mut stream, head.as_bytes()).unwrap();
    drop(stream);
    assert_eq!(page.get("/job/yard.job").status, 200);
    assert_eq!(Job::open(&path).unwrap().history().unwrap().len(), 2);
    assert_eq!(
        fs::read_dir(folder.path()).unwrap().filter(|e| e.as_ref().unwrap().path() != path).count(),
        1
    );
}

/// As another user where the test is run by one who may do anything.
#[cfg(unix)]
#[test]
fn in_a_read_only_folder_a_job_is_shown_and_takes_nothing_in() {
    use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
    use std::os::unix::process::CommandExt as _;
    const NOBODY: u32 = 65_534;
    let (folder, path) = yard();
    let program = folder.path().join("nullwalk");
    fs::copy(env!("CARGO_BIN_EXE_nullwalk"), &program).unwrap();
    let mode = |path: &Path, mode| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    mode(&program, 0o755);
    mode(&path, 0o444);
    mode(folder.path(), 0o555);
    let mut command = Command::new(&program);
    command.args(["serve", "yard.job", "--port", "0"]).current_dir(folder.path());
    if fs::metadata(folder.path()).unwrap().uid() == 0 {
        command.uid(NOBODY).gid(NOBODY);
    }
    let page = Page::from(command);
    let key = page.key("/job/yard.job");
    let note = page.form("/job/yard.job/note", &[("key", &key), ("text", "words")]);
    assert!(
        note.status == 409 && note.text().contains("can be read but not written to"),
        "{}",
        note.text()
    );
    let taken = page.upload("yard.job", &[("key", &key), ("name", "walk")], &[("capture.toml", b"")]);
    assert!(taken.status == 403 && taken.text().contains("cannot be written"), "{}", taken.text());
    assert_eq!(page.get("/job/yard.job/run/2").status, 200);
    mode(folder.path(), 0o755);
}
