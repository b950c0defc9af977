//! The local page over real HTTP: what it shows, what it takes in, and what it refuses.

mod page;

use std::collections::BTreeSet;
use std::fs;
use std::io::{Read as _, Write as _};
use std::net::TcpListener;
use std::path::Path;
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use nullwalk::book::{Check, Estimate, Measured, MethodResult, Reason, SitePosition, Station, Verdict};
use nullwalk::job::{Content, Draft, Job, Note, Photo, Place, Point, RunCard, Settings, StationEntry, Tie};
use page::{Answer, Page, coded, links};

/// Words that do harm where they are taken for more than words.
const EVIL: &str = "\"'><script>alert(1)</script><img src=x onerror=alert(2)>&amp;</svg>";

fn station(number: u32, name: &str) -> Station {
    let depth = 0.8 + 0.1 * f64::from(number);
    let estimate = Estimate { value: depth, sigma: 0.02, low95: depth - 0.04, high95: depth + 0.05 };
    Station {
        number,
        name: name.to_owned(),
        position: Some(SitePosition {
            east_m: 4.0 * f64::from(number),
            north_m: 0.5 * f64::from(number % 2),
            sigma_m: 0.03,
        }),
        lay_deg: Some(Measured { value: 90.0, sigma: 3.0 }),
        depth_to_source_m: Some(estimate),
        shallow_bound_m: Some(depth - 0.1),
        methods: vec![MethodResult { method: name.to_owned(), estimate: Some(estimate), refused: None }],
        verdict: [Verdict::Agree, Verdict::Doubt, Verdict::Refuse][number as usize % 3],
        reasons: vec![Reason { code: "x".into(), sentence: name.to_owned(), remedy: name.to_owned() }],
        checks: vec![Check {
            name: name.to_owned(),
            passed: number.is_multiple_of(2),
            detail: name.to_owned(),
        }],
        trouble_spot: number == 4,
        capture: name.to_owned(),
        ..Station::default()
    }
}

/// A job with everything in it, `words` wherever words go.
fn job(path: &Path, words: &str) {
    let settings = Settings {
        title: words.into(),
        description: words.into(),
        site_note: words.into(),
        ..Settings::default()
    };
    let mut job = Job::create(path, settings).unwrap();
    words.clone_into(&mut job.by);
    let card = RunCard {
        name: words.into(),
        description: words.into(),
        recorded: words.into(),
        ..RunCard::default()
    };
    let run = job.append(&[Draft::New(Content::Run(card))]).unwrap().start;
    let entered = |n| {
        Draft::New(Content::Station(Box::new(StationEntry {
            run,
            found: station(n, words),
            ..StationEntry::default()
        })))
    };
    let first = job.append(&(1..=120).map(entered).collect::<Vec<_>>()).unwrap().start;
    let place = Place::Grid { east_m: 5.0, north_m: 6.0, sigma_m: 0.02 };
    let point = Point { name: words.into(), description: words.into(), place };
    let point = job.append(&[Draft::New(Content::Point(point))]).unwrap().start;
    let tie = Tie { station: first, point, distance_m: 6.0, sigma_m: 0.02 };
    job.append(&[
        Draft::New(Content::Tie(tie)),
        Draft::New(Content::Note(Note { text: words.into(), about: Some(first) })),
        Draft::New(Content::Photo(Photo {
            path: words.into(),
            sha256: words.into(),
            text: words.into(),
            about: None,
        })),
        Draft::Correction {
            of: first,
            reason: words.into(),
            patch: serde_json::json!({ "name": format!("{words}!") }),
        },
    ])
    .unwrap();
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

/// Every page that can be reached, with its address; all of them are answered.
fn every_page(page: &Page, but: impl Fn(&str) -> bool) -> Vec<(String, Answer)> {
    let (mut seen, mut waiting) = (BTreeSet::from(["/".to_owned()]), vec!["/".to_owned()]);
    let mut found = Vec::new();
    while let Some(path) = waiting.pop() {
        let answer = page.get(&path);
        if answer.header("content-type").is_some_and(|kind| kind.starts_with("text/html")) {
            for link in links(&answer.text()) {
                assert!(link.starts_with('/'), "{path} leads away, to {link}");
                if !but(&link) && seen.insert(link.clone()) {
                    waiting.push(link);
                }
            }
        }
        found.push((path, answer));
    }
    found
}

#[test]
fn every_page_is_answered_with_its_cautions_and_lets_nothing_else_in() {
    let folder = folder();
    job(&folder.path().join("yard.job"), "Yard & street");
    let page = Page::of(folder.path(), &["."]);
    // These take latitudes, which this job has none of.
    let pages = every_page(&page, |link| link.ends_with(".geojson") || link.ends_with(".kml"));
    assert!(pages.len() > 130, "{}", pages.len());
    for (path, answer) in &pages {
        assert_eq!(answer.status, 200, "{path}");
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{path}");
        let policy = answer.header("content-security-policy").unwrap();
        assert!(policy.contains("default-src 'none'") && !policy.contains("script"), "{path}: {policy}");
        if !answer.header("content-type").unwrap().starts_with("text/html") {
            continue;
        }
        let text = answer.text();
        assert!(
            !text.contains("<script") && !text.contains("javascript:") && !text.contains("src="),
            "{path}"
        );
        assert!(text.contains("<html lang=\"en\"") && text.contains("<h1"), "{path}");
        if path.starts_with("/job/") {
            let said = text.to_lowercase();
            assert!(
                said.contains("permission to dig") && said.contains("other lines may be near")
                    || path.ends_with("/sheet"),
                "{path}"
            );
        }
    }
    let attached = |end: &str| {
        let (_, answer) = pages.iter().find(|(path, _)| path.ends_with(end)).unwrap();
        answer.header("content-disposition").unwrap().to_owned()
    };
    assert_eq!(attached(".dxf"), "attachment; filename=\"yard.dxf\"");
    let told = page.get("/job/yard.job/export/job.kml");
    assert!(told.status == 422 && told.text().contains("nullwalk job anchor"), "{told:?}");
    // A refused station shows no figure, whatever the job holds of it.
    let refused = pages.iter().find(|(path, _)| path.ends_with("/station/4")).unwrap().1.text();
    assert!(
        refused.contains("Refuse")
            && refused.contains("Not stated")
            && !refused.contains("0.96 to 1.05")
            && !refused.contains("best 1.00"),
        "{refused}"
    );
    // Where "nothing" is shown, that it proves nothing is too.
    Job::create(&folder.path().join("empty.job"), Settings::default()).unwrap();
    assert!(page.get("/job/empty.job").text().contains("does not mean that nothing is there"));
}

#[test]
fn words_stay_words() {
    let folder = folder();
    let name = "a <b> \"c\" %2f & ä';.job";
    job(&folder.path().join(name), EVIL);
    let page = Page::of(folder.path(), &["."]);
    // The first pages of each kind are enough.
    let pages = every_page(&page, |link| link.contains("/station/") && !link.ends_with("/station/3"));
    assert!(pages.len() > 8);
    for (path, answer) in &pages {
        let text = answer.text();
        if !answer.header("content-type").unwrap().starts_with("text/html") {
            continue;
        }
        assert!(
            !text.contains("<script") && !text.contains("<img") && !text.contains("a <b>"),
            "{path}: {text}"
        );
        // As many tags open as close, so that none was opened by words.
        assert_eq!(text.matches("</svg>").count(), text.matches("<svg").count(), "{path}");
        // A sheet breaks long words into lines.
        assert!(
            path.contains("/sheet")
                || text.matches("onerror").count() == text.matches("&lt;img src=x onerror").count(),
            "{path}"
        );
    }
    let dxf = pages.iter().find(|(path, _)| path.ends_with(".dxf")).unwrap();
    let attached = dxf.1.header("content-disposition").unwrap();
    assert!(attached.chars().all(|c| c.is_ascii_alphanumeric() || "-_.;= \"".contains(c)), "{attached}");
    assert_eq!(attached.matches('"').count(), 2);
    // What a visitor enters is words, too, and what is wrong with it is told without it running.
    let home = format!("/job/{}", coded(name));
    let key = page.key(&home);
    assert_eq!(page.form(&format!("{home}/note"), &[("key", &key), ("text", EVIL)]).status, 303);
    assert!(!page.get(&home).text().contains("<script"));
    let odd = page.upload(&coded(name), &[("key", &key), ("name", "walk")], &[("x<script>.toml", b"")]);
    assert!(odd.status == 415 && !odd.text().contains("<script"), "{odd:?}");
}

#[test]
fn nothing_but_jobs_can_be_asked_for() {
    let folder = folder();
    job(&folder.path().join("yard.job"), "yard");
    fs::write(folder.path().join("secret.txt"), "secret").unwrap();
    let inside = folder.path().join("inside");
    fs::create_dir(&inside).unwrap();
    job(&inside.join("deep.job"), "deep");
    #[cfg(unix)]
    std::os::unix::fs::symlink(inside.join("deep.job"), folder.path().join("link.job")).unwrap();
    let page = Page::of(folder.path(), &["."]);
    let listed = page.get("/").text();
    assert!(
        listed.contains("yard.job")
            && !listed.contains("deep")
            && !listed.contains("link.job")
            && !listed.contains("secret")
    );
    for path in [
        "/job/secret.txt",
        "/job/link.job",
        "/job/deep.job",
        "/job/inside%2fdeep.job",
        "/job/..%2f..%2fetc%2fpasswd",
        "/job/../secret.txt",
        "/job/%2e%2e/secret.txt",
        "/../../etc/passwd",
        "/job/yard.job/../../secret.txt",
        "//etc/passwd",
        "/job/yard.job%00",
        "/job/",
        "/job",
        "/job/yard.job/run/1",
        "/job/yard.job/run/x",
        "/job/yard.job/station/2",
        "/job/yard.job/station/999999",
        "/job/yard.job/station/-1",
        "/job/yard.job/run/2/sheet/x",
        "/style.css/..",
        "/job/yard.job/export/job.exe",
        "/job/yard.job/export/..%2fyard.job",
        "/job/yard.job/station/99999999999999999999",
        "/job/%ff%fe",
        "/%",
        "/job/yard.job/export/",
    ] {
        let answer = page.get(path);
        assert!((400..500).contains(&answer.status), "{path}: {}", answer.status);
        assert!(!answer.text().contains("secret") || path.contains("secret"), "{path}");
        assert!(!answer.text().contains("root:"), "{path}");
    }
    // What is no HTTP at all is answered in kind, or not at all, and does no harm.
    for bytes in [
        &b"\0\0\0\0"[..],
        b"GET\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        &[b'A'; 100_000],
    ] {
        let mut stream = page.connect();
        let _ = stream.write_all(bytes).and_then(|()| stream.shutdown(std::net::Shutdown::Write));
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        assert!(
            answer.is_empty() || answer.starts_with(b"HTTP/1.1 4"),
            "{:?}",
            String::from_utf8_lossy(&answer)
        );
    }
    assert_eq!(page.get("/job/yard.job?page=99999999999999999999").status, 400);
    assert_eq!(page.get("/job/yard.job?page=9999").status, 200);
    assert_eq!(
        page.send(format!("DELETE /job/yard.job HTTP/1.1\r\nHost: {}\r\n\r\n", page.address).as_bytes())
            .status,
        405
    );
}

#[test]
fn only_our_own_name_and_our_own_forms_are_answered() {
    let folder = folder();
    let path = folder.path().join("yard.job");
    job(&path, "yard");
    let page = Page::of(folder.path(), &["yard.job"]);
    let entries = || Job::open(&path).unwrap().history().unwrap().len();
    let before = entries();
    for host in
        ["example.org", "example.org:80", &format!("evil.example.org:{}", page.port()), "127.0.0.1:1", ""]
    {
        let answer = page.send(format!("GET / HTTP/1.1\r\nHost: {host}\r\n\r\n").as_bytes());
        assert_eq!(answer.status, 421, "{host}");
        assert!(!answer.text().contains("yard"), "{host}");
    }
    assert_eq!(page.send(b"GET / HTTP/1.1\r\n\r\n").status, 421);
    let local = page.send(format!("GET / HTTP/1.1\r\nHost: localhost:{}\r\n\r\n", page.port()).as_bytes());
    assert_eq!(local.status, 200);
    let key = page.key("/job/yard.job");
    let note = "/job/yard.job/note";
    let words = [("key", &*key), ("text", "words")];
    for headers in ["Origin: http://example.org\r\n", "Origin: null\r\n", "Sec-Fetch-Site: cross-site\r\n"]
    {
        assert_eq!(page.form_with(note, headers, &words).status, 403, "{headers}");
    }
    for key in ["", "x", &key[1..], &key.to_uppercase()] {
        assert_eq!(page.form(note, &[("key", key), ("text", "words")]).status, 403, "{key}");
    }
    assert_eq!(page.form(note, &[("text", "words")]).status, 422);
    assert_eq!(page.form(note, &[("key", &key), ("text", "  ")]).status, 422);
    assert_eq!(page.form(note, &[("key", &key), ("text", &"x".repeat(4001))]).status, 422);
    assert_eq!(page.form(note, &[("key", &key), ("text", &"x".repeat(70_000))]).status, 413);
    assert_eq!(page.form(note, &[("key", &key), ("text", "words"), ("about", "777")]).status, 422);
    let wrong = page.post(note, "application/json", "", b"{}");
    assert_eq!(wrong.status, 415, "{wrong:?}");
    assert_eq!(entries(), before, "what was refused was not entered");
    let ours = format!("Origin: http://{}\r\nSec-Fetch-Site: same-origin\r\n", page.address);
    let taken = page.form_with(
        note,
        &ours,
        &[("key", &key), ("text", "two\r\nlines"), ("about", "3"), ("by", "me")],
    );
    assert_eq!((taken.status, taken.header("location")), (303, Some("/job/yard.job/station/3#notes")));
    let state = Job::open(&path).unwrap();
    assert!(state.state().notes().any(|(_, n)| n.text == "two\nlines" && n.about == Some(3)));
    assert_eq!(state.history().unwrap().last().unwrap().by, "me");
}

#[test]
fn a_correction_takes_a_reason_and_stays_in_the_history() {
    let folder = folder();
    let path = folder.path().join("yard.job");
    job(&path, "yard");
    let page = Page::of(folder.path(), &["yard.job"]);
    let here = "/job/yard.job/station/5";
    let key = page.key(here);
    let correct = |fields: &[(&str, &str)]| {
        page.form(&format!("{here}/correct"), &[&[("key", &*key)], fields].concat())
    };
    assert_eq!(correct(&[("name", "by the oak"), ("reason", " ")]).status, 422);
    assert_eq!(correct(&[("name", "yard"), ("reason", "none")]).status, 422, "nothing was changed");
    assert_eq!(
        correct(&[("name", "by the oak"), ("trouble", "yes"), ("reason", "seen again")]).status,
        303
    );
    let found = Job::open(&path).unwrap();
    let Some(Content::Station(station)) = found.state().get(5) else { panic!("a station") };
    assert_eq!((&*station.found.name, station.found.trouble_spot), ("by the oak", true));
    let shown = page.get(here).text();
    assert!(shown.contains("by the oak") && shown.contains("seen again") && shown.contains("Trouble spot"));
    assert_eq!(
        page.form("/job/yard.job/station/2/correct", &[("key", &key), ("name", "x"), ("reason", "y")])
            .status,
        404
    );
}

#[test]
fn with_a_token_nobody_gets_in_without_it() {
    let folder = folder();
    job(&folder.path().join("yard.job"), "the yard");
    let page = Page::of(folder.path(), &["yard.job", "--token"]);
    let token = page.token.clone().unwrap();
    assert!(token.chars().filter(|c| c.is_ascii_alphanumeric()).count() >= 24, "{token}");
    for path in ["/", "/job/yard.job", "/job/yard.job/export/job.csv", "/job/nothing"] {
        let answer = page.get(path);
        assert_eq!((answer.status, answer.header("location")), (303, Some("/enter")), "{path}");
        assert!(!answer.text().contains("yard"));
    }
    assert_eq!(page.form("/job/yard.job/note", &[("key", "x"), ("text", "words")]).status, 401);
    assert!(page.get("/enter").text().contains("type=\"password\""));
    for wrong in ["", "x", &token[1..], "nullwalk"] {
        let answer = page.form("/enter", &[("token", wrong)]);
        assert!(answer.status == 401 && answer.header("set-cookie").is_none(), "{wrong}");
    }
    let let_in = page.form("/enter", &[("token", &token)]);
    let cookie = let_in.header("set-cookie").unwrap().to_owned();
    assert!(
        let_in.status == 303 && cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
    assert!(!cookie.contains(&token), "the token itself is not left in the browser");
    let cookie = format!("Cookie: {}\r\n", cookie.split(';').next().unwrap());
    assert_eq!(page.get_with("/job/yard.job", &cookie).status, 200);
    assert_eq!(page.get_with("/job/yard.job", "Cookie: nullwalk=x\r\n").status, 303);
    let other = Page::of(folder.path(), &["yard.job", "--token"]);
    assert_ne!(other.token, page.token);
    assert_eq!(other.get_with("/job/yard.job", &cookie).status, 303);
}

fn refused(folder: &Path, arguments: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_nullwalk"));
    let Output { status, stdout, stderr } =
        command.arg("serve").args(arguments).current_dir(folder).output().unwrap();
    let said = String::from_utf8_lossy(&stderr).into_owned();
    assert!(
        status.code() == Some(1) && stdout.is_empty() && said.starts_with("nullwalk: "),
        "{arguments:?}: {said}"
    );
    assert_eq!(said.trim_end().lines().count(), 1, "{said}");
    said
}

#[test]
fn other_machines_are_let_in_only_with_a_token() {
    let folder = folder();
    job(&folder.path().join("yard.job"), "yard");
    for address in ["0.0.0.0", "::", "192.0.2.1", "10.0.0.1"] {
        let said = refused(folder.path(), &["yard.job", "--listen", address, "--port", "0"]);
        assert!(
            said.contains("other machines could read and change") && said.contains("--token"),
            "{said}"
        );
    }
    assert!(refused(folder.path(), &["nothing.job"]).contains("nothing.job: is not there"));
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    assert!(refused(folder.path(), &["yard.job", "--port", &port]).contains("choose another --port"));
    assert!(
        refused(folder.path(), &["yard.job", "--listen", "192.0.2.1", "--token"])
            .contains("an address of this machine")
    );
    let page = Page::of(folder.path(), &["yard.job", "--listen", "0.0.0.0", "--token"]);
    let host = |name: &str| {
        page.send(format!("GET / HTTP/1.1\r\nHost: {name}:{}\r\n\r\n", page.port()).as_bytes()).status
    };
    assert_eq!((host("192.0.2.7"), host("localhost"), host("example.org")), (303, 303, 421));
    // Without a word it is this machine alone.
    assert!(Page::of(folder.path(), &["yard.job"]).address.starts_with("127.0.0.1:"));
}

#[test]
fn many_visitors_another_program_and_those_who_are_slow() {
    let folder = folder();
    let path = folder.path().join("yard.job");
    job(&path, "yard");
    let page = Page::of(folder.path(), &["yard.job"]);
    // More than there are seats: some say nothing, some half of what they want, some not all of a form.
    let half = format!(
        "POST /job/yard.job/note HTTP/1.1\r\nHost: {}\r\nContent-Length: 99\r\n\r\nkey=",
        page.address
    );
    let slow: Vec<_> = (0..400)
        .map(|n| {
            let mut stream = page.connect();
            let _ = stream.write_all(&half.as_bytes()[..half.len() * (n % 3) / 2]);
            stream
        })
        .collect();
    let begun = Instant::now();
    std::thread::scope(|scope| {
        let visits: Vec<_> = (0..4)
            .map(|n| {
                let page = &page;
                scope.spawn(move || {
                    (0..12)
                        .map(|k| {
                            page.get(
                                ["/job/yard.job", "/job/yard.job/run/2", "/job/yard.job/map"][(n + k) % 3],
                            )
                            .status
                        })
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        let mut job = Job::open(&path).unwrap();
        for n in 0..10 {
            job.append(&[Draft::New(Content::Note(Note {
                text: format!("from outside {n}"),
                about: None,
            }))])
            .unwrap();
        }
        for visit in visits {
            assert_eq!(visit.join().unwrap(), [200; 12]);
        }
    });
    assert!(begun.elapsed() < Duration::from_secs(8), "{:?}", begun.elapsed());
    assert!(page.get("/job/yard.job").text().contains("from outside 9"), "what others enter is seen");
    drop(slow);
    // And what is entered here while others do, is entered once and is whole.
    let key = page.key("/job/yard.job");
    let mut job = Job::open(&path).unwrap();
    let before = job.state().notes().count();
    std::thread::scope(|scope| {
        let sent = scope.spawn(|| {
            (0..10)
                .map(|_| {
                    page.form("/job/yard.job/note", &[("key", &key), ("text", "from the page")]).status
                })
                .collect::<Vec<_>>()
        });
        for _ in 0..10 {
            job.append(&[Draft::New(Content::Note(Note { text: "beside".into(), about: None }))]).unwrap();
        }
        assert_eq!(sent.join().unwrap(), [303; 10]);
    });
    assert_eq!(Job::open(&path).unwrap().state().notes().count(), before + 20);
}

#[test]
fn a_job_that_is_damaged_foreign_or_gone_is_told_and_the_others_go_on() {
    let folder = folder();
    job(&folder.path().join("good.job"), "good");
    fs::write(folder.path().join("short.job"), "x").unwrap();
    fs::write(folder.path().join("text.job"), "x".repeat(5000)).unwrap();
    job(&folder.path().join("torn.job"), "torn");
    let mut bytes = fs::read(folder.path().join("torn.job")).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..middle + 2000].fill(0x55);
    fs::write(folder.path().join("torn.job"), bytes).unwrap();
    let page = Page::of(folder.path(), &["."]);
    for (name, words) in [
        ("short.job", "too short for a job"),
        ("text.job", "is not a job"),
        ("torn.job", "nullwalk job rescue"),
    ] {
        for path in
            [format!("/job/{name}"), format!("/job/{name}/run/2"), format!("/job/{name}/export/job.csv")]
        {
            let answer = page.get(&path);
            assert!(answer.status == 500 && answer.text().contains(words), "{path}: {}", answer.text());
        }
    }
    assert_eq!((page.get("/").status, page.get("/job/good.job").status), (200, 200));
    // Another file in its place is another job.
    job(&folder.path().join("new"), "a better one");
    fs::rename(folder.path().join("new"), folder.path().join("good.job")).unwrap();
    assert!(page.get("/job/good.job").text().contains("a better one"));
    fs::remove_file(folder.path().join("good.job")).unwrap();
    assert_eq!(page.get("/job/good.job").status, 404);
    assert!(!page.get("/").text().contains("good.job"));
    // A job that comes is listed.
    job(&folder.path().join("late.job"), "late");
    assert_eq!(page.get("/job/late.job").status, 200);
    assert!(page.get("/").text().contains("late.job"));
}

#[cfg(unix)]
#[test]
fn it_ends_when_told_to() {
    let folder = folder();
    job(&folder.path().join("yard.job"), "yard");
    for signal in ["-INT", "-TERM"] {
        let mut page = Page::of(folder.path(), &["yard.job"]);
        assert_eq!(page.get("/").status, 200);
        // Someone who stays does not keep it.
        let _idle = page.connect();
        let begun = Instant::now();
        assert!(
            Command::new("kill").args([signal, &page.child.id().to_string()]).status().unwrap().success()
        );
        assert_eq!(page.child.wait().unwrap().code(), Some(0));
        assert!(begun.elapsed() < Duration::from_secs(4), "{:?}", begun.elapsed());
    }
}
