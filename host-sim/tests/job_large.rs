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

/// What work gives and how long it takes: where that is too long, the shortest of three, for the machine may be busy elsewhere.
fn timed<T>(within: Duration, mut work: impl FnMut() -> T) -> (T, Duration) {
    let mut once = || {
        let begun = Instant::now();
        (work(), begun.elapsed())
    };
    let mut best = once();
    for _ in 0..2 {
        if best.1 < within {
            break;
        }
        let again = once();
        if again.1 < best.1 {
            best = again;
        }
    }
    best
}

#[test]
fn a_large_job_opens_and_is_written_in_good_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("large.job");
    fill(&path);
    let size_mb = fs::metadata(&path).unwrap().len() as f64 / 1e6;
    let (job, opened) = timed(OPENS_WITHIN, || Job::open(&path).unwrap());
    assert_eq!(job.state().stations().count(), (RUNS * STATIONS) as usize);
    println!(
        "{size_mb:.1} MB; opens in {opened:.2?}; memory so far {:.0} MB",
        peak_mb("self").unwrap_or(f64::NAN)
    );
    assert!(opened < OPENS_WITHIN, "opens in {opened:?}");
    let ((page, pages), took) = timed(WRITES_WITHIN, || {
        let places = job.state().places().unwrap();
        let run = job.state().run_named("run 50").unwrap();
        let brief = Brief::of_job(job.state(), &places, run).unwrap();
        let options = Options::default();
        (sheet::html(&brief, &options).unwrap(), sheet::pdf(&brief, &options).unwrap())
    });
    println!(
        "sheet of one run as HTML and PDF: {took:.2?}, {:.1} MB and {:.1} MB",
        page.len() as f64 / 1e6,
        pages.len() as f64 / 1e6
    );
    assert!(took < WRITES_WITHIN, "sheet: {took:?}");
    for format in Format::ALL {
        let out = folder.path().join("map");
        let write = || maps::write(&maps::draw(&job).unwrap(), format, 100.0, &out).unwrap();
        let ((), took) = timed(WRITES_WITHIN, write);
        let size_mb = fs::metadata(&out).unwrap().len() as f64 / 1e6;
        println!(
            "{format:?}: {size_mb:.1} MB in {took:.2?}; memory so far {:.0} MB",
            peak_mb("self").unwrap_or(f64::NAN)
        );
        assert!(took < WRITES_WITHIN, "{format:?}: {took:?}");
    }
}
