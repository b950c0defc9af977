//! The book on disk: what was saved comes back, and a bad file gets one clear message.

mod invented_run;

use std::fs;

use invented_run::{invented_run, refused_run};
use nullwalk::book::{Estimate, MethodResult, Run, SitePosition, Station, Verdict};
use proptest::prelude::*;

fn scratch() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

#[test]
fn a_saved_run_comes_back_as_it_was() {
    let dir = scratch();
    for run in [invented_run(), refused_run(), Run::default()] {
        let path = dir.path().join("run.json");
        run.save(&path).unwrap();
        assert_eq!(Run::load(&path).unwrap(), run);
    }
    let left: Vec<_> = fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["run.json"], "no temporary file stays behind");
}

proptest! {
    #[test]
    fn every_figure_and_word_survives_to_the_last_bit(
        name in any::<String>(), east_m in -1e6_f64..1e6, north_m in -1e6_f64..1e6, sigma_m in 0.0_f64..1e3,
        low in 0.0_f64..10.0, width in 0.0_f64..10.0, number: u32, pick in 0_usize..3,
    ) {
        let estimate = Estimate { value: low + width / 2.0, sigma: width, low95: low, high95: low + width };
        let station = Station {
            number,
            name: name.clone(),
            position: Some(SitePosition { east_m, north_m, sigma_m }),
            depth_to_source_m: Some(estimate),
            methods: vec![MethodResult { method: name.clone(), estimate: None, refused: Some(name) }],
            verdict: [Verdict::Agree, Verdict::Doubt, Verdict::Refuse][pick],
            ..Station::default()
        };
        let run = Run { stations: vec![station], ..Run::default() };
        let dir = scratch();
        let path = dir.path().join("run.json");
        run.save(&path).unwrap();
        prop_assert_eq!(Run::load(&path).unwrap(), run);
    }

    #[test]
    fn no_file_content_makes_the_reader_panic(text in any::<Vec<u8>>()) {
        let dir = scratch();
        let path = dir.path().join("run.json");
        fs::write(&path, text).unwrap();
        prop_assert!(Run::load(&path).is_err());
    }
}

#[test]
fn each_bad_file_gets_one_message_with_the_place() {
    let dir = scratch();
    let path = dir.path().join("run.json");
    let good = r#"{"format":"nullwalk-run","version":1,"run":{}}"#;
    fs::write(&path, good).unwrap();
    assert_eq!(Run::load(&path).unwrap(), Run::default());
    let station =
        |json: &str| format!(r#"{{"format":"nullwalk-run","version":1,"run":{{"stations":[{json}]}}}}"#);
    for (text, expected) in [
        ("", "not a run book"),
        (&good[..30], "line 1 column 30"),
        (r#"{"format":"other","version":1,"run":{}}"#, "expected \"nullwalk-run\""),
        (r#"{"format":"nullwalk-run","version":2,"run":{"stations":7}}"#, "use a newer one"),
        (
            &station(r#"{"number":5,"depth_to_source_m":{"value":1,"sigma":1,"low95":2,"high95":3}}"#),
            "station 5: depth_to_source_m must have",
        ),
        (&station(r#"{"verdict":"certain"}"#), "unknown variant `certain`"),
        (&station(r#"{"position":{"east_m":null,"north_m":0,"sigma_m":0}}"#), "invalid type: null"),
    ] {
        fs::write(&path, text).unwrap();
        let message = Run::load(&path).unwrap_err().to_string();
        assert!(message.contains(expected) && message.contains("run.json"), "{message}");
        assert!(!message.contains('\n'), "{message}");
    }
    let missing = Run::load(&dir.path().join("nowhere.json")).unwrap_err().to_string();
    assert!(missing.contains("nowhere.json"), "{missing}");
}

#[test]
fn unknown_keys_are_passed_over_and_an_unjudged_station_is_refused() {
    let dir = scratch();
    let path = dir.path().join("run.json");
    let text = r#"{"format":"nullwalk-run","version":1,"later":1,
        "run":{"mood":"good","stations":[{"number":1,"colour":"red",
        "depth_to_source_m":{"value":1,"sigma":0.1,"low95":0.8,"high95":1.2}}]}}"#;
    fs::write(&path, text).unwrap();
    let run = Run::load(&path).unwrap();
    assert_eq!(run.stations[0].verdict, Verdict::Refuse);
    assert_eq!(run.stations[0].stated_depth_m(), None);
}

#[test]
fn a_failed_save_leaves_the_old_book_and_no_rubbish() {
    let dir = scratch();
    let path = dir.path().join("run.json");
    invented_run().save(&path).unwrap();
    let before = fs::read(&path).unwrap();
    let mut broken = invented_run();
    broken.stations[1].position.as_mut().unwrap().sigma_m = f64::INFINITY;
    let message = broken.save(&path).unwrap_err().to_string();
    assert!(message.contains("station 2: position"), "{message}");
    assert_eq!(fs::read(&path).unwrap(), before);

    // A folder stands where the file should go: the move fails after the temporary file was written.
    let taken = dir.path().join("taken");
    fs::create_dir(&taken).unwrap();
    assert!(invented_run().save(&taken).unwrap_err().to_string().contains("taken"));
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 2, "run.json and taken, nothing else");
}
