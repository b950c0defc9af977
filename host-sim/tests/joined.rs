//! Runs joined: slopes and their uncertainty by hand, what has to be looked at, where the trouble is.

use nullwalk::alignment::{Joined, Unjoined, join};
use nullwalk::book::{Estimate, Measured, SitePosition, Station, Verdict};
use nullwalk::job::{Content, Draft, EntryId, Falls, Job, RunCard, Settings, StationEntry};
use proptest::prelude::*;

const RUN: EntryId = 2;

fn depth(value: f64, sigma: f64) -> Option<Estimate> {
    Some(Estimate { value, sigma, low95: value - 1.96 * sigma, high95: value + 1.96 * sigma })
}

/// A good station on the grid.
fn station(number: u32, east_m: f64, north_m: f64, depth_m: f64) -> StationEntry {
    let found = Station {
        number,
        position: Some(SitePosition { east_m, north_m, sigma_m: 0.03 }),
        depth_to_source_m: depth(depth_m, 0.02),
        verdict: Verdict::Agree,
        ..Station::default()
    };
    StationEntry { run: RUN, found, ..StationEntry::default() }
}

fn joined(card: RunCard, stations: &[StationEntry]) -> Result<Joined, Unjoined> {
    let folder = tempfile::tempdir().unwrap();
    let mut job = Job::create(&folder.path().join("yard.job"), Settings::default()).unwrap();
    job.append(&[Draft::New(Content::Run(RunCard { name: "drain".into(), ..card }))]).unwrap();
    let drafts: Vec<_> =
        stations.iter().map(|s| Draft::New(Content::Station(Box::new(s.clone())))).collect();
    job.append(&drafts).unwrap();
    join(job.state(), &job.state().places().unwrap(), RUN)
}

fn codes(joined: &Joined) -> Vec<&str> {
    joined.flags.iter().map(|f| f.code).collect()
}

fn measured(value: f64, sigma: f64) -> Option<Measured> {
    Some(Measured { value, sigma })
}

#[test]
fn slopes_are_those_of_the_stations_own_depths() {
    let card = RunCard { falls: Falls::WithNumbers, ..RunCard::default() };
    let mut stations = [station(1, 0.0, 0.0, 1.0), station(2, 0.0, 10.0, 1.2)];
    let run = joined(card.clone(), &stations).unwrap();
    let fall = run.segments[0].fall.unwrap();
    // By hand: 0.2 m in 10 m; two depths of 2 cm, and lengths within 4 cm.
    assert!((fall.value - 0.02).abs() < 1e-9);
    let by_hand = (0.02_f64.hypot(0.02) / 10.0).hypot(0.02 * 0.03_f64.hypot(0.03) / 10.0);
    assert!((fall.sigma - by_hand).abs() < 1e-9, "{}", fall.sigma);
    assert!(run.ground_taken_level && codes(&run) == ["ground-not-levelled"], "{:?}", run.flags);
    // The ground falls by 50 cm as well, levelled within 1 cm.
    stations[0].ground_m = measured(100.0, 0.01);
    stations[1].ground_m = measured(99.5, 0.01);
    let run = joined(card, &stations).unwrap();
    let fall = run.segments[0].fall.unwrap();
    assert!((fall.value - 0.07).abs() < 1e-9 && !run.ground_taken_level && codes(&run).is_empty());
    assert!(fall.sigma > by_hand);
}

#[test]
fn what_rises_is_flagged_only_beyond_its_uncertainty() {
    let uphill = |falls, depths: [f64; 2]| {
        let stations = [station(1, 0.0, 0.0, depths[0]), station(2, 4.0, 0.0, depths[1])];
        let run = joined(RunCard { falls, ..RunCard::default() }, &stations).unwrap();
        assert_eq!(run.segments[0].uphill, codes(&run).contains(&"uphill"));
        run.segments[0].uphill
    };
    // Two depths of 2 cm: 1.96 sigma of their difference are 5.5 cm.
    assert!(uphill(Falls::WithNumbers, [1.0, 0.94]));
    assert!(!uphill(Falls::WithNumbers, [1.0, 0.95]));
    assert!(!uphill(Falls::AgainstNumbers, [1.0, 0.94]));
    assert!(uphill(Falls::AgainstNumbers, [1.0, 1.06]));
    assert!(!uphill(Falls::Unknown, [1.0, 0.5]));
    // In doubt, a range is wider than its sigma says, and that counts.
    let mut wide = [station(1, 0.0, 0.0, 1.0), station(2, 4.0, 0.0, 0.9)];
    wide[1].found.depth_to_source_m =
        Some(Estimate { low95: 0.6, high95: 1.2, ..depth(0.9, 0.02).unwrap() });
    wide[1].found.verdict = Verdict::Doubt;
    let run = joined(RunCard { falls: Falls::WithNumbers, ..RunCard::default() }, &wide).unwrap();
    assert!(!run.segments[0].uphill && run.segments[0].doubt);
}

#[test]
fn missing_refused_placeless_and_double_stations_are_told() {
    let mut stations = vec![
        station(1, 0.0, 0.0, 1.0),
        station(2, 4.0, 0.0, 1.1),
        station(5, 12.0, 0.0, 1.2),
        station(6, 16.0, 0.0, 1.3),
        station(7, 20.0, 0.0, 1.4),
        station(7, 24.0, 0.0, 1.4),
    ];
    stations[3].found.verdict = Verdict::Refuse;
    stations[4].found.position = None;
    let run = joined(RunCard::default(), &stations).unwrap();
    let told: Vec<&str> = run.flags.iter().map(|f| f.sentence.as_str()).collect();
    for part in [
        "Stations 3 to 4 are missing",
        "Station 6 was refused",
        "Station 7 is left out",
        "Station 7 is there twice",
    ] {
        assert!(told.iter().any(|t| t.contains(part)), "no {part:?} in {told:?}");
    }
    assert_eq!(run.segments.iter().map(|s| s.gap).collect::<Vec<_>>(), [false, true, true]);
    // Nothing is staked out over a gap but its ends.
    let between: Vec<_> = run.stakes(1.0).into_iter().filter(|s| s.what.starts_with("between")).collect();
    assert_eq!(between.len(), 3);
    assert!(matches!(joined(RunCard::default(), &stations[..1]), Err(Unjoined::TooFew { usable: 1, .. })));
    let same = [station(1, 0.0, 0.0, 1.0), station(2, 0.01, 0.0, 1.0)];
    assert!(joined(RunCard::default(), &same).unwrap_err().to_string().contains("stations 1 and 2"));
}

#[test]
fn the_line_is_never_longer_than_the_cable() {
    let with = |counters: [f64; 2]| {
        let mut stations = [station(1, 0.0, 0.0, 1.0), station(2, 10.0, 0.0, 1.0)];
        for (s, c) in stations.iter_mut().zip(counters) {
            s.counter_m = measured(c, 0.05);
        }
        joined(RunCard::default(), &stations).unwrap()
    };
    let spare = with([3.0, 13.5]).segments[0].cable_spare_m.unwrap();
    assert!((spare.value - 0.5).abs() < 1e-9);
    assert!(!codes(&with([3.0, 13.5])).contains(&"cable-too-short"));
    // 5 cm twice and 3 cm twice: 8.2 cm, one-sided 5 % is 13.6 cm.
    assert!(!codes(&with([3.0, 12.9])).contains(&"cable-too-short"));
    assert!(codes(&with([3.0, 12.8])).contains(&"cable-too-short"));
    // Counted the other way round.
    assert!(codes(&with([12.8, 3.0])).contains(&"cable-too-short"));
}

#[test]
fn a_trouble_spot_outside_of_the_stations_is_not_guessed() {
    let mut stations = [station(1, 0.0, 0.0, 1.0), station(2, 10.0, 0.0, 1.0)];
    stations[0].counter_m = measured(3.0, 0.05);
    stations[1].counter_m = measured(13.5, 0.05);
    let card = RunCard { trouble_counter_m: measured(14.0, 0.05), ..RunCard::default() };
    let run = joined(card, &stations).unwrap();
    assert!(run.trouble.is_empty() && codes(&run).contains(&"trouble-outside"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    /// The cable bows aside anywhere between two stations, so that it is longer than the line; the trouble is anywhere on
    /// it. With exact marks and counter the stated range along the line always holds it, wherever the bow is.
    #[test]
    fn the_trouble_s_range_holds_it_wherever_the_cable_bows(
        length in 3.0_f64..12.0, corner in 0.05_f64..0.95, bow in 0.0_f64..0.6, gone in 0.02_f64..0.98,
    ) {
        let top = glam::DVec2::new(corner * length, bow);
        let (first, second) = (top.length(), top.distance(glam::DVec2::new(length, 0.0)));
        let cable = gone * (first + second);
        let truth = if cable < first { top * (cable / first) }
            else { top.lerp(glam::DVec2::new(length, 0.0), (cable - first) / second) };
        let mut stations = [station(1, 0.0, 0.0, 1.0), station(2, length, 0.0, 1.1)];
        for (s, c) in stations.iter_mut().zip([0.0, first + second]) {
            s.counter_m = measured(c, 1e-6);
            s.found.position.as_mut().unwrap().sigma_m = 1e-6;
        }
        let card = RunCard { trouble_counter_m: measured(cable, 1e-6), ..RunCard::default() };
        let run = joined(card, &stations).unwrap();
        let trouble = &run.trouble[0];
        let along = trouble.chainage_m;
        prop_assert!(along.low95 <= truth.x + 1e-4 && truth.x <= along.high95 + 1e-4, "{along:?} {truth}");
        let depth = trouble.depth_m.unwrap();
        let straight = 1.0 + 0.1 * truth.x / length;
        prop_assert!(depth.low95 <= straight && straight <= depth.high95);
    }

    /// Handing on never makes a station surer than it was.
    #[test]
    fn stakes_are_no_surer_than_the_stations(depths in proptest::collection::vec(0.5_f64..3.0, 3..8)) {
        let stations: Vec<_> = (1..).zip(&depths).map(|(n, d)| station(n, 4.0 * f64::from(n), 0.0, *d)).collect();
        let run = joined(RunCard::default(), &stations).unwrap();
        for stake in run.stakes(1.5) {
            let (low, high) = (stake.depth_low95_m.unwrap(), stake.depth_high95_m.unwrap());
            prop_assert!(high - low > 2.0 * 1.96 * 0.02 - 1e-9, "{stake:?}");
            prop_assert!(stake.what.starts_with("between") || depths.iter().any(|d| (d - 0.5 * (low + high)).abs() < 1e-6));
        }
    }
}
