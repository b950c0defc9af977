//! Books of earlier versions, which were JSON: what was saved comes back, and a bad file gets one clear message.

mod invented_run;

use std::fs;

use invented_run::{invented_run, refused_run};
use nullwalk::book::{Run, Verdict};
use proptest::prelude::*;

fn scratch() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

fn book(run: &Run) -> String {
    serde_json::json!({ "format": "nullwalk-run", "version": 1, "run": run }).to_string()
}

#[test]
fn a_saved_run_comes_back_as_it_was() {
    let dir = scratch();
    for run in [invented_run(), refused_run(), Run::default()] {
        let path = dir.path().join("run.json");
        fs::write(&path, book(&run)).unwrap();
        assert_eq!(Run::load(&path).unwrap(), run);
    }
}

proptest! {
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
