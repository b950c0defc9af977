//! A job of 10 000 stations in 100 runs: how long it takes to open, to draw and to write, and how much memory.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use nullwalk::book::{Estimate, Measured, SitePosition, Station, Verdict};
use nullwalk::job::{Anchor, Content, Datum, Draft, Job, RunCard, Settings, StationEntry};
use nullwalk::maps::{self, Format};
use nullwalk::sheet::{self, Brief, Options};

const RUNS: u32 = 100;
const STATIONS: u32 = 100;
const OPENS_WITHIN: Duration = Duration::from_secs(2);
const WRITES_WITHIN: Duration = Duration::from_secs(5);

fn station(run: i64, number: u32, north_m: f64) -> StationEntry {
    let along = 4.0 * f64::from(number);
    let depth = 1.0 + 0.005 * along;
    let found = Station {
        number,
        position: Some(SitePosition {
            east_m: along,
            north_m: north_m + (0.05 * along).sin(),
            sigma_m: 0.04,
        }),
        lay_deg: Some(Measured { value: 90.0, sigma: 3.0 }),
        depth_to_source_m: Some(Estimate {
            value: depth,
            sigma: 0.03,
            low95: depth - 0.06,
            high95: depth + 0.06,
        }),
        verdict: Verdict::Agree,
        ..Station::default()
    };
    StationEntry { run, found, ..StationEntry::default() }
}

fn fill(path: &Path) {
    let anchor = Anchor {
        latitude_deg: 47.0,
        longitude_deg: 8.0,
        ellipsoid_height_m: 400.0,
        sigma_m: 0.02,
        bearing_deg: 12.0,
        bearing_sigma_deg: 0.1,
    };
    let settings = Settings { anchor: Some(anchor), datum: Some(Datum::Wgs84), ..Settings::default() };
    let mut job = Job::create(path, settings).unwrap();
    for n in 0..RUNS {
        let name = format!("run {n}");
        let run =
            job.append(&[Draft::New(Content::Run(RunCard { name, ..RunCard::default() }))]).unwrap().start;
        let entry =
            |number| Draft::New(Content::Station(Box::new(station(run, number, 5.0 * f64::from(n)))));
        job.append(&(1..=STATIONS).map(entry).collect::<Vec<_>>()).unwrap();
    }
}

/// The most memory that this process ever held, where the system says.
fn peak_mb() -> Option<f64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}

#[test]
fn a_large_job_opens_and_is_written_in_good_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("large.job");
    fill(&path);
    let size_mb = fs::metadata(&path).unwrap().len() as f64 / 1e6;
    let begun = Instant::now();
    let job = Job::open(&path).unwrap();
    let opened = begun.elapsed();
    assert_eq!(job.state().stations().count(), (RUNS * STATIONS) as usize);
    println!(
        "{size_mb:.1} MB; opens in {opened:.2?}; memory so far {:.0} MB",
        peak_mb().unwrap_or(f64::NAN)
    );
    assert!(opened < OPENS_WITHIN, "opens in {opened:?}");
    let begun = Instant::now();
    let places = job.state().places().unwrap();
    let run = job.state().run_named("run 50").unwrap();
    let brief = Brief::of_job(job.state(), &places, run).unwrap();
    let gathered = begun.elapsed();
    let page = sheet::html(&brief, &Options::default()).unwrap();
    let pages = sheet::pdf(&brief, &Options::default()).unwrap();
    let took = begun.elapsed();
    println!(
        "sheet of one run: gathered in {gathered:.2?}, both in {took:.2?}, {:.1} MB and {:.1} MB",
        page.len() as f64 / 1e6,
        pages.len() as f64 / 1e6
    );
    assert!(took < WRITES_WITHIN, "sheet: {took:?}");
    for format in Format::ALL {
        let out = folder.path().join("map");
        let begun = Instant::now();
        maps::write(&maps::draw(&job).unwrap(), format, 100.0, &out).unwrap();
        let took = begun.elapsed();
        let size_mb = fs::metadata(&out).unwrap().len() as f64 / 1e6;
        println!(
            "{format:?}: {size_mb:.1} MB in {took:.2?}; memory so far {:.0} MB",
            peak_mb().unwrap_or(f64::NAN)
        );
        assert!(took < WRITES_WITHIN, "{format:?}: {took:?}");
    }
}
