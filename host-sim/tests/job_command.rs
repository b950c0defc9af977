//! The verbs of `nullwalk job`, from the first entry to the map.

use std::fs;
use std::path::Path;
use std::process::Command;

struct Desk(tempfile::TempDir);

impl Desk {
    fn path(&self) -> &Path {
        self.0.path()
    }

    /// What it prints and says.
    #[track_caller]
    fn exits(&self, status: i32, arguments: &[&str]) -> (String, String) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_nullwalk"));
        let output = command.arg("job").args(arguments).current_dir(self.path()).output().expect("it runs");
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        let (printed, said) = (text(&output.stdout), text(&output.stderr));
        assert_eq!(output.status.code(), Some(status), "{arguments:?}: {printed}{said}");
        (printed, said)
    }

    #[track_caller]
    fn complains(&self, arguments: &[&str], parts: &[&str]) {
        let (_, said) = self.exits(1, arguments);
        // Notices may come before; the complaint is one line and the last.
        let complaints = said.lines().filter(|line| !line.starts_with("notice: ")).count();
        assert!(
            said.lines().last().is_some_and(|line| line.starts_with("nullwalk: ")) && complaints == 1,
            "{said}"
        );
        for part in parts {
            assert!(said.contains(part), "no {part:?} in {said}");
        }
    }
}

#[test]
fn from_the_first_entry_to_the_map() {
    let desk = Desk(tempfile::tempdir().expect("a folder"));
    desk.exits(0, &["new", "yard.job", "--title", "Yard", "--site", "Grid from the gatepost"]);
    desk.exits(0, &["mark", "yard.job", "--run", "drain", "--station", "1", "--east", "0", "--north", "0"]);
    desk.exits(
        0,
        &[
            "mark",
            "yard.job",
            "--station",
            "2",
            "--name",
            "lid",
            "--east",
            "-4",
            "--north",
            "1.5",
            "--trouble",
        ],
    );
    desk.exits(0, &["point", "yard.job", "A", "--east", "0", "--north", "5"]);
    desk.exits(0, &["point", "yard.job", "B", "--east", "6", "--north", "5"]);
    for (point, distance) in [("A", "5.00 m ± 2 cm"), ("B", "16 ft 5 in")] {
        desk.exits(0, &["tie", "yard.job", "--station", "2", "--point", point, "--distance", distance]);
    }
    let (_, said) = desk.exits(0, &["place", "yard.job", "--station", "2", "--ties"]);
    assert!(said.contains("meet in two places"), "{said}");
    let (_, said) = desk.exits(0, &["place", "yard.job", "--station", "2", "--ties", "--side", "left"]);
    assert!(said.contains("nothing checks them; tape a third"), "{said}");
    let (shown, _) = desk.exits(0, &["show", "yard.job"]);
    assert!(
        shown.contains("at 3.00 m east, 9.00 m north") && shown.contains("no permission to dig"),
        "{shown}"
    );
    desk.exits(0, &["note", "yard.job", "beware of the dog", "--about", "3"]);
    fs::write(desk.path().join("gate.jpg"), "a picture").expect("written");
    desk.exits(0, &["photo", "yard.job", "gate.jpg", "--text", "the gate"]);
    let (checked, _) = desk.exits(0, &["check", "yard.job"]);
    assert!(checked.contains("gate.jpg: as it was"), "{checked}");
    fs::write(desk.path().join("gate.jpg"), "another").expect("written");
    assert!(desk.exits(3, &["check", "yard.job"]).0.contains("gate.jpg: CHANGED"));
    desk.exits(
        0,
        &[
            "correct",
            "yard.job",
            "2",
            "--set",
            "pipe.bore_m=0.1",
            "--set",
            "falls=\"with-numbers\"",
            "--reason",
            "read off",
        ],
    );
    let (history, _) = desk.exits(0, &["history", "yard.job"]);
    assert!(history.contains("correction of entry 2  because read off"), "{history}");
    let (json, _) = desk.exits(0, &["history", "yard.job", "--json"]);
    let entries: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(entries.as_array().map(Vec::len), Some(history.lines().count()));

    // Marks by hand are no locates: there is no line through them, and the map says so.
    desk.complains(&["run", "yard.job"], &["yard.job", "a line takes two stations"]);
    desk.complains(
        &["export", "yard.job", "--out", "map.geojson"],
        &["map.geojson", "nothing says where", "job anchor"],
    );
    desk.exits(
        0,
        &[
            "anchor",
            "yard.job",
            "--latitude",
            "47",
            "--longitude",
            "8",
            "--ellipsoid-height",
            "400",
            "--datum",
            "WGS84",
            "--sigma",
            "0.02",
        ],
    );
    desk.exits(0, &["export", "yard.job", "--out", "map.geojson"]);
    let map: serde_json::Value =
        serde_json::from_slice(&fs::read(desk.path().join("map.geojson")).expect("there")).expect("JSON");
    let first = &map["features"][0]["properties"];
    assert_eq!((first["verdict"].as_str(), first["depth_to_source_m"].is_null()), (Some("Refuse"), true));
    desk.exits(0, &["withdraw", "yard.job", "3", "--reason", "no such lid"]);
}

#[test]
fn what_is_wrong_is_said_with_a_remedy() {
    let desk = Desk(tempfile::tempdir().expect("a folder"));
    desk.complains(&["show", "none.job"], &["none.job: no such job", "nullwalk job new"]);
    desk.exits(0, &["new", "yard.job"]);
    desk.complains(&["new", "yard.job"], &["yard.job: is there already"]);
    desk.complains(&["run", "yard.job"], &["holds no run yet"]);
    desk.complains(&["export", "yard.job", "--out", "map.gpkg"], &["nothing in it has a place"]);
    desk.complains(
        &["export", "yard.job", "--out", "map.shp"],
        &["map.shp: no kind of file", "geojson, gpkg, csv"],
    );
    desk.complains(&["correct", "yard.job", "1", "--set", "title", "--reason", "x"], &["an equals sign"]);
    desk.complains(
        &["correct", "yard.job", "1", "--set", "title=Yard", "--reason", "x"],
        &["words stand in double quotes"],
    );
    desk.exits(0, &["mark", "yard.job", "--station", "1", "--east", "1", "--north", "1"]);
    desk.complains(&["place", "yard.job", "--station", "1"], &["nothing to enter"]);
    desk.complains(&["place", "yard.job", "--station", "9", "--ties"], &["no station 9"]);
    desk.complains(
        &["mark", "yard.job", "--station", "2", "--latitude", "47", "--longitude", "8", "--sigma", "0.02"],
        &["the job has no datum"],
    );
    desk.complains(
        &["tie", "yard.job", "--station", "1", "--point", "A", "--distance", "4 m"],
        &["no point \"A\""],
    );
    desk.exits(
        2,
        &[
            "mark",
            "yard.job",
            "--station",
            "2",
            "--latitude",
            "47",
            "--longitude",
            "8",
            "--sigma",
            "0.02",
            "--datum",
            "Potsdam",
        ],
    );
    fs::write(desk.path().join("noise.bin"), [0x5a; 5000]).expect("written");
    desk.complains(&["import", "yard.job", "noise.bin"], &["noise.bin: no whole record"]);
}
