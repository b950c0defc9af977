//! Site files: defaults, notices, errors, and text that makes no sense.

use nullwalk::site::{Direction, Lane, Leg, Site, Stand, To, builtin, default_walk};
use nullwalk::synth::Simulation;
use nullwalk_core::frame::SampleSource;
use proptest::prelude::*;

fn error(toml: &str) -> String {
    match Site::from_toml(toml, "yard.toml") {
        Ok(_) => panic!("accepted: {toml}"),
        Err(e) => e.to_string(),
    }
}

#[test]
fn an_empty_file_is_a_site_with_every_default() {
    let (site, notices) = Site::from_toml("", "empty.toml").unwrap();
    assert_eq!(site, Site::default());
    assert!(notices.is_empty());
    assert_eq!(site.stations().len(), 1);
    assert_eq!(site.truth(), [None]);
    assert_eq!(site.walk(&site.stations()[0]), default_walk());
}

#[test]
fn builtin_sites_are_sound_and_leave_no_key_unread() {
    for entry in builtin() {
        let (site, notices) = Site::from_toml(entry.toml, entry.name).unwrap();
        assert!(notices.is_empty(), "{}: {notices:?}", entry.name);
        assert!(!site.title.is_empty() && !site.description.is_empty(), "{}", entry.name);
        assert_eq!(site.truth()[0].is_none(), entry.name == "empty-lot");
        for station in 0..site.stations().len() {
            Simulation::<6>::new(&site, station, 1).unwrap();
        }
    }
}

/// The demonstration is what it is said to be: 10 to 20 ft between stations and a drain-like fall
/// (both common practice, no source), each sonde deeper than the one before.
#[test]
fn the_demonstration_is_a_drain_run() {
    let run = builtin().iter().find(|b| b.name == "drain-run").unwrap().site().unwrap();
    let truth: Vec<_> = run.truth().into_iter().flatten().collect();
    assert_eq!(truth.len(), 4);
    for pair in truth.windows(2) {
        let apart_m = (pair[1].east_m - pair[0].east_m).hypot(pair[1].north_m - pair[0].north_m);
        assert!((3.048..=6.096).contains(&apart_m), "{apart_m}");
        assert!(pair[1].depth_m > pair[0].depth_m);
    }
    let tilted = truth.iter().filter(|t| t.pitch_rad.to_degrees().abs() > 10.0).count();
    assert_eq!(tilted, 1);
    assert!(run.noise.mains.and_then(|m| m.line).is_some());
}

#[test]
fn legs_read_as_documented() {
    let toml = r#"
        [[walk]]
        stand = {}
        [[walk]]
        lane = { direction = "across", length_m = 5 }
        [[walk]]
        lane = { direction = 30 }
        [[walk]]
        to = { east_m = 1.5, pace_m_s = 0.8 }
    "#;
    let (site, notices) = Site::from_toml(toml, "legs.toml").unwrap();
    let expected = [
        Leg::Stand(Stand { seconds: 2.0 }),
        Leg::Lane(Lane { direction: Direction::Across, length_m: 5.0 }),
        Leg::Lane(Lane { direction: Direction::Bearing(30.0), length_m: 6.0 }),
        Leg::To(To { east_m: 1.5, north_m: 0.0, pace_m_s: Some(0.8) }),
    ];
    assert_eq!(site.walk, expected);
    assert!(notices.is_empty());
}

#[test]
fn unknown_keys_are_noticed_with_their_place_and_nothing_else_happens() {
    let toml = "colour = 'red'\n[noise.track]\nwhite_mm = 3\n[[walk]]\nstand = { seconds = 1, hop = true }";
    let (site, notices) = Site::from_toml(toml, "odd.toml").unwrap();
    let texts: Vec<String> = notices.iter().map(ToString::to_string).collect();
    assert_eq!(texts.len(), 3, "{texts:?}");
    for key in ["`colour`", "`noise.track.white_mm`", "hop`"] {
        let named = texts.iter().any(|t| t.contains(key) && t.starts_with("odd.toml: "));
        assert!(named, "{key} in {texts:?}");
    }
    assert_eq!(site.walk, [Leg::Stand(Stand { seconds: 1.0 })]);
}

#[test]
fn errors_name_file_key_and_remedy() {
    for (toml, key, remedy) in [
        ("[[source]]\n[[source]]\ndepth_m = -1.0", "source.2.depth_m", "= -1: must be 0.05 to 50"),
        ("[[station]]\n[[station.source]]\nmoment_a_m2 = nan", "station.1.source.1.moment_a_m2", "must be"),
        ("[[station]]\nstart = { heading_deg = inf }", "station.1.start.heading_deg", "must be"),
        ("[[walk]]\nsweep = { seconds = 0 }", "walk.1.sweep.seconds", "must be 3 to"),
        ("[signal]\nsample_rate_hz = 100", "signal.sample_rate_hz", "must be 4000 to 48000"),
        ("[signal]\ntone_hz = 5000", "signal.tone_hz", "must be 50 to 3920"),
        ("[signal]\nchannels = 3", "array.node.2.coil.1.channel", "must be 0 to 2"),
        ("[noise.mains]\nharmonics_t = [1e-9, -1e-9]", "noise.mains.harmonics_t.2", "must be 0"),
        ("[noise.mains]\nharmonics_t = []\n[noise.mains.line]", "noise.mains.harmonics_t", "must begin"),
        (
            "[front_end]\nrungs = [{ gain = 4.0 }, { gain = 1.0 }]",
            "front_end.rungs",
            "must have positive, rising",
        ),
        ("[walker]\npace_m_s = 0", "walker.pace_m_s", "must be"),
        ("[[source]]\niron = { weaken_db = -3 }", "source.1.iron.weaken_db", "= -3: must be 0 to 120"),
        ("[[source]]\nmoment_drift_per_s = 1", "source.1.moment_drift_per_s", "must be -0.1 to 0.1"),
        ("[[line]]\n[[line]]\nbend_at_m = 31", "line.2.bend_at_m", "= 31: must be 0 to 30"),
        ("[[line]]\ntone_hz = 4000", "line.1.tone_hz", "must be 10 to 3920"),
        ("[[line]]\nshare_at_sonde = 0.1", "line.1.share_at_sonde", "needs a source at every station"),
        ("[[line]]\nmains_a = [0.5]", "line.1.mains_a", "needs [noise.mains]"),
        ("[noise.mains]\n[[line]]\nmains_a = [0.5, -1]", "line.1.mains_a.2", "must be 0 to 10000"),
        ("[[line]]\nload_s = [[5, 2]]", "line.1.load_s.1", "must be from and to"),
        ("[[station]]\n[[station.line]]\ndepth_m = nan", "station.1.line.1.depth_m", "must be"),
        ("[[station]]\ntone_hz = 8192", "station.1.tone_hz", "must be 50 to 3920"),
        ("[[walk]]\nlanes = { count = 0 }", "walk.1.lanes.count", "must be 1 to 100"),
        ("[noise.mains]\ndrift_hz_per_s = 2", "noise.mains.drift_hz_per_s", "must be -1 to 1"),
        ("[front_end]\nhigh_pass_hz = -1", "front_end.high_pass_hz", "must be 0 to 1000"),
        ("[noise]\ntrue_rail_fraction = 2", "noise.true_rail_fraction", "must be"),
        ("[noise]\ncalibration_scale = -1", "noise.calibration_scale", "must be 0 to"),
    ] {
        let error = error(toml);
        assert!(error.starts_with("yard.toml: "), "{error}");
        assert!(error.contains(key) && error.contains(remedy), "{error}");
    }
    // Wrong kinds of value come with their line.
    let wrong_kind = error("[[source]]\ndepth_m = 'deep'");
    assert!(wrong_kind.contains("line 2") && wrong_kind.contains("depth_m"), "{wrong_kind}");
    let wrong_leg = error("[[walk]]\nhop = { seconds = 1 }");
    assert!(wrong_leg.contains("line 2") && wrong_leg.contains("`stand`"), "{wrong_leg}");
    assert!(error("[[walk]]\nlane = { direction = 'sideways' }").contains("line 2"));

    let missing = Site::load("no/such/yard.toml".as_ref()).unwrap_err().to_string();
    assert!(missing.contains("no/such/yard.toml") && missing.contains("check the name"), "{missing}");
}

#[test]
fn the_simulator_says_what_it_cannot_do() {
    let site = Site::default();
    let number = Simulation::<6>::new(&site, 1, 1).unwrap_err().to_string();
    assert!(number.contains("station has 1 entries: there is no number 2"), "{number}");
    let channels = Simulation::<4>::new(&site, 0, 1).unwrap_err().to_string();
    assert!(channels.contains("signal.channels = 6: must be 4 here"), "{channels}");
    let mut bare = Site::default();
    bare.array.node.clear();
    let nodes = Simulation::<6>::new(&bare, 0, 1).unwrap_err().to_string();
    assert!(nodes.contains("array.node is empty"), "{nodes}");
}

#[test]
fn a_site_written_as_toml_reads_back_the_same() {
    let distorted = r#"
        [noise]
        true_rail_fraction = 0.1
        [[line]]
        share_at_sonde = 0.3
        load_s = [[2.0, 5.0]]
        [[source]]
        iron = { lag_deg = 20.0 }
        [[source]]
        moment_drift_per_s = -0.001
    "#;
    let (distorted, notices) = Site::from_toml(distorted, "distorted.toml").unwrap();
    assert!(notices.is_empty());
    for site in builtin().iter().map(|entry| entry.site().unwrap()).chain([distorted]) {
        let text = toml::to_string(&site).unwrap();
        let (again, notices) = Site::from_toml(&text, "again.toml").unwrap();
        assert_eq!((again, notices), (site, vec![]), "{text}");
    }
}

/// Read a text as a site; if it is one, simulate the beginning of it.
fn try_out(text: &str) {
    if let Ok((site, _)) = Site::from_toml(text, "fuzz.toml")
        && let Ok(mut simulation) = Simulation::<6>::new(&site, 0, 1)
    {
        let _ = simulation.read(&mut [[0; 6]; 2400]);
    }
}

/// Text that looks a little like a site file.
fn toml_like() -> impl Strategy<Value = String> {
    let key = prop_oneof![
        "[a-z_]{1,8}",
        Just("depth_m".to_owned()),
        Just("channels".to_owned()),
        Just("tone_hz".to_owned()),
        Just("bend_at_m".to_owned()),
        Just("share_at_sonde".to_owned()),
        Just("mains_a".to_owned()),
        Just("load_s".to_owned()),
        Just("walk".to_owned()),
        Just("station".to_owned()),
    ];
    let value = prop_oneof![
        any::<f64>().prop_map(|x| format!("{x:?}")),
        any::<i64>().prop_map(|x| x.to_string()),
        Just("nan".to_owned()),
        Just("[]".to_owned()),
        Just("{}".to_owned()),
        "'[a-z]{0,6}'",
    ];
    let head = prop_oneof![
        Just("[signal]"),
        Just("[[source]]"),
        Just("[[station]]"),
        Just("[[station.source]]"),
        Just("[[source]]\n[source.iron]"),
        Just("[[source]]\n[[line]]"),
        Just("[[station]]\n[[station.line]]"),
        Just("[noise.mains]"),
        Just("[noise.track]"),
        Just("[[array.node]]"),
        Just("[[array.node.coil]]"),
        Just("[[walk]]"),
    ];
    let line =
        prop_oneof![(key, value).prop_map(|(k, v)| format!("{k} = {v}")), head.prop_map(str::to_owned)];
    proptest::collection::vec(line, 0..12).prop_map(|lines| lines.join("\n"))
}

proptest! {
    #[test]
    fn random_text_never_panics(text in any::<String>()) {
        try_out(&text);
    }

    #[test]
    fn random_toml_never_panics(text in toml_like()) {
        try_out(&text);
    }

    /// A built-in site with a piece of it replaced by something else.
    #[test]
    fn damaged_sites_never_panic(
        which in 0..builtin().len(),
        from in any::<prop::sample::Index>(),
        length in 0usize..12,
        scrap in "[-0-9a-z=.\\[\\]\n']{0,6}",
    ) {
        let text = builtin()[which].toml;
        let from = from.index(text.len());
        let until = (from + length).min(text.len());
        try_out(&format!("{}{scrap}{}", &text[..from], &text[until..]));
    }
}
