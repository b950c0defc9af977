//! A program that adds to a job, or writes maps of it, is killed at any moment: the job is whole, and nothing that was
//! said to be in it is missing.

mod station_book;

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use nullwalk::job::{Anchor, Content, Datum, Draft, Job, RunCard, Settings};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use station_book::station_book;

const KILLS: usize = 200;
const STATIONS_OF_A_BOOK: u32 = 40;

#[derive(Debug, Clone, Copy)]
enum Work {
    Import,
    Mark,
    Export,
}

struct Desk {
    folder: tempfile::TempDir,
    job: PathBuf,
}

impl Desk {
    fn command(&self, work: Work, round: u32) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_nullwalk"));
        command.current_dir(self.folder.path()).stdout(Stdio::null()).stderr(Stdio::null()).arg("job");
        let number = (100_000 + round).to_string();
        match work {
            Work::Import => {
                let name = format!("book-{round}.nwb");
                let first = round * STATIONS_OF_A_BOOK;
                let book = station_book(first..first + STATIONS_OF_A_BOOK, "mark");
                fs::write(self.folder.path().join(&name), book).expect("written");
                command.args(["import", "yard.job", &name, "--run", "drain"]);
            }
            Work::Mark => {
                command.args([
                    "mark",
                    "yard.job",
                    "--run",
                    "drain",
                    "--station",
                    &number,
                    "--east",
                    "1",
                    "--north",
                    "2",
                ]);
            }
            Work::Export => {
                command.args([
                    "export",
                    "yard.job",
                    "--out",
                    ["map.geojson", "map.gpkg", "map.dxf"][round as usize % 3],
                ]);
            }
        }
        command
    }

    fn numbers(&self) -> BTreeSet<u32> {
        // Another program finds it readable, whatever was left behind beside it.
        let job = Job::open(&self.job).unwrap_or_else(|e| panic!("the job cannot be read: {e}"));
        job.state().stations().map(|(_, s)| s.found.number).collect()
    }

    fn maps_are_whole(&self) {
        let map = |name: &str| fs::read(self.folder.path().join(name)).ok();
        if let Some(text) = map("map.geojson") {
            let json: serde_json::Value = serde_json::from_slice(&text).expect("whole GeoJSON");
            assert!(json["caution"].as_str().is_some_and(|c| c.contains("no permission to dig")));
        }
        if let Some(text) = map("map.dxf") {
            assert!(text.ends_with(b"  0\nEOF\n"), "whole DXF");
        }
        if map("map.gpkg").is_some() {
            let db = rusqlite::Connection::open(self.folder.path().join("map.gpkg")).expect("a database");
            let check: String =
                db.query_row("PRAGMA integrity_check", [], |row| row.get(0)).expect("readable");
            let points: i64 =
                db.query_row("SELECT count(*) FROM stations", [], |row| row.get(0)).expect("its layer");
            assert!(check == "ok" && points > 0, "{check}");
        }
    }
}

#[test]
fn killed_at_any_moment_nothing_is_lost() {
    let folder = tempfile::tempdir().expect("a folder");
    let job = folder.path().join("yard.job");
    let desk = Desk { folder, job };
    let anchor = Anchor {
        latitude_deg: 47.0,
        longitude_deg: 8.0,
        ellipsoid_height_m: 400.0,
        sigma_m: 0.02,
        bearing_deg: 0.0,
        bearing_sigma_deg: 1.0,
    };
    let settings = Settings { anchor: Some(anchor), datum: Some(Datum::Wgs84), ..Settings::default() };
    let mut begun = Job::create(&desk.job, settings).expect("begun");
    let run = RunCard { name: "drain".into(), ..RunCard::default() };
    begun.append(&[Draft::New(Content::Run(run))]).expect("entered");
    drop(begun);

    // How long each work takes when it is left alone, and that it does what it is for.
    let works = [Work::Import, Work::Mark, Work::Export];
    let mut takes = [Duration::ZERO; 3];
    for (k, work) in [Work::Mark, Work::Import, Work::Export].into_iter().enumerate() {
        let mut command = desk.command(work, 1000 + k as u32);
        let begun = Instant::now();
        assert!(command.status().expect("it runs").success(), "{work:?}");
        takes[work as usize] = begun.elapsed();
    }
    let mut known = desk.numbers();
    assert_eq!(known.len(), 1 + STATIONS_OF_A_BOOK as usize);

    let mut random = Xoshiro256PlusPlus::seed_from_u64(9);
    let (mut kills, mut ended, mut round) = (0, 0, 0);
    let mut outcomes = [[0; 2]; 3];
    while kills < KILLS {
        let work = works[round % 3];
        let mut command = desk.command(work, round as u32);
        let moment = takes[work as usize].mul_f64(random.random_range(0.0..1.1));
        let mut child = command.spawn().expect("it runs");
        sleep(moment);
        let finished = child.try_wait().expect("known").is_some();
        child.kill().expect("killed");
        let status = child.wait().expect("gone");
        assert!(!finished || status.success(), "{work:?}: {status}");
        if finished {
            ended += 1
        } else {
            kills += 1
        }

        let now = desk.numbers();
        assert!(now.is_superset(&known), "lost: {:?}", known.difference(&now).collect::<Vec<_>>());
        let new = now.len() - known.len();
        let whole = match work {
            Work::Import => STATIONS_OF_A_BOOK as usize,
            Work::Mark => 1,
            Work::Export => 0,
        };
        assert!(new == 0 || new == whole, "{work:?}: {new} of {whole}");
        assert!(!finished || new == whole, "{work:?} said it was done and had entered {new} of {whole}");
        if !finished {
            outcomes[work as usize][usize::from(new > 0)] += 1;
        }
        desk.maps_are_whole();
        known = now;
        round += 1;
    }
    println!(
        "{kills} killed, {ended} done before; killed before and after the entry: {outcomes:?}; {} stations",
        known.len()
    );
    // What was left behind does not stand in anybody's way.
    assert!(desk.command(Work::Mark, 5000).status().expect("it runs").success());
    assert!(outcomes.iter().all(|[before, _]| *before > 10), "{outcomes:?}: the kills came too late");
}
