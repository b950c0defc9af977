//! A job of 10 000 stations in 100 runs: how long it takes to open, to draw and to write, and how much memory.

mod large;

use std::fs;
use std::time::{Duration, Instant};

use large::{RUNS, STATIONS, fill, peak_mb};
use nullwalk::job::Job;
use nullwalk::maps::{self, Format};
use nullwalk::sheet::{self, Brief, Options};

const OPENS_WITHIN: Duration = Duration::from_secs(2);
const WRITES_WITHIN: Duration = Duration::from_secs(5);

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
        peak_mb("self").unwrap_or(f64::NAN)
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
            peak_mb("self").unwrap_or(f64::NAN)
        );
        assert!(took < WRITES_WITHIN, "{format:?}: {took:?}");
    }
}
