//! Broken instruments: whatever is broken, no figure may be stated with confidence that is far from the truth.
//!
//! A fault may make a locate doubted or refused, or leave it as good as before. It must never end in `Agree` with
//! the truth outside twice the stated range, or with the lay more than ten degrees off.

use nullwalk::capture::{Capture, CaptureWriter, Description, Recording};
use nullwalk::inspect::{Report, SamplesReport, Suspicion, inspect};
use nullwalk::site::{Leg, Mains, Site, Sonde, Stand, Sweep};
use nullwalk::synth::Simulation;
use nullwalk::synth::faults::{Fault, Faulty};
use nullwalk_core::verdict::Verdict;
use nullwalk_tests::{Compared, codes, instrument, located, simulation, site};
use rayon::prelude::*;

/// How far places may be off in a confident answer: twice the circle of 95 %.
const PLACE_SIGMAS: f64 = 2.0 * 2.448;

/// Each fault is tried with these seeds on every ground.
const SEEDS: [u64; 4] = [1, 2, 3, 4];

/// A station of a site.
struct Ground {
    name: &'static str,
    site: Site,
    station: usize,
}

/// The stations a fault is tried on: white noise alone, hum and impulses, and those with a tilted sonde.
fn grounds() -> [Ground; 3] {
    let mut clean = site("clean-level");
    clean.source = vec![Sonde { depth_m: 1.2, lay_deg: 70.0, ..Sonde::default() }];
    let run = || site("drain-run");
    [
        Ground { name: "clean", site: clean, station: 0 },
        Ground { name: "cable", site: run(), station: 1 },
        Ground { name: "tilted", site: run(), station: 2 },
    ]
}

/// Something broken on some ground: the ground's own instrument, or what becomes of its samples.
struct Broken<'a> {
    name: &'a str,
    ground: &'a Ground,
    fault: Option<Fault>,
}

/// Locates with what is broken; a row of the table, and whether it is confident and wrong.
fn tried(&Broken { name, ground, fault }: &Broken<'_>, seed: u64) -> (String, bool) {
    let mut simulation = simulation(&ground.site, ground.station, seed);
    let truth = simulation.truth().cloned().expect("a sonde");
    let instrument = instrument(&ground.site);
    let (outcome, _) = match fault {
        Some(fault) => located(&instrument, &mut Faulty::new(simulation, fault)),
        None => located(&instrument, &mut simulation),
    };
    let verdict = outcome.judgement.verdict;
    let found = Compared::new(&outcome, &truth);
    let told = found.map_or_else(|| "no figure".to_owned(), |found| found.to_string());
    let wrong = found.is_some_and(|found| {
        let misplaced = found.off_m.zip(found.place_sigma_m).is_some_and(|(off, s)| off > PLACE_SIGMAS * s);
        let turned = found.lay_off_deg.is_some_and(|off| off > 10.0);
        verdict == Verdict::Agree && (!found.holds_truth(2.0) || misplaced || turned)
    });
    let flag = if wrong { "  AGREES BUT IS WRONG" } else { "" };
    let row =
        format!("{name:25} {:6} seed {seed} {verdict:?} [{}] {told}{flag}", ground.name, codes(&outcome));
    (row, wrong)
}

#[track_caller]
fn assert_never_confidently_wrong(faults: &[(&str, Fault)]) {
    let grounds = grounds();
    let tries: Vec<Broken<'_>> = faults
        .iter()
        .flat_map(|&(name, fault)| {
            grounds.iter().map(move |ground| Broken { name, ground, fault: Some(fault) })
        })
        .collect();
    assert_none_confidently_wrong(&tries);
}

#[track_caller]
fn assert_none_confidently_wrong(tries: &[Broken<'_>]) {
    let rows: Vec<(String, bool)> = tries
        .par_iter()
        .flat_map(|broken| SEEDS.par_iter().map(move |&seed| tried(broken, seed)))
        .collect();
    for (row, _) in &rows {
        println!("{row}");
    }
    let wrong: Vec<&str> = rows.iter().filter(|(_, wrong)| *wrong).map(|(row, _)| row.as_str()).collect();
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), rows.len(), wrong.join("\n"));
}

#[test]
fn lost_blocks() {
    assert_never_confidently_wrong(&[
        ("one block in 100 lost", Fault::Drops { every: 100 }),
        ("one block in 20 lost", Fault::Drops { every: 20 }),
        ("one block in 5 lost", Fault::Drops { every: 5 }),
        ("every other block lost", Fault::Drops { every: 2 }),
    ]);
}

#[test]
fn a_dead_channel() {
    let names = ["0", "1", "2", "3", "4", "5"].map(|n| format!("channel {n} dead"));
    let faults: Vec<(&str, Fault)> =
        names.iter().enumerate().map(|(channel, name)| (name.as_str(), Fault::Dead { channel })).collect();
    assert_never_confidently_wrong(&faults);
}

#[test]
fn a_stuck_channel() {
    // Until then the locate went well.
    let channels = [0, 2, 3, 5];
    let names = channels.map(|n| format!("channel {n} stuck at 50 s"));
    let faults: Vec<(&str, Fault)> = names
        .iter()
        .zip(channels)
        .map(|(name, channel)| (name.as_str(), Fault::Stuck { channel, from: 400_000 }))
        .collect();
    assert_never_confidently_wrong(&faults);
}

#[test]
fn a_coil_wired_the_wrong_way_round() {
    let names = ["0", "1", "2", "3", "4", "5"].map(|n| format!("channel {n} reversed"));
    let faults: Vec<(&str, Fault)> = names
        .iter()
        .enumerate()
        .map(|(channel, name)| (name.as_str(), Fault::Reversed { channel }))
        .collect();
    assert_never_confidently_wrong(&faults);
}

#[test]
fn two_plugs_in_each_others_sockets() {
    let pairs = [(0, 1), (0, 2), (1, 2), (3, 4), (3, 5), (0, 3), (1, 4), (2, 5), (0, 5)];
    let names = pairs.map(|(a, b)| format!("{a} and {b} swapped"));
    let faults: Vec<(&str, Fault)> =
        names.iter().zip(pairs).map(|(name, (a, b))| (name.as_str(), Fault::Swapped { a, b })).collect();
    assert_never_confidently_wrong(&faults);
}

#[test]
fn a_rail_below_the_known_one() {
    let clipping: Vec<(String, Ground)> = [90.0, 50.0, 25.0, 10.0, 3.0, 1.0]
        .into_iter()
        .flat_map(|percent| {
            grounds().map(|mut ground| {
                ground.site.noise.true_rail_fraction = Some(0.01 * percent);
                (format!("clips at {percent} %"), ground)
            })
        })
        .collect();
    let tries: Vec<Broken<'_>> =
        clipping.iter().map(|(name, ground)| Broken { name, ground, fault: None }).collect();
    assert_none_confidently_wrong(&tries);
}

#[test]
fn bursts_of_impulses() {
    let bursts = |rate_per_8000, counts, frames| Fault::Bursts { rate_per_8000, counts, frames, seed: 5 };
    assert_never_confidently_wrong(&[
        ("a weak burst a second", bursts(1.0, 3e4, 20)),
        ("a strong burst a second", bursts(1.0, 3e6, 20)),
        ("5 strong bursts a second", bursts(5.0, 3e6, 20)),
        ("20 strong bursts a second", bursts(20.0, 3e6, 20)),
        ("a long burst in 4 s", bursts(0.25, 1e6, 2000)),
        ("noise all the time", bursts(100.0, 1e6, 200)),
    ]);
}

/// What a look into a recording of a broken instrument shows.
fn inspected(fault: Option<Fault>) -> SamplesReport {
    let mut ground = site("clean-level");
    ground.noise.mains = Some(Mains::default());
    ground.walk = vec![Leg::Stand(Stand { seconds: 4.0 }), Leg::Sweep(Sweep::default())];
    let description = Description {
        made: Default::default(),
        signal: ground.signal.clone(),
        front_end: ground.front_end.clone(),
        array: ground.array.clone(),
    };
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("capture");
    let writer = CaptureWriter::create(&place, &description).unwrap();
    let simulation: Simulation<6> = simulation(&ground, 0, 1);
    let instrument = instrument(&ground);
    match fault {
        Some(fault) => {
            let mut recording = Recording::new(Faulty::new(simulation, fault), writer);
            located(&instrument, &mut recording);
            recording.finish().unwrap();
        }
        None => {
            let mut recording = Recording::new(simulation, writer);
            located(&instrument, &mut recording);
            recording.finish().unwrap();
        }
    }
    match inspect(&Capture::open(&place).unwrap()).unwrap() {
        Report::Samples(report) => *report,
        Report::Field(_) => panic!("raw samples were recorded"),
    }
}

fn suspicions(fault: Option<Fault>) -> Vec<Suspicion> {
    let found = inspected(fault).suspicions;
    println!("{fault:?}");
    found.iter().for_each(|suspicion| println!("    {suspicion}"));
    found
}

#[test]
fn a_look_into_a_sound_recording_suspects_nothing() {
    assert_eq!(suspicions(None), []);
}

#[test]
fn a_look_into_the_recording_names_a_dead_channel() {
    for channel in 0..6 {
        let found = suspicions(Some(Fault::Dead { channel }));
        assert!(found.contains(&Suspicion::Flat { channel }), "channel {channel}: {found:?}");
    }
}

/// The pairs of coils that inspection takes for wired otherwise than described.
fn crossed(fault: Fault) -> Vec<(usize, usize, bool)> {
    let found = suspicions(Some(fault));
    let pairs =
        found.iter().find_map(|s| if let Suspicion::Crossed { pairs } = s { Some(pairs) } else { None });
    pairs.unwrap_or_else(|| panic!("{fault:?}: {found:?}")).clone()
}

#[test]
fn a_look_into_the_recording_names_an_inverted_channel() {
    for channel in 0..6 {
        let pair = (channel % 3, channel % 3 + 3, true);
        assert_eq!(crossed(Fault::Reversed { channel }), [pair], "channel {channel}");
    }
}

#[test]
fn a_look_into_the_recording_names_swapped_channels() {
    for (a, b) in [(0, 1), (0, 2), (1, 2), (3, 4), (3, 5), (4, 5)] {
        let (a3, b3) = (a % 3, b % 3);
        let mut named = crossed(Fault::Swapped { a, b });
        named.sort_unstable();
        assert_eq!(named, [(a3, b3 + 3, false), (b3, a3 + 3, false)], "{a} and {b}");
    }
}
