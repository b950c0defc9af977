//! The job: what was entered stays, whatever happens; what cannot be is refused in words.

mod invented_run;
mod station_book;

use std::fs;
use std::path::{Path, PathBuf};

use invented_run::{invented_run, refused_run};
use jiff::Timestamp;
use nullwalk::book::{Estimate, Measured, MethodResult, Run, SitePosition, Station, Verdict};
use nullwalk::job::{
    Anchor, Content, Datum, Draft, EntryId, Gnss, Heights, Job, Note, Place, Point, RunCard, Settings,
    StationEntry, Tie, bring_in, keep_run,
};
use proptest::prelude::*;
use serde_json::json;
use station_book::station_book;
use tempfile::TempDir;

struct Desk(TempDir);

impl Desk {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// A job with one run, whose entry is number 2.
    fn job(&self) -> Job {
        let mut job = Job::create(&self.path("yard.job"), Settings::default()).unwrap();
        enter(&mut job, Content::Run(RunCard { name: "drain".into(), ..RunCard::default() }));
        job
    }

    fn again(&self) -> Job {
        Job::open(&self.path("yard.job")).unwrap()
    }
}

const RUN: EntryId = 2;

#[track_caller]
fn enter(job: &mut Job, content: Content) -> EntryId {
    job.append(&[Draft::New(content)]).unwrap().start
}

fn station(number: u32, place: Place) -> Content {
    let found = Station { number, verdict: Verdict::Agree, ..Station::default() };
    Content::Station(Box::new(StationEntry { run: RUN, found, place, ..StationEntry::default() }))
}

fn grid(east_m: f64, north_m: f64) -> Place {
    Place::Grid { east_m, north_m, sigma_m: 0.02 }
}

fn gnss(latitude_deg: f64, longitude_deg: f64, datum: Datum) -> Gnss {
    let quality = "RTK fixed".to_owned();
    let heights = Heights::Ellipsoid;
    Gnss { latitude_deg, longitude_deg, height_m: Some(30.0), sigma_m: 0.015, quality, datum, heights }
}

/// The message, which must be one line, without the folder's own path.
#[track_caller]
fn complaint<T: std::fmt::Debug, E: std::fmt::Display>(desk: &Desk, result: Result<T, E>) -> String {
    let message = result.expect_err("this cannot be").to_string();
    assert!(!message.contains('\n'), "{message}");
    message.replace(&format!("{}/", desk.0.path().display()), "")
}

#[test]
fn a_kept_run_comes_back_as_it_was() {
    let desk = Desk::new();
    let path = desk.path("kept.job");
    for run in [invented_run(), refused_run()] {
        let settings = Settings { site_note: run.site_note.clone(), ..Settings::default() };
        let mut job = Job::open_or_create(&path, settings).unwrap();
        let name = keep_run(&mut job, &run, None).unwrap();
        let job = Job::open(&path).unwrap();
        let id = job.state().run_named(&name).unwrap();
        let back = job.state().run(id, &job.state().places().unwrap()).unwrap();
        assert_eq!(back, Run { title: name.clone(), ..run });
    }
    // Both had the same title; no run hides another.
    let names: Vec<_> = Job::open(&path).unwrap().state().runs().map(|(_, r)| r.name.clone()).collect();
    assert_eq!(names, ["Yard drain, back wall to street", "Yard drain, back wall to street (2)"]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn every_figure_and_word_survives_to_the_last_bit(
        name in any::<String>(), east_m in -1e6_f64..1e6, north_m in -1e6_f64..1e6, sigma_m in 0.0_f64..1e3,
        low in 0.0_f64..10.0, width in 0.0_f64..10.0, number: u32, pick in 0_usize..3,
    ) {
        let estimate = Estimate { value: low + width / 2.0, sigma: width, low95: low, high95: low + width };
        let found = Station {
            number,
            name: name.clone(),
            position: Some(SitePosition { east_m, north_m, sigma_m }),
            depth_to_source_m: Some(estimate),
            methods: vec![MethodResult { method: name.clone(), estimate: None, refused: Some(name) }],
            verdict: [Verdict::Agree, Verdict::Doubt, Verdict::Refuse][pick],
            ..Station::default()
        };
        let entry = StationEntry { run: RUN, found, ..StationEntry::default() };
        let desk = Desk::new();
        let id = enter(&mut desk.job(), Content::Station(Box::new(entry.clone())));
        let again = desk.again();
        prop_assert_eq!(again.state().get(id), Some(&Content::Station(Box::new(entry))));
    }

    #[test]
    fn no_file_content_makes_the_reader_panic(bytes in any::<Vec<u8>>(), at in 0_usize..30_000, cut in 0_usize..30_000) {
        let desk = Desk::new();
        fs::write(desk.path("any.job"), &bytes).unwrap();
        prop_assert!(Job::open(&desk.path("any.job")).is_err());
        drop(desk.job());
        let good = fs::read(desk.path("yard.job")).unwrap();
        // Bytes of a good job overwritten anywhere, and a good job cut anywhere.
        let mut spoilt = good.clone();
        for (byte, new) in spoilt.iter_mut().skip(at % good.len()).zip(&bytes) {
            *byte = *new;
        }
        for spoilt in [&spoilt[..], &good[..cut % good.len()]] {
            fs::write(desk.path("spoilt.job"), spoilt).unwrap();
            if let Ok(job) = Job::open(&desk.path("spoilt.job")) {
                let _ = job.history();
                let _ = job.state().places();
            }
        }
    }
}

#[test]
fn a_correction_has_its_time_and_reason_and_what_was_stays() {
    let desk = Desk::new();
    let mut job = desk.job();
    job.by = "the one with the tape".into();
    let id = enter(&mut job, station(1, grid(1.0, 2.0)));
    let patch =
        json!({ "place": { "by": "grid", "east_m": 1, "north_m": 2.5, "sigma_m": 0.02 }, "name": "gate" });
    let reason = "read the tape wrong".to_owned();
    let change = job.append(&[Draft::Correction { of: id, reason, patch }]).unwrap().start;
    let again = desk.again();
    let (_, now) = again.state().stations().next().unwrap();
    assert_eq!((&now.place, now.found.name.as_str()), (&grid(1.0, 2.5), "gate"));
    let history = again.history().unwrap();
    let entry = history.iter().find(|e| e.id == change).unwrap();
    assert_eq!((entry.of, entry.reason.as_str()), (Some(id), "read the tape wrong"));
    assert_eq!(entry.by, "the one with the tape");
    assert!(entry.at.parse::<Timestamp>().is_ok(), "{}", entry.at);
    assert!(history.iter().any(|e| e.id == id && e.body.contains("\"north_m\":2.0")));

    let correct = |job: &mut Job, of, reason: &str, patch| {
        let reason = reason.to_owned();
        job.append(&[Draft::Correction { of, reason, patch }])
    };
    let none = complaint(&desk, correct(&mut job, id, " ", json!({ "name": "x" })));
    assert_eq!(none, format!("yard.job, entry {id}: a change needs a reason; give one"));
    let misspelt = complaint(&desk, correct(&mut job, id, "why not", json!({ "nmae": "x" })));
    assert_eq!(
        misspelt,
        format!("yard.job, entry {id}: a station has no such field as in {{\"nmae\":\"x\"}}")
    );
    let nowhere = complaint(&desk, correct(&mut job, 99, "why not", json!({ "name": "x" })));
    assert!(nowhere.starts_with("yard.job, entry 99: is not there"), "{nowhere}");
    let unfit = complaint(&desk, correct(&mut job, id, "why not", json!({ "number": "three" })));
    assert!(unfit.contains("cannot be so: invalid type"), "{unfit}");
    assert_eq!(desk.again().history().unwrap().len(), history.len());
}

#[test]
fn the_file_itself_refuses_to_forget() {
    let desk = Desk::new();
    drop(desk.job());
    let db = rusqlite::Connection::open(desk.path("yard.job")).unwrap();
    for (order, word) in
        [("UPDATE entry SET body = '{}'", "add a correction"), ("DELETE FROM entry", "add a withdrawal")]
    {
        let refused = db.execute(order, []).unwrap_err().to_string();
        assert!(refused.contains(word), "{refused}");
    }
}

#[test]
fn a_withdrawn_station_counts_no_more_and_what_others_need_stays() {
    let desk = Desk::new();
    let mut job = desk.job();
    let id = enter(&mut job, station(1, grid(0.0, 0.0)));
    let withdraw =
        |job: &mut Job, of| job.append(&[Draft::Withdrawal { of, reason: "never there".into() }]);
    let needed = complaint(&desk, withdraw(&mut job, RUN));
    assert!(
        needed.contains(&format!("is needed by entry {id}, a station; withdraw that first")),
        "{needed}"
    );
    withdraw(&mut job, id).unwrap();
    withdraw(&mut job, RUN).unwrap();
    let job = desk.again();
    assert_eq!((job.state().stations().count(), job.state().runs().count()), (0, 0));
    assert_eq!(job.history().unwrap().len(), 5);
}

#[test]
fn two_programs_may_have_one_job_open() {
    let desk = Desk::new();
    let mut one = desk.job();
    let mut other = desk.again();
    for n in 0..20 {
        enter(&mut one, station(2 * n, grid(f64::from(n), 0.0)));
        enter(&mut other, station(2 * n + 1, grid(f64::from(n), 1.0)));
    }
    one.refresh().unwrap();
    assert_eq!((one.state().stations().count(), one.state()), (40, other.state()));

    // Many at once, each in a thread of its own.
    let path = desk.path("yard.job");
    std::thread::scope(|scope| {
        for k in 0..4 {
            let path = &path;
            scope.spawn(move || {
                let mut job = Job::open(path).unwrap();
                for n in 0..10 {
                    enter(&mut job, station(100 * (k + 1) + n, grid(0.0, 0.0)));
                }
            });
        }
    });
    assert_eq!(desk.again().state().stations().count(), 80);
}

#[test]
fn all_drafts_are_entered_or_none() {
    let desk = Desk::new();
    let mut job = desk.job();
    let before = job.state().clone();
    let good = Draft::New(station(1, grid(0.0, 0.0)));
    let bad = Draft::New(station(2, grid(f64::NAN, 0.0)));
    let message = complaint(&desk, job.append(&[good.clone(), bad]));
    assert!(message.starts_with("yard.job, station 2: must lie within 100 km"), "{message}");
    assert_eq!((job.state(), desk.again().state()), (&before, &before));
    // It goes on as if nothing had been.
    job.append(&[good]).unwrap();
    assert_eq!(desk.again().state(), job.state());
}

#[test]
fn foreign_damaged_and_later_files_are_told_apart() {
    let desk = Desk::new();
    drop(desk.job());
    let good = fs::read(desk.path("yard.job")).unwrap();
    let open = |name: &str, bytes: &[u8]| {
        fs::write(desk.path(name), bytes).unwrap();
        complaint(&desk, Job::open(&desk.path(name)))
    };
    assert_eq!(
        open("photo.job", &[0x5a; 9000]),
        "photo.job: is not a job; give a file that `nullwalk job new` or `--job` made"
    );
    assert!(open("empty.job", b"").starts_with("empty.job: is too short for a job"));
    assert!(open("head.job", &good[..40]).contains("head.job: "));
    assert!(open("half.job", &good[..good.len() / 2]).contains("the file is damaged or was changed"));
    assert_eq!(
        complaint(&desk, Job::open(&desk.path("none.job"))),
        "none.job: no such job; begin one with `nullwalk job new`"
    );
    fs::create_dir(desk.path("folder")).unwrap();
    assert!(complaint(&desk, Job::open(&desk.path("folder"))).contains("is a folder"));
    assert!(
        complaint(&desk, Job::create(&desk.path("folder"), Settings::default()))
            .contains("is there already")
    );
    assert!(
        complaint(&desk, Job::create(&desk.path("yard.job"), Settings::default()))
            .contains("left as it is")
    );
    assert!(
        complaint(&desk, Job::create(&desk.path("no/where.job"), Settings::default()))
            .contains("cannot be made")
    );

    let pragma = |name: &str, order: &str| {
        fs::write(desk.path(name), &good).unwrap();
        rusqlite::Connection::open(desk.path(name)).unwrap().execute_batch(order).unwrap();
        complaint(&desk, Job::open(&desk.path(name)))
    };
    assert!(pragma("other.job", "PRAGMA application_id = 7").contains("database of another program"));
    let later = pragma("later.job", "PRAGMA user_version = 99");
    assert!(later.contains("is of version 99") && later.contains("use a newer nullwalk"), "{later}");
    // An entry taken out behind our back, and one that says what cannot be.
    let hole = "PRAGMA foreign_keys = OFF; DROP TRIGGER entry_is_not_taken_away; INSERT INTO entry SELECT 3, at, by, 'note', NULL, '', \
                '{\"text\":\"x\"}' FROM entry WHERE id = 1; DELETE FROM entry WHERE id = 2";
    let message = pragma("hole.job", hole);
    assert!(message.starts_with("hole.job: entry 2 is missing; the file is damaged"), "{message}");
    let tail =
        "PRAGMA foreign_keys = OFF; DROP TRIGGER entry_is_not_taken_away; DELETE FROM entry WHERE id = 2";
    assert!(pragma("tail.job", tail).contains("the last entries are missing"));
    let changed =
        "DROP TRIGGER entry_is_not_changed; UPDATE entry SET body = '{\"name\":\"sewer\"}' WHERE id = 2";
    assert!(pragma("changed.job", changed).starts_with("changed.job: entry 2 is not as it was written"));
}

#[test]
fn a_damaged_job_gives_back_what_is_whole_in_it() {
    let desk = Desk::new();
    let mut job = desk.job();
    for n in 1..=40 {
        let name = format!("{n:-<300}");
        enter(&mut job, Content::Run(RunCard { name, ..RunCard::default() }));
        enter(&mut job, station(n, grid(f64::from(n), 0.0)));
    }
    drop(job);
    let mut bytes = fs::read(desk.path("yard.job")).unwrap();
    let at = bytes.windows(8).rposition(|w| w == b"20------").unwrap();
    bytes[at + 8..at + 40].fill(b'x');
    fs::write(desk.path("yard.job"), bytes).unwrap();
    let message = complaint(&desk, Job::open(&desk.path("yard.job")));
    assert!(
        message.contains("entry 41 is not as it was written") && message.contains("job rescue"),
        "{message}"
    );
    let (saved, lost) = Job::rescue(&desk.path("yard.job"), &desk.path("saved.job")).unwrap();
    assert_eq!((saved, lost), (81, vec![41]));
    let saved = Job::open(&desk.path("saved.job")).unwrap();
    assert_eq!(saved.state().stations().count(), 40);
    assert_eq!(saved.notices(), ["entry 41 was lost when this job was rescued"]);
    let again = complaint(&desk, Job::rescue(&desk.path("yard.job"), &desk.path("saved.job")));
    assert!(again.contains("is there already"), "{again}");
}

#[test]
fn odd_names_are_names_like_any_other() {
    for name in
        [":memory:", "file:x?mode=memory", "a'b\"c`$(d)", "дренаж 排水 🕳", "-x", "line\nbreak", "%00"]
    {
        let desk = Desk::new();
        let mut job =
            Job::create(&desk.path(name), Settings { title: name.into(), ..Settings::default() }).unwrap();
        enter(&mut job, Content::Run(RunCard { name: name.into(), ..RunCard::default() }));
        assert_eq!(Job::open(&desk.path(name)).unwrap().state().run_named(name), Some(RUN));
    }
}

#[test]
fn a_clock_that_jumps_is_noticed_and_loses_nothing() {
    let desk = Desk::new();
    let mut job = desk.job();
    job.clock = || "2031-01-01T00:00:00Z".parse().unwrap();
    enter(&mut job, station(1, grid(0.0, 0.0)));
    job.clock = || "1970-01-01T00:00:00Z".parse().unwrap();
    enter(&mut job, station(2, grid(1.0, 0.0)));
    for job in [job, desk.again()] {
        let notices = job.notices().join("; ");
        assert!(notices.contains("entry 4 was made at 1970-01-01T00:00:00.000Z"), "{notices}");
        assert_eq!((job.state().stations().count(), job.notices().len()), (2, 1));
    }
}

#[test]
fn datums_and_heights_are_never_mixed() {
    let desk = Desk::new();
    let settings =
        Settings { datum: Some(Datum::Nad83), heights: Some(Heights::Ellipsoid), ..Settings::default() };
    let mut job = Job::create(&desk.path("yard.job"), settings).unwrap();
    enter(&mut job, Content::Run(RunCard { name: "drain".into(), ..RunCard::default() }));
    enter(&mut job, station(1, Place::Gnss(gnss(41.0, -74.0, Datum::Nad83))));
    let wgs = complaint(
        &desk,
        job.append(&[Draft::New(station(2, Place::Gnss(gnss(41.0, -74.0, Datum::Wgs84))))]),
    );
    assert_eq!(
        wgs,
        "yard.job, station 2: is given in WGS 84, the job is in NAD83(2011): these differ by up to metres and are not \
         mixed; transform the place to NAD83(2011) first"
    );
    let geoid = Gnss { heights: Heights::Geoid("GEOID18".into()), ..gnss(41.0, -74.0, Datum::Nad83) };
    let message = complaint(&desk, job.append(&[Draft::New(station(2, Place::Gnss(geoid.clone())))]));
    assert!(
        message.contains("its height counts from the geoid GEOID18, those of the job from the ellipsoid"),
        "{message}"
    );
    let patch = json!({ "datum": "WGS 84" });
    let turned =
        complaint(&desk, job.append(&[Draft::Correction { of: 1, reason: "other".into(), patch }]));
    assert!(turned.contains("station 1: is given in NAD83(2011), the job is in WGS 84"), "{turned}");
    // Without a height there is none to mix.
    enter(&mut job, station(2, Place::Gnss(Gnss { height_m: None, ..geoid })));

    // On the grid and by satellites: only with an anchor.
    enter(&mut job, station(3, grid(4.0, 0.0)));
    let message = job.state().places().unwrap_err();
    assert!(
        message.place == "station 1" && message.what.contains("station 3 counts from the site's grid"),
        "{message:?}"
    );
    let anchor = Anchor {
        latitude_deg: 41.0,
        longitude_deg: -74.0,
        ellipsoid_height_m: 30.0,
        sigma_m: 0.02,
        bearing_deg: 0.0,
        bearing_sigma_deg: 0.1,
    };
    let patch = json!({ "anchor": anchor });
    job.append(&[Draft::Correction { of: 1, reason: "the gatepost was measured".into(), patch }]).unwrap();
    let places = job.state().places().unwrap();
    let (id, _) = job.state().stations().next().unwrap();
    assert!(places.of(id).unwrap().at.length() < 1e-6);
}

#[test]
fn places_and_figures_that_cannot_be_are_refused() {
    let desk = Desk::new();
    let settings = Settings { datum: Some(Datum::Wgs84), ..Settings::default() };
    let mut job = Job::create(&desk.path("yard.job"), settings).unwrap();
    enter(&mut job, Content::Run(RunCard { name: "drain".into(), ..RunCard::default() }));
    let mut refused = |content: Content, word: &str| {
        let message = complaint(&desk, job.append(&[Draft::New(content)]));
        assert!(message.starts_with("yard.job, ") && message.contains(word), "{word}: {message}");
    };
    refused(station(1, grid(4.5e5, 4.6e6)), "are these coordinates of a map?");
    refused(station(1, grid(f64::INFINITY, 0.0)), "within 100 km");
    for (lat, lon) in [(91.0, 0.0), (0.0, 181.0), (f64::NAN, 0.0), (-90.0, 0.0)] {
        refused(station(1, Place::Gnss(gnss(lat, lon, Datum::Wgs84))), "degrees, not minutes");
    }
    let mut unsure = gnss(1.0, 1.0, Datum::Wgs84);
    unsure.sigma_m = 0.0;
    refused(station(1, Place::Gnss(unsure)), "needs the receiver's uncertainty");
    let deep = Estimate { value: 3.0, sigma: 0.1, low95: 4.0, high95: 5.0 };
    let found = Station { number: 1, depth_to_source_m: Some(deep), ..Station::default() };
    let entry = StationEntry { run: RUN, found, ..StationEntry::default() };
    refused(Content::Station(Box::new(entry.clone())), "station 1: depth_to_source_m must have");
    let astray = StationEntry { run: 77, found: Station::default(), ..StationEntry::default() };
    refused(Content::Station(Box::new(astray)), "belongs to no run that is there");
    let counter = StationEntry {
        found: Station::default(),
        counter_m: Some(Measured { value: f64::NAN, sigma: 0.1 }),
        ..entry
    };
    refused(Content::Station(Box::new(counter)), "counter_m must be");
    refused(
        Content::Run(RunCard { name: "drain".into(), ..RunCard::default() }),
        "there is a run of this name",
    );
    refused(Content::Run(RunCard::default()), "has no name");
    refused(Content::Point(Point { name: "A".into(), ..Point::default() }), "needs a place of its own");
    refused(
        Content::Tie(Tie { station: 1, point: 1, distance_m: 1.0, sigma_m: 0.01 }),
        "hangs on no station",
    );
    refused(Content::Note(Note { text: "?".into(), about: Some(44) }), "entry 44: is not there");
    refused(Content::Settings(Settings::default()), "are there already");
}

#[test]
fn ties_place_a_station_and_their_residuals_are_told() {
    let desk = Desk::new();
    let mut job = desk.job();
    let point = |name: &str, east, north| {
        Content::Point(Point { name: name.into(), description: String::new(), place: grid(east, north) })
    };
    let [a, b, c] =
        [point("A", 0.0, 0.0), point("B", 6.0, 0.0), point("C", 3.0, 12.0)].map(|p| enter(&mut job, p));
    let id = enter(&mut job, station(1, Place::Ties { side: None }));
    let tie = |job: &mut Job, point, distance_m| {
        enter(job, Content::Tie(Tie { station: id, point, distance_m, sigma_m: 0.01 }));
    };
    tie(&mut job, a, 5.0);
    tie(&mut job, b, 5.0);
    let why = job.state().places().unwrap().of(id).unwrap_err().to_string();
    assert!(why.contains("meet in two places") && why.contains("third tie"), "{why}");
    tie(&mut job, c, 8.0);
    let places = job.state().places().unwrap();
    let spot = places.of(id).unwrap();
    assert!(spot.at.distance(glam::DVec2::new(3.0, 4.0)) < 1e-6, "{spot:?}");
    let ties = places.ties_of(id).unwrap();
    assert!(ties.agree && ties.residuals_m.len() == 3 && places.notices.is_empty());
    // The points' own 2 cm count beside the tape's 1 cm.
    assert!(spot.cov.axes().0 > 0.012 && spot.cov.axes().0 < 0.03, "{spot:?}");
}

#[test]
fn a_book_of_an_earlier_version_is_taken_in_once() {
    let desk = Desk::new();
    let mut job = Job::create(&desk.path("yard.job"), Settings::default()).unwrap();
    let run = invented_run();
    let book = json!({ "format": "nullwalk-run", "version": 1, "run": run });
    fs::write(desk.path("book.json"), book.to_string()).unwrap();
    let found = bring_in(&mut job, &desk.path("book.json"), None, "").unwrap();
    assert_eq!((found.added, found.known), (4, 0));
    let again = complaint(&desk, bring_in(&mut job, &desk.path("book.json"), None, ""));
    assert!(again.contains("is in the job already") && again.contains("nothing was added"), "{again}");
    let job = desk.again();
    let id = job.state().run_named(&run.title).unwrap();
    let back = job.state().run(id, &job.state().places().unwrap()).unwrap();
    // What was said of the site belongs to that run; the job may have words of its own.
    let notes: Vec<_> = job.state().notes().map(|(_, n)| (n.text.as_str(), n.about)).collect();
    assert_eq!(notes, [(run.site_note.as_str(), Some(id))]);
    assert_eq!(back, Run { site_note: String::new(), ..run });
    let nothing = complaint(&desk, bring_in(&mut desk.again(), &desk.path("nothing.bin"), None, ""));
    assert!(nothing.contains("nothing.bin: cannot be opened"), "{nothing}");
}

#[test]
fn a_field_book_grows_and_is_taken_in_again_and_one_serial_number_is_no_two_instruments() {
    let desk = Desk::new();
    let mut job = Job::create(&desk.path("yard.job"), Settings::default()).unwrap();
    let mut import = |name: &str, book: Vec<u8>, instrument: &str| {
        fs::write(desk.path(name), book).unwrap();
        bring_in(&mut job, &desk.path(name), Some("drain"), instrument).unwrap()
    };
    let noon = import("noon.nwb", station_book(0..10, "mark"), "A7");
    assert_eq!((noon.added, noon.known, noon.notices.len()), (10, 0, 0));
    let evening = import("evening.nwb", station_book(0..14, "mark"), "A7");
    assert_eq!((evening.added, evening.known, evening.notices.len()), (4, 10, 0));
    // Other records under the same numbers and the same serial number: kept, and said.
    let other = import("other.nwb", station_book(0..3, "lid"), "A7");
    assert_eq!((other.added, other.known, other.notices.len()), (3, 0, 3));
    assert!(
        other.notices[0].contains("two instruments have the same serial number"),
        "{:?}",
        other.notices
    );
    // An instrument with a number of its own is nobody's double.
    assert_eq!(import("third.nwb", station_book(0..3, "post"), "B1").notices.len(), 0);
    assert_eq!(desk.again().state().stations().count(), 20);
    // Damaged in the middle: what is whole is taken in, and what is not is told.
    let mut torn = station_book(20..30, "mark");
    let middle = torn.len() / 2;
    torn[middle] ^= 0x55;
    let found = import("torn.nwb", torn, "C3");
    assert!((8..10).contains(&found.added) && !found.notices.is_empty(), "{found:?}");
}

#[test]
fn a_job_of_the_first_version_is_read_and_brought_up_to_date() {
    let first = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/jobs/version-1.job");
    let desk = Desk::new();
    fs::copy(first, desk.path("yard.job")).unwrap();
    let mut job = desk.again();
    let numbers: Vec<u32> = job.state().stations().map(|(_, s)| s.found.number).collect();
    assert_eq!(numbers, [1, 2]);
    let (_, two) = job.state().stations().nth(1).unwrap();
    assert_eq!((two.found.name.as_str(), &two.place), ("lid by the gate", &grid(4.0, 1.25)));
    let ids = job.state().runs().map(|(id, _)| id).collect::<Vec<_>>();
    let found = Station { number: 3, ..Station::default() };
    let entry = StationEntry { run: ids[0], found, place: grid(8.0, 2.0), ..StationEntry::default() };
    enter(&mut job, Content::Station(Box::new(entry)));
    assert_eq!(desk.again().state(), job.state());
}
