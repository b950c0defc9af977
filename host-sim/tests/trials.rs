//! Bench trials: what a plan draws, how rows are kept, and what they amount to.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use nullwalk::site::Site;
use nullwalk::trials::{self, Kind, MethodDepth, Plan, Row, Scene, Shard, Task, Truth, builtin};
use nullwalk_core::verdict::{Method, Verdict};
use proptest::prelude::*;
use tempfile::TempDir;

/// Six trials that last two seconds each: nothing is found, but everything is drawn and written.
const SHORT: &str = r#"
site = "clean-level"
seed = 5
trials = 4
set = { walk = [{ stand = { seconds = 1.5 } }] }

[[vary]]
key = "source.1.depth_m"
uniform = [0.5, 3.0]

[[kind]]
name = "near"
trials = 2

[[kind]]
name = "far"
[kind.set]
source.1.east_m = 5.0
"#;

fn plan(text: &str) -> Plan {
    let (plan, notices) = Plan::from_toml(text, "plan.toml", Path::new("")).unwrap();
    assert!(notices.is_empty(), "{notices:?}");
    plan
}

fn error(text: &str) -> String {
    match Plan::from_toml(text, "plan.toml", Path::new("")) {
        Ok(_) => panic!("accepted: {text}"),
        Err(e) => e.to_string(),
    }
}

fn scenes(plan: &Plan) -> Vec<Scene> {
    let of = |kind: &Kind| (0..kind.trials).map(|n| plan.scene(kind, n).unwrap()).collect::<Vec<_>>();
    plan.kinds.iter().flat_map(of).collect()
}

fn sites(text: &str) -> Vec<Site> {
    scenes(&plan(text)).into_iter().map(|s| s.site).collect()
}

struct Desk(TempDir);

impl Desk {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn run(&self, name: &str, text: &str, shard: &str) -> PathBuf {
        let (plan, out) = (plan(text), self.path(name));
        let task = Task { plan: &plan, out: &out, shard: shard.parse().unwrap(), first: u64::MAX };
        trials::run(&task, |_| (), || ()).unwrap();
        out
    }
}

fn rows(folder: &Path) -> Vec<Row> {
    trials::read(folder).unwrap().1
}

#[track_caller]
fn assert_same(a: &[Row], b: &[Row]) {
    assert_eq!(a.len(), b.len());
    assert!(a.iter().zip(b).all(|(a, b)| a.agrees_with(b)), "{a:#?}\n{b:#?}");
}

#[test]
fn built_in_plans_are_sound_and_every_trial_of_them_can_be_simulated() {
    for entry in builtin() {
        let (plan, notices) = Plan::open(entry.name).unwrap();
        assert!(notices.is_empty(), "{}: {notices:?}", entry.name);
        assert!(!plan.title.is_empty(), "{}", entry.name);
        assert_eq!(scenes(&plan).len() as u64, plan.kinds.iter().map(|k| k.trials).sum::<u64>());
    }
}

#[test]
fn nominal_sites_are_what_the_plan_says() {
    let (plan, _) = Plan::open("nominal").unwrap();
    assert_eq!((plan.kinds.len(), plan.kinds[0].trials), (1, 2000));
    let mut grids = BTreeMap::<u64, u32>::new();
    let mut seeds = BTreeSet::new();
    for Scene { site, seed, .. } in scenes(&plan) {
        let [sonde] = site.source[..] else { panic!("one sonde") };
        let lanes: Vec<f64> = site
            .walk
            .iter()
            .filter_map(|leg| match leg {
                nullwalk::site::Leg::Lane(lane) => Some(lane.length_m),
                _ => None,
            })
            .collect();
        let start = site.station[0].start;
        let distance_m = start.east_m.hypot(start.north_m);
        let (d, m) = (sonde.depth_m, sonde.moment_a_m2);
        assert!((0.5..=6.0).contains(&d) && sonde.pitch_deg.abs() <= 30.0);
        assert!(m >= 0.2 && m <= 0.4 * d.max(0.5) + 1e-9);
        assert!(lanes.len() == 3 && lanes.iter().all(|l| *l >= 4.0 && *l <= (4.0 * d).max(4.0) + 1e-9));
        assert!((3.0 - 1e-9..=8.0 + 1e-9).contains(&distance_m));
        // Behind the sonde as its lay points, up to 25 degrees aside.
        let back = (sonde.lay_deg + 180.0).to_radians();
        let along_m = start.east_m * back.sin() + start.north_m * back.cos();
        assert!(along_m >= distance_m * 24.999_f64.to_radians().cos() - 0.01);
        *grids.entry(site.noise.mains.unwrap().frequency_hz as u64).or_default() += 1;
        seeds.insert(seed);
    }
    // Of 2000 fair draws, 1000 fall on either side with a standard deviation of 22.
    assert_eq!(grids.keys().copied().collect::<Vec<_>>(), [50, 60]);
    assert!(grids.values().all(|n| (890..=1110).contains(n)), "{grids:?}");
    assert_eq!(seeds.len(), 2000);
}

#[test]
fn distributions_have_their_mean_and_spread() {
    let text = |draw: &str| {
        format!("trials = 4000\n[[site.source]]\n[[vary]]\nkey = 'source.1.north_m'\n{draw}\n")
    };
    let values = |draw: &str| sites(&text(draw)).iter().map(|s| s.source[0].north_m).collect::<Vec<_>>();
    let moments = |values: &[f64]| {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let square = values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / values.len() as f64;
        (mean, square.sqrt())
    };
    // Expected mean and standard deviation; the mean of 4000 is uncertain by 1/63 of the latter.
    let log_uniform: Vec<f64> = values("log_uniform = [0.1, 10.0]").iter().map(|x| x.log10()).collect();
    let cases = [
        (values("uniform = [2.0, 8.0]"), 5.0, 6.0 / 12_f64.sqrt()),
        (values("normal = [-3.0, 2.0]"), -3.0, 2.0),
        (log_uniform, 0.0, 2.0 / 12_f64.sqrt()),
        (values("choice = [1, 3.0]"), 2.0, 1.0),
    ];
    for (values, mean, spread) in cases {
        let found = moments(&values);
        let allowed = 4.0 * spread / 63.0;
        assert!((found.0 - mean).abs() < allowed && (found.1 - spread).abs() < allowed, "{found:?}");
    }
    assert!(values("constant = 7").iter().all(|x| *x == 7.0));
}

#[test]
fn a_draw_depends_on_seed_kind_trial_and_key_alone() {
    let depths = |text: &str| sites(text).iter().map(|s| s.source[0].depth_m).collect::<Vec<_>>();
    let plain = depths(SHORT);
    assert_eq!(plain.len(), 6);
    assert_eq!(plain.iter().map(|d| d.to_bits()).collect::<BTreeSet<_>>().len(), 6);
    let with_more = SHORT.replacen(
        "[[vary]]",
        "[[vary]]\nkey = 'source.1.pitch_deg'\nuniform = [0.0, 9.0]\n[[vary]]",
        1,
    );
    assert_eq!(depths(&with_more), plain);
    let fewer = SHORT.replace("trials = 2", "trials = 1");
    assert_eq!(depths(&fewer)[1..], plain[2..]);
    assert!(depths(&SHORT.replace("seed = 5", "seed = 6")).iter().zip(&plain).all(|(a, b)| a != b));
}

/// A draw that changes would part new rows from old ones without a word. Worked out apart in Python from the published
/// algorithms: FNV-1a of seed, kind, 255, trial and key; SplitMix64 for the state; the first output of xoshiro256++.
#[test]
fn draws_stay_the_same_between_versions() {
    let first = &scenes(&plan(SHORT))[0];
    assert_eq!((first.site.source[0].depth_m, first.seed), (0.977495447245731, 14_615_507_690_788_045_014));
}

#[test]
fn numbers_are_scaled_shifted_and_limited_by_others() {
    let text = r#"
        trials = 50
        [[site.source]]
        [[vary]]
        key = "source.1.depth_m"
        uniform = [1.0, 4.0]
        [[vary]]
        key = "walk.4.lane.length_m"
        constant = 3
        times = "source.1.depth_m"
        at_least = 4.0
        at_most = 9.0
        [[vary]]
        key = "source.1.east_m"
        constant = 1.0
        times = ["source.1.depth_m", "source.1.depth_m"]
        plus = "walk.4.lane.length_m"
    "#;
    for site in sites(text) {
        let sonde = site.source[0];
        let length_m = (3.0 * sonde.depth_m).clamp(4.0, 9.0);
        assert_eq!(
            site.walk[3],
            nullwalk::site::Leg::Lane(nullwalk::site::Lane { length_m, ..Default::default() })
        );
        assert_eq!(sonde.east_m, sonde.depth_m * sonde.depth_m + length_m);
    }
}

#[test]
fn a_kinds_own_takes_the_place_of_the_common() {
    let text = r#"
        trials = 3
        site = "clean-level"
        [start]
        distance_m = { constant = 4.0 }
        [[vary]]
        key = "source.1.depth_m"
        uniform = [1.0, 2.0]
        [[vary]]
        key = "walk.4.lane.length_m"
        constant = 2.0
        times = "source.1.depth_m"
        [[kind]]
        name = "as-it-is"
        [[kind]]
        name = "deep"
        set = { "source.1.depth_m" = 5.0, noise.mains = {}, "source.2" = { east_m = 1.5 } }
        [[kind]]
        name = "shallow"
        [kind.start]
        distance_m = { constant = 1.0 }
        aside_deg = { constant = 90.0 }
        [[kind.vary]]
        key = "source.1.depth_m"
        choice = [0.5]
    "#;
    let plan = plan(text);
    let first = |n: usize| plan.scene(&plan.kinds[n], 0).unwrap();
    let length = |site: &Site| match site.walk[3] {
        nullwalk::site::Leg::Lane(lane) => lane.length_m,
        _ => panic!("a lane"),
    };
    let [plain, deep, shallow] = [0, 1, 2].map(first);
    assert!((1.0..=2.0).contains(&plain.site.source[0].depth_m) && plain.site.noise.mains.is_none());
    // Lay 90 degrees: back along it is west.
    let start = plain.site.station[0].start;
    assert!((start.east_m + 4.0).abs() < 1e-9 && start.north_m.abs() < 1e-9);
    assert_eq!((deep.site.source[0].depth_m, length(&deep.site)), (5.0, 10.0));
    assert_eq!(deep.site.noise.mains, Some(nullwalk::site::Mains::default()));
    assert_eq!((deep.site.source.len(), deep.site.source[1].east_m), (2, 1.5));
    assert!(deep.drawn.iter().all(|(key, _)| key != "source.1.depth_m"), "set, not drawn");
    assert_eq!((shallow.site.source[0].depth_m, length(&shallow.site)), (0.5, 1.0));
    let start = shallow.site.station[0].start;
    assert!(start.east_m.abs() < 1e-9 && (start.north_m - 1.0).abs() < 1e-9, "{start:?}");
}

#[test]
fn wrong_plans_are_told_with_file_entry_and_remedy() {
    let vary = |entry: &str| format!("[[site.source]]\n[[vary]]\n{entry}\n");
    let cases: Vec<(String, &[&str])> = vec![
        ("trials = ".into(), &["plan.toml", "line 1"]),
        ("trials = 0".into(), &["plan.toml", "trials", "must be 1 to"]),
        ("site = 'nowhere'".into(), &["plan.toml", "site", "nowhere", "clean-level"]),
        ("[site]\nsource = [{ depth_m = -1.0 }]".into(), &["plan.toml", "source.1.depth_m"]),
        (vary("uniform = [1, 2]"), &["vary.1", "needs a key"]),
        (vary("key = 'source.1.depth_m'"), &["vary.1", "exactly one of uniform"]),
        (vary("key = 'source.1.depth_m'\nuniform = [2, 1]"), &["vary.1", "a <= b"]),
        (vary("key = 'source.1.depth_m'\nuniform = [nan, 1]"), &["vary.1", "a <= b"]),
        (vary("key = 'source.1.depth_m'\nlog_uniform = [0, 1]"), &["vary.1", "0 < a"]),
        (vary("key = 'source.1.depth_m'\nnormal = [1, -1]"), &["vary.1", "sigma >= 0"]),
        (vary("key = 'source.1.depth_m'\nchoice = []"), &["vary.1", "at least one value"]),
        (vary("key = 'source.1.depth_m'\nconstant = 1\nat_least = 3\nat_most = 2"), &["vary.1", "at_most"]),
        (
            vary("key = 'source.1.depth'\nconstant = 1"),
            &["vary.1", "`source.1.depth`", "depth_m", "lay_deg"],
        ),
        (vary("key = 'noise.mians.frequency_hz'\nconstant = 1"), &["vary.1", "`noise` has", "sway"]),
        (
            vary("key = 'noise.mains.frequncy_hz'\nconstant = 1"),
            &["vary.1", "`noise.mains` has", "frequency_hz"],
        ),
        (vary("key = 'sauce.1'\nconstant = 1"), &["vary.1", "the site has", "source"]),
        (vary("key = 'source.0.depth_m'\nconstant = 1"), &["vary.1", "`0`", "count from 1"]),
        (vary("key = 'source.3.depth_m'\nconstant = 1"), &["vary.1", "`3`", "2 begins a new one"]),
        (vary("key = 'source.1.depth_m.x'\nconstant = 1"), &["vary.1", "plain value"]),
        (
            vary("key = 'source.1.depth_m'\nconstant = 99.0"),
            &["kind all, trial 0", "source.1.depth_m", "50"],
        ),
        (vary("key = 'source.1.depth_m'\nconstant = 'deep'"), &["trial 0", "depth_m"]),
        (vary("key = 'source.1.depth_m'\nconstant = 'deep'\nat_least = 1"), &["vary.1", "no number"]),
        (
            vary("key = 'source.1.depth_m'\nconstant = 1\ntimes = 'title'"),
            &["vary.1", "no number at `title`"],
        ),
        (
            vary(
                "key = 'source.1.depth_m'\nconstant = 1\nplus = 'source.1.east_m'\n[[vary]]\nkey = 'source.1.east_m'\nconstant = 1",
            ),
            &["vary.1", "drawn later", "move it above"],
        ),
        (
            vary("key = 'source.1.east_m'\nconstant = 1\n[[vary]]\nkey = 'source.1.east_m'\nconstant = 2"),
            &["vary.2", "varies already"],
        ),
        ("[[kind]]\n".into(), &["kind.1.name", "not empty"]),
        ("[[kind]]\nname = 'a,b'".into(), &["kind.1.name", "letters"]),
        ("[[kind]]\nname = 'a'\n[[kind]]\nname = 'a'".into(), &["kind.2.name", "already"]),
        ("[[kind]]\nname = 'a'\n[[kind.vary]]\nkey = 'x'".into(), &["kind.1.vary.1", "exactly one"]),
        ("[start]\ndistance_m = { constant = 3.0 }".into(), &["start", "no source"]),
        ("[start]\ndistance_m = { uniform = [1.0] }".into(), &["plan.toml", "distance_m"]),
    ];
    for (text, parts) in cases {
        let said = error(&text);
        for part in parts {
            assert!(said.contains(part), "no `{part}` in: {said}\n{text}");
        }
    }
}

#[test]
fn unknown_keys_of_a_plan_are_noticed() {
    let text = "colour = 'red'\n[site]\nsmell = 1\n[[kind]]\nname = 'a'\nsize = 2\n";
    let (_, notices) = Plan::from_toml(text, "plan.toml", Path::new("")).unwrap();
    let told: Vec<String> = notices.iter().map(ToString::to_string).collect();
    assert_eq!(told.len(), 3, "{told:?}");
    assert!(["colour", "smell", "size"].iter().all(|key| told.iter().any(|t| t.contains(key))), "{told:?}");
}

#[test]
fn a_site_is_looked_for_beside_the_plan_and_kept_with_the_rows() {
    let desk = Desk::new();
    fs::write(desk.path("yard.toml"), "[[source]]\n[[walk]]\nstand = { seconds = 1 }\n").unwrap();
    fs::write(desk.path("plan.toml"), "site = 'yard.toml'\ntrials = 1\n").unwrap();
    let (plan, _) = Plan::open(desk.path("plan.toml").to_str().unwrap()).unwrap();
    let out = desk.path("out");
    let task = || Task { plan: &plan, out: &out, shard: Shard::WHOLE, first: u64::MAX };
    trials::run(&task(), |n| assert_eq!(n, 1), || ()).unwrap();
    // The rows stay readable without the site file, and belong to it as it was.
    fs::write(desk.path("yard.toml"), "[[walk]]\nstand = { seconds = 2 }\n").unwrap();
    assert_eq!(rows(&out).len(), 1);
    let (plan, _) = Plan::open(desk.path("plan.toml").to_str().unwrap()).unwrap();
    let task = Task { plan: &plan, out: &out, shard: Shard::WHOLE, first: u64::MAX };
    let said = trials::run(&task, |_| (), || ()).unwrap_err().to_string();
    assert!(said.contains("site.toml") && said.contains("another folder"), "{said}");
}

#[test]
fn shards_merged_are_the_run_as_a_whole() {
    let desk = Desk::new();
    let whole = desk.run("whole", SHORT, "1/1");
    let parts = ["1/3", "2/3", "3/3"].map(|shard| desk.run(&shard.replace('/', "-"), SHORT, shard));
    assert_eq!(parts.each_ref().map(|p| rows(p).len()), [3, 2, 1]);
    let out = desk.path("out");
    let merged = trials::merge(&out, &parts).unwrap();
    assert_eq!((merged.trials, merged.repeated, merged.missing), (6, 0, 0));
    assert!(merged.at_odds.is_empty());
    assert_same(&rows(&whole), &rows(&out));
    assert_eq!(rows(&whole)[0].reasons, ["no-tone"]);
}

#[test]
fn what_is_missing_repeated_or_at_odds_is_counted() {
    let desk = Desk::new();
    let whole = desk.run("whole", SHORT, "1/1");
    let part = desk.run("part", SHORT, "2/3");
    let merged = trials::merge(&desk.path("a"), &[whole, part.clone()]).unwrap();
    assert_eq!((merged.trials, merged.repeated, merged.missing), (6, 2, 0));
    let other = desk.run("other", SHORT, "2/3");
    let text = fs::read_to_string(other.join("rows.csv")).unwrap();
    fs::write(other.join("rows.csv"), text.replacen("no-tone", "saturated", 1)).unwrap();
    let merged = trials::merge(&desk.path("b"), &[part.clone(), other]).unwrap();
    assert_eq!((merged.trials, merged.repeated, merged.missing), (2, 1, 4));
    assert_eq!(merged.at_odds.len(), 1);
    // The first of the two stays.
    assert_same(&rows(&desk.path("b")), &rows(&part));
    let said = trials::merge(&desk.path("b"), &[part]).unwrap_err().to_string();
    assert!(said.contains("holds rows already"), "{said}");
}

#[test]
fn a_cut_run_goes_on_where_it_was() {
    let desk = Desk::new();
    let whole = rows(&desk.run("whole", SHORT, "1/1"));
    let out = desk.run("out", SHORT, "1/1");
    let bytes = fs::read(out.join("rows.csv")).unwrap();
    let header = bytes.iter().position(|b| *b == b'\n').unwrap();
    // Cut anywhere: in a row, between two, in the header, before it.
    for cut in [bytes.len() - 1, bytes.len() - 30, bytes.len() / 2, header + 1, header, header / 2, 0] {
        fs::write(out.join("rows.csv"), &bytes[..cut]).unwrap();
        let kept = bytes[..cut].iter().rposition(|b| *b == b'\n').map_or(0, |n| n + 1);
        desk.run("out", SHORT, "1/1");
        assert_same(&rows(&out), &whole);
        assert_eq!(fs::read(out.join("rows.csv")).unwrap()[..kept], bytes[..kept], "cut at {cut}");
    }
}

#[test]
fn a_folder_belongs_to_its_plan() {
    let desk = Desk::new();
    let out = desk.run("out", SHORT, "1/3");
    let before = fs::read(out.join("rows.csv")).unwrap();
    let other = plan(&SHORT.replace("seed = 5", "seed = 6"));
    let task = Task { plan: &other, out: &out, shard: Shard::WHOLE, first: u64::MAX };
    let said = trials::run(&task, |_| (), || ()).unwrap_err().to_string();
    assert!(said.contains("plan.toml") && said.contains("another folder"), "{said}");
    assert_eq!(fs::read(out.join("rows.csv")).unwrap(), before);
    let elsewhere = desk.run("elsewhere", &SHORT.replace("seed = 5", "seed = 6"), "2/3");
    let said = trials::merge(&desk.path("merged"), &[out, elsewhere]).unwrap_err().to_string();
    assert!(said.contains("elsewhere") && said.contains("not that of this plan"), "{said}");
}

#[test]
fn the_first_so_many_can_be_run_before_the_rest() {
    let desk = Desk::new();
    let (plan, out) = (plan(SHORT), desk.path("out"));
    let task = Task { plan: &plan, out: &out, shard: Shard::WHOLE, first: 1 };
    trials::run(&task, |n| assert_eq!(n, 2), || ()).unwrap();
    assert!(rows(&out).iter().all(|r| r.trial == 0));
    let rest = Task { first: u64::MAX, ..task };
    trials::run(&rest, |n| assert_eq!(n, 4), || ()).unwrap();
    assert_same(&rows(&out), &rows(&desk.run("whole", SHORT, "1/1")));
}

#[test]
fn spoilt_rows_are_told_with_file_and_line() {
    let desk = Desk::new();
    let out = desk.run("out", SHORT, "1/1");
    let good = fs::read_to_string(out.join("rows.csv")).unwrap();
    let cases = [
        (good.replacen("refuse", "maybe", 1), "column verdict: `maybe`"),
        (good.replacen(",refuse", "", 1), "line"),
        (good.replacen("trial", "trail", 1), "start a new folder"),
        (format!("{good}x\n"), "line"),
    ];
    for (text, part) in cases {
        fs::write(out.join("rows.csv"), text).unwrap();
        let said = trials::read(&out).unwrap_err().to_string();
        assert!(said.contains("rows.csv") && said.contains(part), "no `{part}` in: {said}");
    }
}

#[test]
fn shards_are_given_as_part_and_whole() {
    for text in ["0/3", "4/3", "3", "a/b", "1/0", "-1/3", "1/3/5", ""] {
        assert!(text.parse::<Shard>().is_err_and(|e| e.contains("3/8")), "{text}");
    }
    assert_eq!("1/1".parse(), Ok(Shard::WHOLE));
}

/// A whole locate: what comes out agrees with what was put in, and no depth is surer than the bound allows.
#[test]
fn a_trial_on_a_clean_site_says_the_truth() {
    let desk = Desk::new();
    let text = "site = 'clean-level'\ntrials = 1\n[start]\n[[vary]]\nkey = 'source.1.depth_m'\nuniform = [1.5, 2.0]\n";
    let rows = rows(&desk.run("out", text, "1/1"));
    let [row] = &rows[..] else { panic!("one row") };
    let truth = row.truth.unwrap();
    assert_eq!(row.verdict, Verdict::Agree);
    assert_eq!(row.drawn, [truth.depth_m.to_string(), "4.5".to_owned(), "0.0".to_owned()]);
    assert!(row.depth_error_m(row.depth_m.unwrap()).unwrap().abs() < 0.01);
    assert!(row.place_error_m.unwrap() < 0.02 && row.lay_error_deg.unwrap().abs() < 1.0);
    assert!((row.low_m.unwrap()..=row.high_m.unwrap()).contains(&row.depth_m.unwrap()));
    let fit = Method::ALL.iter().position(|m| *m == Method::TraverseFit).unwrap();
    let (bound_m, sigma_m) = (row.bound_m.unwrap(), row.methods[fit].unwrap().sigma_m);
    assert!(bound_m > 1e-5 && bound_m < sigma_m, "{bound_m} {sigma_m}");
    assert!(!row.scores.is_empty() && row.recorded_s > 30.0 && row.spent_ms > 0.0);
}

fn row(trial: u64, depth_m: f32, (low_m, high_m): (f32, f32), place_m: f32) -> Row {
    Row {
        kind: "all".into(),
        trial,
        seed: 1,
        drawn: Vec::new(),
        truth: Some(Truth {
            east_m: 0.0,
            north_m: 0.0,
            depth_m: 2.0,
            lay_deg: 90.0,
            pitch_deg: 0.0,
            moment_a_m2: 0.2,
        }),
        verdict: Verdict::Agree,
        reasons: Vec::new(),
        depth_m: Some(depth_m),
        sigma_m: Some(0.1),
        low_m: Some(low_m),
        high_m: Some(high_m),
        east_m: Some(place_m),
        north_m: Some(0.0),
        place_error_m: Some(place_m),
        place_sigma_m: Some(0.1),
        lay_error_deg: Some(-3.0),
        lay_sigma_deg: Some(1.0),
        methods: [Some(MethodDepth { depth_m, sigma_m: 0.1 }), None, None, None, None],
        bound_m: Some(0.05),
        scores: vec![("spread".into(), Some(if trial == 0 { 1.5 } else { 0.5 })), ("other".into(), None)],
        recorded_s: 60.0,
        spent_ms: 100.0,
    }
}

#[test]
fn a_summary_counts_what_it_says() {
    // Held; missed but within twice; beyond twice. The circle of 95 % has a radius of 0.2448 m.
    let mut rows = vec![
        row(0, 2.0, (1.8, 2.2), 0.2),
        row(1, 2.3, (2.1, 2.5), 0.3),
        row(2, 2.5, (2.3, 2.7), 0.5),
        row(3, 2.0, (1.8, 2.2), 0.0),
    ];
    rows[3].verdict = Verdict::Refuse;
    rows[3].reasons = vec!["no-tone".into()];
    (rows[3].depth_m, rows[3].low_m, rows[3].high_m) = (None, None, None);
    let plan = plan("trials = 5\n");
    let told = trials::summary(&plan, &rows);
    let line = |start: &str| {
        let line = told.lines().find(|l| l.trim_start().starts_with(start));
        line.unwrap_or_else(|| panic!("no `{start}` in\n{told}"))
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert!(line("all:").contains("4 of 5 trials"));
    // Wilson's interval of 3 of 4.
    assert_eq!(line("agree "), "agree 3 of 4 75.0 % (30.1 to 95.4)");
    assert_eq!(line("refuse "), "refuse 1 of 4 25.0 % (4.6 to 69.9)");
    assert!(line("the stated 95 % range holds").contains("1 of 3"));
    assert!(line("the depth is beyond twice").contains("1 of 3"));
    assert!(line("the place is within").contains("1 of 3"));
    assert!(line("the place is beyond twice").contains("1 of 3"));
    assert!(line("error of the depth").contains("median 0.300, 95 % 0.480, worst 0.500 m"));
    assert!(line("error of the lay").contains("median 3.00"));
    // Errors of 0, 0.3 and 0.5 m, and of 0 where refused: mean 0.2667 m, rms 0.3367 m where they agree.
    assert_eq!(line("field ratio"), "field ratio 3 +0.2667 0.3367 +2.67 3.37 33.3 %");
    assert!(line("reasons:").contains("no-tone 1"));
    assert_eq!(line("scores above 1:"), "scores above 1: spread 25.0 % of 4");
}

#[test]
fn pictures_are_drawings_and_empty_sets_draw_none() {
    let rows: Vec<Row> = (0..20).map(|n| row(n, 2.0 + 0.01 * n as f32, (1.8, 2.2), 0.1)).collect();
    let (nominal, distorted): (Vec<&Row>, Vec<&Row>) = rows.iter().partition(|r| r.trial < 10);
    let drawn = trials::pictures(&rows, &nominal, &distorted);
    let names: Vec<&str> = drawn.iter().map(|p| p.file).collect();
    // No traverse fit, no efficiency.
    assert_eq!(names, ["sigmas.svg", "coverage.svg", "errors.svg", "detection.svg", "time.svg"]);
    for picture in drawn {
        let document = roxmltree::Document::parse(&picture.svg).unwrap();
        assert!(document.descendants().any(|n| n.has_tag_name("title")), "{}", picture.file);
        assert!(!picture.svg.contains("NaN"), "{}", picture.file);
    }
    assert_eq!(trials::pictures(&rows, &nominal, &[]).len(), 4);
    assert!(trials::pictures(&[], &[], &[]).is_empty());
}

proptest! {
    #[test]
    fn no_text_makes_a_plan_panic(text in "(\\[\\[?(vary|kind|kind.vary|start|set|site)\\]\\]?\n|(key|name|uniform|choice|times|trials) = ('[a-z0-9.]{0,12}'|[0-9.\\[\\], -]{0,9})\n|.{0,9}\n){0,12}") {
        let _ = Plan::from_toml(&text, "plan.toml", Path::new(""));
    }

    #[test]
    fn no_bytes_make_rows_panic(spoil in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8)) {
        static GOOD: OnceLock<Vec<u8>> = OnceLock::new();
        let desk = Desk::new();
        let good = GOOD.get_or_init(|| fs::read(desk.run("good", SHORT, "1/1").join("rows.csv")).unwrap());
        let (out, mut bytes) = (desk.path("out"), good.clone());
        fs::create_dir(&out).unwrap();
        fs::write(out.join("plan.toml"), SHORT).unwrap();
        for (at, byte) in spoil {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        fs::write(out.join("rows.csv"), bytes).unwrap();
        if let Ok((plan, rows)) = trials::read(&out) {
            trials::summary(&plan, &rows);
            trials::pictures(&rows, &rows.iter().collect::<Vec<_>>(), &rows.iter().collect::<Vec<_>>());
        }
    }
}
