//! The command as a user runs it: what it prints, what it leaves behind, and how it exits.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use nullwalk::book::Verdict;
use nullwalk::job::Job;
use nullwalk::site::{Leg, Mains, Settle, Site, Sonde, Stand};
use serde_json::Value;
use tempfile::TempDir;

/// The program in a working folder of its own.
struct Desk(TempDir);

impl Desk {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_nullwalk-under-test"));
        command.args(arguments).current_dir(self.0.path()).stdin(Stdio::null());
        command
    }

    fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().unwrap()
    }

    /// Runs, asserts the exit status, and gives what was printed.
    #[track_caller]
    fn exits(&self, status: i32, arguments: &[&str]) -> (String, String) {
        let output = self.run(arguments);
        let (said, complained) = (text(&output.stdout), text(&output.stderr));
        assert_eq!(output.status.code(), Some(status), "{arguments:?}\n{said}\n{complained}");
        (said, complained)
    }

    /// Runs, asserts that the work failed with one line that holds all of `parts`, and printed nothing else.
    #[track_caller]
    fn complains(&self, arguments: &[&str], parts: &[&str]) {
        let (said, complained) = self.exits(1, arguments);
        assert_eq!(said, "", "{arguments:?}");
        assert!(complained.starts_with("nullwalk: "), "{complained}");
        assert_eq!(complained.trim_end().lines().count(), 1, "{complained}");
        for part in parts {
            assert!(complained.contains(part), "{arguments:?}: no `{part}` in: {complained}");
        }
    }

    fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        fs::write(self.path(name), content).unwrap();
    }

    /// A short site where the sonde is heard, but never settled over.
    fn short_site(&self) -> &'static str {
        let stand = "title = 'short'\n[[source]]\neast_m = -3.0\n[noise.mains]\n[[walk]]\nstand = { seconds = 4 }\n";
        self.write("short.toml", stand);
        "short.toml"
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

fn json(printed: &str) -> Value {
    serde_json::from_str(printed).unwrap_or_else(|e| panic!("{e}: {printed}"))
}

#[test]
fn a_station_that_agrees_exits_with_0_and_shows_range_and_cautions() {
    let desk = Desk::new();
    let (said, _) = desk.exits(0, &["locate", "clean-level"]);
    for part in ["AGREE", "95 %", "depth", "place", "no permission to dig"] {
        assert!(said.contains(part), "no `{part}` in:\n{said}");
    }
}

#[test]
fn a_doubted_station_exits_with_3_and_says_why() {
    // Settled without a lane across: the place is uncertain sideways.
    let desk = Desk::new();
    let lane = |direction| Leg::Lane(nullwalk::site::Lane { direction, length_m: 6.0 });
    let site = Site {
        title: "no lane across".to_owned(),
        source: vec![Sonde::default()],
        walk: vec![
            Leg::Stand(Stand { seconds: 2.0 }),
            Leg::Home(Default::default()),
            lane(nullwalk::site::Direction::Along),
            Leg::To(Default::default()),
            Leg::Stand(Stand { seconds: 6.0 }),
        ],
        ..Site::default()
    };
    desk.write("doubt.toml", toml::to_string(&site).unwrap());
    let (said, _) = desk.exits(3, &["locate", "doubt.toml"]);
    assert!(said.contains("DOUBT") && said.contains("reason"), "{said}");
    assert!(said.contains("No lane was walked across"), "{said}");
    assert!(said.contains("no permission to dig"), "{said}");
}

#[test]
fn a_refused_station_exits_with_4_and_states_no_depth() {
    let desk = Desk::new();
    for site in ["empty-lot", "wrong-tone", "over-range"] {
        let (said, _) = desk.exits(4, &["locate", site]);
        assert!(said.contains("REFUSED: no figure may be given"), "{said}");
        assert!(!said.contains("  depth") && !said.contains("  place"), "{said}");
        assert!(said.contains("no permission to dig"), "{said}");
    }
    let (said, _) = desk.exits(4, &["locate", "wrong-tone"]);
    assert!(said.contains("640 Hz"), "{said}");
}

/// Every key of a JSON value whose name speaks of a depth, and that has a value.
fn depths(value: &Value) -> Vec<String> {
    let mut found = Vec::new();
    match value {
        Value::Object(map) => {
            for (key, value) in map.iter().filter(|(key, _)| *key != "truth") {
                if (key.contains("depth") || key == "estimate") && !value.is_null() {
                    found.push(format!("{key}: {value}"));
                }
                found.extend(depths(value));
            }
        }
        Value::Array(list) => found.extend(list.iter().flat_map(depths)),
        _ => {}
    }
    found
}

#[test]
fn json_parses_and_holds_no_depth_for_a_refused_station() {
    let desk = Desk::new();
    for site in ["empty-lot", "over-range"] {
        let (said, _) = desk.exits(4, &["locate", site, "--json"]);
        let found = json(&said);
        assert_eq!(found["stations"][0]["verdict"], "refuse");
        assert!(!found["stations"][0]["reasons"].as_array().unwrap().is_empty());
        assert_eq!(depths(&found), [""; 0], "{site}: {said}");
        let caution = found["caution"].as_str().unwrap();
        assert!(caution.contains("Nothing heard does not mean nothing there"), "{caution}");
    }
    let (said, _) = desk.exits(0, &["locate", "clean-level", "--json"]);
    let found = json(&said);
    assert_eq!(found["stations"][0]["verdict"], "agree");
    let depth = &found["stations"][0]["depth_to_source_m"];
    assert!(depth["low95"].as_f64().unwrap() < depth["high95"].as_f64().unwrap());
    let caution = found["caution"].as_str().unwrap();
    for words in ["no permission to dig", "local codes and licensed practice"] {
        assert!(caution.contains(words), "{caution}");
    }
}

#[test]
fn a_wrong_command_line_exits_with_2() {
    let desk = Desk::new();
    for arguments in [
        &["dig"][..],
        &["locate"],
        &["locate", "clean-level", "--seed", "many"],
        &["replay"],
        &["record", "clean-level"],
        &["locate", "clean-level", "--hold-rung", "-1"],
    ] {
        let (said, complained) = desk.exits(2, arguments);
        assert_eq!(said, "");
        assert!(complained.contains("Usage") || complained.contains("--help"), "{complained}");
    }
}

#[test]
fn help_and_version_are_no_errors() {
    let desk = Desk::new();
    let (said, _) = desk.exits(0, &["--help"]);
    for command in ["demo", "locate", "record", "replay", "inspect", "sites", "sheet", "Exit status"] {
        assert!(said.contains(command), "no `{command}` in:\n{said}");
    }
    let (said, _) = desk.exits(0, &["--version"]);
    assert!(said.starts_with("nullwalk "), "{said}");
}

#[test]
fn an_unknown_site_or_unreadable_file_gives_one_message_with_file_and_remedy() {
    let desk = Desk::new();
    desk.complains(&["locate", "nowhere"], &["nowhere: ", "no built-in site", "clean-level"]);
    desk.complains(&["sites", "nowhere"], &["nowhere: ", "nullwalk sites"]);
    desk.complains(&["replay", "nowhere"], &["nowhere", "give the folder of a capture, or a WAV file"]);
    desk.complains(&["inspect", "nowhere"], &["nowhere", "give the folder of a capture, or a WAV file"]);
    desk.write("file.wav", "RIFF");
    desk.complains(&["replay", "file.wav/capture"], &["file.wav/capture: cannot open", "permissions"]);
    desk.complains(&["trace", "nowhere"], &["nowhere: ", "built in are"]);
    desk.complains(
        &["locate", "clean-level", "--hold-rung", "99"],
        &["--hold-rung 99", "rungs, counted from 0"],
    );
    desk.exits(0, &["job", "new", "yard.job"]);
    fs::create_dir(desk.path("empty")).unwrap();
    desk.complains(
        &["job", "import", "yard.job", "empty"],
        &["empty: holds no capture.toml", "give the folder"],
    );
    let (_, complained) =
        desk.exits(2, &["job", "point", "yard.job", "gatepost", "--east", "nan", "--north", "1"]);
    assert!(complained.contains("--east") && complained.contains("give a number"), "{complained}");
    desk.complains(&["sheet", "nowhere.json"], &["nowhere.json: "]);

    desk.write("binary.toml", [0xff, 0xfe, 0x00]);
    desk.complains(&["locate", "binary.toml"], &["binary.toml: ", "UTF-8"]);
    desk.write("deep.toml", "[[source]]\ndepth_m = -1.0\n");
    desk.complains(&["locate", "deep.toml"], &["deep.toml: ", "source.1.depth_m", "0.05"]);
    desk.write("desk.job", "{");
    desk.complains(&["sheet", "desk.job"], &["desk.job: "]);
    desk.write("noise.wav", "RIFX, or something else");
    desk.complains(&["replay", "noise.wav"], &["noise.wav"]);
    fs::create_dir(desk.path("folder")).unwrap();
    desk.complains(&["replay", "folder"], &["capture.toml", "a capture folder holds"]);
}

#[test]
fn broken_toml_names_file_and_line() {
    let desk = Desk::new();
    desk.write("broken.toml", "title = 'x'\ndepth = = 3\n");
    let (said, complained) = desk.exits(1, &["locate", "broken.toml"]);
    assert_eq!(said, "");
    assert!(complained.contains("broken.toml") && complained.contains("line 2"), "{complained}");
}

#[test]
fn an_unknown_key_is_a_notice_and_no_error() {
    let desk = Desk::new();
    desk.write("site.toml", "[[source]]\ndeepness_m = 1.0\n[[walk]]\nstand = { seconds = 1 }\n");
    let (_, complained) = desk.exits(4, &["locate", "site.toml"]);
    assert!(complained.contains("notice: site.toml: unknown key `source.0.deepness_m`"), "{complained}");
}

#[test]
fn record_refuses_to_overwrite_and_replay_says_the_same_as_live() {
    let desk = Desk::new();
    let (live, _) = desk.exits(0, &["record", "clean-level", "taken", "--seed", "3", "--json"]);
    let before = fs::read(desk.path("taken/station-1/samples.wav")).unwrap();
    desk.complains(&["record", "empty-lot", "taken"], &["taken: is there already"]);
    assert!(before == fs::read(desk.path("taken/station-1/samples.wav")).unwrap(), "untouched");

    let (replayed, _) = desk.exits(0, &["replay", "taken/station-1", "--json"]);
    let (live, replayed) = (json(&live), json(&replayed));
    let said = |run: &Value, key: &str| run["stations"][0][key].clone();
    for key in
        ["depth_to_source_m", "position", "lay_deg", "methods", "verdict", "reasons", "checks", "tone"]
    {
        assert_eq!(said(&live, key), said(&replayed, key), "{key}");
        assert!(!said(&live, key).is_null(), "{key}");
    }
}

#[test]
fn inspect_shows_a_recording_for_people_and_machines() {
    let desk = Desk::new();
    let site = desk.short_site();
    desk.exits(4, &["record", site, "taken"]);
    let (said, _) = desk.exits(0, &["inspect", "taken/station-1", "--spectrum", "spectrum.svg"]);
    for part in ["512", "50", "rung", "channel"] {
        assert!(said.to_lowercase().contains(part), "no `{part}` in:\n{said}");
    }
    assert!(said.lines().all(|line| line.chars().count() <= 100), "{said}");
    let svg = fs::read_to_string(desk.path("spectrum.svg")).unwrap();
    assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"));

    let found = json(&desk.exits(0, &["inspect", "taken/station-1", "--json"]).0);
    assert_eq!(found["channels"].as_array().unwrap().len(), 6);
    assert!((found["duration_s"].as_f64().unwrap() - 4.0).abs() < 0.1, "{}", found["duration_s"]);
    assert_eq!(found["gaps"].as_array().unwrap().len(), 0);
}

#[test]
fn inspect_and_replay_take_a_bare_wav() {
    let desk = Desk::new();
    let bare = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/captures/one-coil/samples.wav");
    let bare = bare.to_str().unwrap();
    let (said, _) = desk.exits(0, &["inspect", bare]);
    assert!(said.contains("512"), "{said}");
    let found = json(&desk.exits(0, &["inspect", bare, "--json"]).0);
    assert_eq!(found["channels"].as_array().unwrap().len(), 1);

    let (said, _) = desk.exits(0, &["replay", bare]);
    assert!(said.contains("null") && said.contains("no place and no depth"), "{said}");
    assert!(said.contains("no permission to dig"), "{said}");
    let found = json(&desk.exits(0, &["replay", bare, "--json"]).0);
    assert!(found[0]["features"].as_array().unwrap().len() >= 3, "{found}");
    assert_eq!(depths(&found), [""; 0]);
}

/// A recording by one coil on a sound card, carried over a sonde 1.35 m below it at 0.5 m/s.
fn one_coil() -> String {
    let wav = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/captures/one-coil/samples.wav");
    wav.to_str().unwrap().to_owned()
}

#[test]
fn one_coil_and_two_paint_marks_give_a_doubted_depth_with_its_cautions() {
    let desk = Desk::new();
    let wav = one_coil();
    // 2 m before the sonde at 1.9 s, 2 m behind it at 9.9 s.
    let marked =
        |apart| ["replay", &wav, "--between", "1.9", "9.9", "--coil-height", "6 in", "--apart", apart];
    let (said, _) = desk.exits(3, &marked("4 m"));
    for part in
        ["DOUBT", "below the coil, 95 %", "to the source, 95 %", "no permission to dig", "nothing confirms"]
    {
        assert!(said.contains(part), "no `{part}` in:\n{said}");
    }
    assert!(!said.contains("no depth"), "{said}");
    let (feet, _) = desk.exits(3, &marked("13 ft 1.48 in"));
    assert_eq!(said, feet);

    let found = json(&desk.exits(3, &[&marked("4 m")[..], &["--json"]].concat()).0);
    let result = &found[0]["lane"]["result"];
    let depth = &result["depth_below_coil_m"];
    let within = depth["low95"].as_f64().unwrap()..depth["high95"].as_f64().unwrap();
    assert!(within.contains(&1.35) && !within.contains(&1.1) && !within.contains(&1.6), "{depth}");
    assert_eq!((&result["verdict"], &result["reason"]["code"]), (&"doubt".into(), &"one-method".into()));

    let (paced, _) = desk.exits(3, &["replay", &wav, "--pace", "0.5 m/s ± 5 %", "--sway", "0.5"]);
    assert!(paced.contains("give --coil-height") && paced.contains("no permission to dig"), "{paced}");
}

#[test]
fn nodes_without_positions_take_a_pace_and_others_say_that_they_need_none() {
    let desk = Desk::new();
    let mut site = Site {
        source: vec![Sonde { lay_deg: 90.0, ..Sonde::default() }],
        walk: vec![
            Leg::Stand(Stand { seconds: 4.0 }),
            Leg::To(nullwalk::site::To { east_m: 4.0, ..Default::default() }),
            Leg::To(Default::default()),
            Leg::Settle(Settle::default()),
        ],
        ..Site::default()
    };
    let start = nullwalk::site::Start { east_m: -4.0, north_m: 0.0, heading_deg: 90.0 };
    site.station = vec![nullwalk::site::Station { start, ..Default::default() }];
    desk.write("placed.toml", toml::to_string(&site).unwrap());
    desk.exits(0, &["record", "placed.toml", "placed"]);
    site.noise.track.position = false;
    desk.write("blind.toml", toml::to_string(&site).unwrap());
    desk.exits(3, &["record", "blind.toml", "blind"]);

    let (said, _) = desk.exits(3, &["replay", "blind/station-1"]);
    assert!(said.contains("null spacing     none: not measured yet"), "{said}");
    // 4 m between marks passed 6.7 s apart: 0.6 m/s.
    for walked in [&["--pace", "0.6 m/s"][..], &["--apart", "4 m", "--between", "6.0", "12.67"]] {
        let (said, complained) = desk.exits(3, &[&["replay", "blind/station-1"], walked].concat());
        assert!(
            !said.contains("null spacing     none") && !said.contains("vertical maxima  none"),
            "{said}"
        );
        assert!(said.contains("No lane was walked across") && !said.contains("Only one method"), "{said}");
        assert!(!complained.contains("notice"), "{complained}");
    }
    let (_, complained) = desk.exits(0, &["replay", "placed/station-1", "--pace", "0.6 m/s"]);
    assert!(complained.contains("the pace is not used"), "{complained}");
}

#[test]
fn a_lane_that_is_no_sondes_is_refused() {
    let desk = Desk::new();
    let site = Site { source: vec![], walk: vec![Leg::Stand(Stand { seconds: 4.0 })], ..Site::default() };
    desk.write("silent.toml", toml::to_string(&site).unwrap());
    desk.exits(4, &["record", "silent.toml", "taken"]);
    let header = fs::read_to_string(desk.path("taken/station-1/capture.toml")).unwrap();
    let bare: String =
        header.lines().take_while(|line| !line.starts_with("[array")).map(|l| format!("{l}\n")).collect();
    desk.write("taken/station-1/capture.toml", format!("{bare}[array]\n"));
    let (said, _) = desk.exits(4, &["replay", "taken/station-1", "--pace", "0.5 m/s"]);
    assert!(said.contains("REFUSED") && said.contains("straight lane"), "{said}");
    assert!(!said.contains("  depth") && said.contains("no permission to dig"), "{said}");
    let found = json(&desk.exits(4, &["replay", "taken/station-1", "--pace", "0.5 m/s", "--json"]).0);
    assert_eq!(depths(&found), [""; 0]);
}

#[test]
fn what_is_wrong_with_a_length_is_said() {
    let desk = Desk::new();
    let wav = one_coil();
    let wrong = |arguments: &[&str], parts: &[&str]| {
        let (_, complained) = desk.exits(2, &[&["replay", &wav], arguments].concat());
        for part in parts {
            assert!(complained.contains(part), "{arguments:?}: no `{part}` in: {complained}");
        }
    };
    wrong(&["--apart", "4 furlongs", "--between", "1", "9"], &["--apart", "not a length", "13 ft 1 in"]);
    wrong(&["--apart", "400", "--between", "1", "9"], &["--apart", "unit missing"]);
    wrong(&["--apart", "4 m"], &["--between"]);
    wrong(&["--between", "1", "9"], &["--apart"]);
    wrong(&["--pace", "0.5 m/s", "--apart", "4 m", "--between", "1", "9"], &["cannot be used with"]);
    wrong(&["--pace", "50"], &["--pace", "0.05 to 3 m/s"]);

    let apart = ["replay", &wav, "--apart", "4 m"];
    let replay = |more: &[&'static str], parts: &[&str]| {
        let output = desk.run(&[&apart, more].concat());
        let complained = text(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{more:?}: {complained}");
        let last = complained.lines().last().unwrap_or_default();
        for part in parts {
            assert!(
                last.starts_with("nullwalk: ") && last.contains(part),
                "{more:?}: no `{part}` in: {last}"
            );
        }
    };
    replay(&["--between", "9", "1"], &["--between 9 1", "second"]);
    replay(&["--between", "1", "NaN"], &["--between", "seconds"]);
    replay(&["--between", "1", "99"], &["the recording ends at 11.69 s"]);
    replay(&["--between", "1", "9", "--unevenness", "200"], &["--unevenness", "per cent"]);
    replay(&["--between", "1", "9", "--upright-coil", "3"], &["--upright-coil 3", "0 to 0"]);
    replay(&["--between", "1", "9", "--upright-coil", "0"], &["no other coil"]);
    replay(&["--between", "1", "9", "--sway", "90"], &["--sway", "degrees"]);
    let nodes = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/captures/level-1m");
    desk.complains(
        &["replay", nodes.to_str().unwrap(), "--coil-height", "1 m"],
        &["--coil-height", "nodes"],
    );
}

#[test]
fn a_sheet_is_drawn_from_a_job() {
    let desk = Desk::new();
    desk.exits(0, &["locate", "clean-level", "--job", "desk.job", "--sheet", "direct.html"]);
    desk.exits(0, &["sheet", "desk.job", "--out", "sheet.html"]);
    let [direct, drawn] =
        ["direct.html", "sheet.html"].map(|name| fs::read_to_string(desk.path(name)).unwrap());
    assert_eq!(direct, drawn);
    assert!(drawn.starts_with("<!DOCTYPE html>"), "{}", &drawn[..40]);
    assert!(
        !drawn.contains("http://") || drawn.contains("http://www.w3.org"),
        "nothing is loaded from elsewhere"
    );
    let job = Job::open(&desk.path("desk.job")).unwrap();
    let (_, station) = job.state().stations().next().unwrap();
    assert_eq!(station.found.verdict, Verdict::Agree);

    // A job of a refused station gives a sheet, too, and says so with its exit status.
    desk.exits(4, &["locate", "empty-lot", "--job", "empty.job"]);
    desk.exits(4, &["sheet", "empty.job", "--out", "empty.html"]);
    assert!(desk.path("empty.html").exists());
}

#[test]
fn the_demonstration_leaves_a_job_and_a_sheet() {
    let desk = Desk::new();
    let (said, _) = desk.exits(0, &[]);
    for part in ["Station 4", "the trouble spot", "truth", "no permission to dig"] {
        assert!(said.contains(part), "no `{part}` in:\n{said}");
    }
    let job = Job::open(&desk.path("out/drain-run/drain-run.job")).unwrap();
    assert_eq!(job.state().stations().count(), 4);
    assert!(desk.path("out/drain-run/sheet.html").exists());
}

#[test]
fn a_built_in_site_printed_to_a_file_is_a_site_file() {
    let desk = Desk::new();
    let (list, _) = desk.exits(0, &["sites"]);
    let names: Vec<&str> = list.lines().filter_map(|line| line.split_whitespace().next()).collect();
    assert!(names.contains(&"drain-run"), "{list}");
    for name in names {
        let (toml, _) = desk.exits(0, &["sites", name]);
        let (site, notices) = Site::from_toml(&toml, name).unwrap();
        assert!(notices.is_empty() && !site.title.is_empty(), "{name}: {notices:?}");
    }
}

#[test]
fn a_site_file_says_the_same_as_the_built_in_site() {
    let desk = Desk::new();
    let (toml, _) = desk.exits(0, &["sites", "clean-level"]);
    desk.write("mine.toml", toml);
    let (mine, _) = desk.exits(0, &["locate", "mine.toml", "--seed", "7", "--json"]);
    let (built_in, _) = desk.exits(0, &["locate", "clean-level", "--seed", "7", "--json"]);
    assert_eq!(mine, built_in);
}

#[test]
fn a_gain_held_by_hand_too_high_is_refused_for_that() {
    let desk = Desk::new();
    let site = Site {
        source: vec![Sonde { depth_m: 0.5, moment_a_m2: 5.0, ..Sonde::default() }],
        walk: vec![
            Leg::Stand(Stand { seconds: 2.0 }),
            Leg::To(Default::default()),
            Leg::Settle(Settle::default()),
        ],
        ..Site::default()
    };
    desk.write("strong.toml", toml::to_string(&site).unwrap());
    let (said, _) = desk.exits(4, &["locate", "strong.toml", "--hold-rung", "4"]);
    assert!(said.contains("The gain is held by hand and the signal reaches full scale."), "{said}");
    assert!(said.contains("Take the gain down"), "{said}");
}

/// What a command exits with and complains of when nobody reads what it prints.
fn unread(desk: &Desk, arguments: &[&str]) -> (Option<i32>, String) {
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let output = desk.command(arguments).stdout(writer).stderr(Stdio::piped()).output().unwrap();
    (output.status.code(), text(&output.stderr))
}

#[test]
fn a_reader_that_goes_away_early_changes_neither_work_nor_exit_status() {
    let desk = Desk::new();
    let site = desk.short_site();
    desk.exits(4, &["record", site, "taken"]);
    for (status, arguments) in [
        (0, &["sites"][..]),
        (0, &["sites", "drain-run"]),
        (0, &["--help"]),
        (0, &["demo"]),
        (0, &["locate", "clean-level", "--job", "desk.job"]),
        (4, &["locate", site, "--json"]),
        (0, &["inspect", "taken/station-1"]),
        (4, &["replay", "taken/station-1", "--json"]),
    ] {
        let (exited, complained) = unread(&desk, arguments);
        assert_eq!(exited, Some(status), "{arguments:?}: {complained}");
        assert!(!complained.contains("panicked"), "{arguments:?}: {complained}");
    }
    assert!(desk.path("desk.job").exists() && desk.path("out/drain-run/sheet.html").exists());
}

#[test]
fn the_first_line_alone_can_be_read() {
    let desk = Desk::new();
    let mut child = desk.command(&["demo"]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut first = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(first.starts_with("A drain backs up"), "{first}");
    assert_eq!((output.status.code(), text(&output.stderr).contains("panicked")), (Some(0), false));
}

#[test]
fn a_site_with_hum_is_a_site_file_too() {
    // What the library writes, the command reads.
    let desk = Desk::new();
    let mut site = Site { walk: vec![Leg::Stand(Stand { seconds: 1.0 })], ..Site::default() };
    site.noise.mains = Some(Mains::default());
    desk.write("hum.toml", toml::to_string(&site).unwrap());
    let (_, complained) = desk.exits(4, &["locate", "hum.toml"]);
    assert!(!complained.contains("notice"), "{complained}");
}

/// Two kinds of trial that last two seconds each.
const PLAN: &str = "site = 'clean-level'\ntrials = 2\nset = { walk = [{ stand = { seconds = 1.5 } }] }\n\
    [[vary]]\nkey = 'source.1.depth_m'\nuniform = [1.0, 2.0]\n\
    [[kind]]\nname = 'nominal'\n[[kind]]\nname = 'odd'\n";

#[test]
fn trials_run_go_on_merge_and_are_shown() {
    let desk = Desk::new();
    desk.write("plan.toml", PLAN);
    let run = ["trials", "run", "plan.toml", "--out"];
    let (said, complained) = desk.exits(0, &[&run[..], &["whole"]].concat());
    for part in ["nominal: 2 of 2 trials", "odd: 2 of 2 trials", "all together: 4 of 4", "no-tone 2"] {
        assert!(said.contains(part), "no `{part}` in:\n{said}");
    }
    assert!(complained.contains("drawn") && desk.path("whole/time.svg").exists(), "{complained}");
    let rows = fs::read(desk.path("whole/rows.csv")).unwrap();
    assert_eq!(desk.exits(0, &[&run[..], &["whole"]].concat()).0, said);
    assert_eq!(fs::read(desk.path("whole/rows.csv")).unwrap(), rows, "nothing was left to do");

    desk.exits(0, &[&run[..], &["one", "--shard", "1/2"]].concat());
    let (said, complained) = desk.exits(0, &["trials", "merge", "all", "one"]);
    assert!(said.contains("all together: 2 of 4") && complained.contains("2 are missing"), "{complained}");
    desk.exits(0, &[&run[..], &["two", "--shard", "2/2"]].concat());
    let (_, complained) = desk.exits(0, &["trials", "merge", "both", "one", "two", "one"]);
    assert!(
        complained.contains("merged 4 trials; 2 came more than once and agree; 0 are missing"),
        "{complained}"
    );
    let shown = |folder: &str| {
        let (said, _) = desk.exits(0, &["trials", "show", folder]);
        said.lines().filter(|l| !l.contains("time for one locate")).map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(shown("both"), shown("whole"));
    let (_, complained) = desk.exits(0, &["trials", "show", "one", "--against", "two"]);
    assert!(complained.contains("detection.svg"), "{complained}");
}

#[test]
fn trials_that_cannot_be_give_one_message() {
    let desk = Desk::new();
    desk.write("plan.toml", PLAN);
    desk.write("other.toml", format!("{PLAN}\n# or not\n"));
    desk.write("typo.toml", PLAN.replace("depth_m", "dpeth_m"));
    desk.exits(0, &["trials", "run", "plan.toml", "--out", "out", "--first", "1"]);
    let run = |plan| ["trials", "run", plan, "--out", "out"];
    desk.complains(&run("nowhere"), &["nowhere", "cannot be read", "nullwalk trials plans"]);
    desk.complains(&run("typo.toml"), &["typo.toml", "vary.1", "`source.1.dpeth_m`", "depth_m"]);
    desk.complains(&run("other.toml"), &["out/plan.toml", "another folder"]);
    desk.complains(&["trials", "show", "nowhere"], &["nowhere/plan.toml", "cannot read"]);
    desk.complains(&["trials", "merge", "out", "out"], &["out", "holds rows already"]);
    desk.complains(&["trials", "plans", "nowhere"], &["nowhere", "nullwalk trials plans"]);
    desk.complains(&["trials", "site", "plan.toml", "0"], &["--kind", "nominal, odd"]);
    let (_, complained) = desk.exits(2, &[&run("plan.toml")[..], &["--shard", "3/2"]].concat());
    assert!(complained.contains("3/8"), "{complained}");

    let rows = fs::read_to_string(desk.path("out/rows.csv")).unwrap();
    fs::create_dir(desk.path("odd")).unwrap();
    desk.write("odd/plan.toml", PLAN);
    desk.write("odd/rows.csv", rows.replacen("no-tone", "saturated", 1));
    let (_, complained) = desk.exits(1, &["trials", "merge", "both", "out", "odd"]);
    assert!(complained.contains("1 trials came more than once and differ"), "{complained}");
}

#[test]
fn built_in_plans_are_listed_and_printed() {
    let desk = Desk::new();
    let (said, _) = desk.exits(0, &["trials", "plans"]);
    for plan in nullwalk::trials::builtin() {
        assert!(said.contains(plan.name) && said.contains(plan.summary), "{said}");
        assert_eq!(desk.exits(0, &["trials", "plans", plan.name]).0, plan.toml);
    }
}

#[test]
fn a_single_trial_can_be_located_again_by_itself() {
    let desk = Desk::new();
    let plan = "site = 'clean-level'\ntrials = 1\n[start]\n[[vary]]\nkey = 'source.1.lay_deg'\nuniform = [0, 180]\n";
    desk.write("plan.toml", plan);
    desk.exits(0, &["trials", "run", "plan.toml", "--out", "out"]);
    let (site, _) = desk.exits(0, &["trials", "site", "plan.toml", "0"]);
    let seed = site.split("--seed ").nth(1).and_then(|rest| rest.split_whitespace().next()).unwrap();
    desk.write("one.toml", &site);
    let (said, complained) = desk.exits(0, &["locate", "one.toml", "--seed", seed, "--json"]);
    assert!(!complained.contains("notice"), "{complained}");
    let depth_m = json(&said)["stations"][0]["depth_to_source_m"]["value"].as_f64().unwrap();
    let mut rows = csv::Reader::from_path(desk.path("out/rows.csv")).unwrap();
    let column = rows.headers().unwrap().iter().position(|name| name == "depth_m").unwrap();
    let row = rows.records().next().unwrap().unwrap();
    assert_eq!(row[column].parse::<f32>().unwrap(), depth_m as f32);
}
