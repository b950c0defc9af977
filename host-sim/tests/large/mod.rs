//! A job of 10 000 stations in 100 runs.

use std::fs;
use std::path::Path;

use nullwalk::book::{Estimate, Measured, SitePosition, Station, Verdict};
use nullwalk::job::{Anchor, Content, Datum, Draft, Job, RunCard, Settings, StationEntry};

/// How many.
pub const RUNS: u32 = 100;
/// How many.
pub const STATIONS: u32 = 100;

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

/// Make it.
pub fn fill(path: &Path) {
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

/// The most memory that a process ever held, where the system says; `self` for this one.
pub fn peak_mb(process: &str) -> Option<f64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}
