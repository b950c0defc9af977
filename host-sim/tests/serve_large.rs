//! The pages of a job of 10 000 stations in 100 runs: how long each takes, and how much memory.

mod large;
mod page;

use std::time::{Duration, Instant};

use large::{RUNS, STATIONS, fill, peak_mb};
use page::Page;

const ANSWERS_WITHIN: Duration = Duration::from_millis(200);
/// The middle one of so many counts, as others may be at work on the machine.
const TRIES: usize = 5;

#[test]
fn pages_of_a_large_job_come_in_good_time() {
    let folder = tempfile::tempdir().unwrap();
    fill(&folder.path().join("large.job"));
    let page = Page::of(folder.path(), &["."]);
    let memory = || peak_mb(&page.child.id().to_string()).unwrap_or(f64::NAN);
    let begun = Instant::now();
    let told = page.get("/job/large.job").text();
    assert!(told.contains(&format!("{RUNS} runs, {} stations", RUNS * STATIONS)), "{told}");
    println!("first page after {:.2?}; memory so far {:.0} MB", begun.elapsed(), memory());
    for path in [
        "/",
        "/job/large.job",
        "/job/large.job/map",
        "/job/large.job/run/2",
        "/job/large.job/run/2/sheet",
        "/job/large.job/station/57",
        "/job/large.job/station/10050",
        "/job/large.job/history",
        "/job/large.job/history?page=50",
        "/job/large.job/upload",
    ] {
        let mut took: Vec<Duration> = Vec::new();
        let mut bytes = 0;
        for _ in 0..TRIES {
            let begun = Instant::now();
            let answer = page.get(path);
            assert_eq!(answer.status, 200, "{path}");
            took.push(begun.elapsed());
            bytes = answer.body.len();
        }
        took.sort();
        println!("{path}: {:.1?} (longest {:.1?}), {} kB", took[TRIES / 2], took[TRIES - 1], bytes / 1000);
        assert!(took[TRIES / 2] < ANSWERS_WITHIN, "{path}: {took:?}");
    }
    println!("memory {:.0} MB", memory());
    for path in ["/job/large.job/run/2/sheet-a4.pdf", "/job/large.job/export/job.dxf"] {
        let begun = Instant::now();
        assert_eq!(page.get(path).status, 200, "{path}");
        println!("{path}: {:.2?}; memory {:.0} MB", begun.elapsed(), memory());
    }
}
