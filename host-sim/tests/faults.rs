//! Each fault beside the same simulation without it.

use nullwalk::site::{Site, Sonde};
use nullwalk::synth::faults::{Fault, Faulty};
use nullwalk::synth::{Cue, Guided, Simulation};
use nullwalk_core::frame::{BlockInfo, SampleSource};

type Frames = Vec<[i32; 6]>;

fn simulation() -> Simulation<6> {
    let mut site = Site { source: vec![Sonde::default()], ..Site::default() };
    site.noise.mains = Some(Default::default());
    Simulation::new(&site, 0, 1).unwrap()
}

/// Forty blocks of a source, on rung 2.
fn blocks<S: SampleSource<6>>(mut source: S) -> Vec<(BlockInfo, Frames)> {
    source.set_rung(2);
    let mut frames = [[0; 6]; 400];
    let mut read =
        || source.read(&mut frames).ok().flatten().map(|info| (info, frames[..info.frames].to_vec()));
    std::iter::from_fn(&mut read).take(40).collect()
}

/// The frames without and with a fault, where nothing but the frames may differ.
fn beside(fault: Fault) -> (Frames, Frames) {
    let (sound, faulty) = (blocks(simulation()), blocks(Faulty::new(simulation(), fault)));
    for (a, b) in sound.iter().zip(&faulty) {
        assert_eq!(a.0, b.0);
    }
    let frames = |blocks: Vec<(BlockInfo, Frames)>| blocks.into_iter().flat_map(|b| b.1).collect();
    (frames(sound), frames(faulty))
}

fn check(fault: Fault, expected: impl Fn(usize, &Frames) -> [i32; 6]) {
    let (sound, faulty) = beside(fault);
    assert_eq!((sound.len(), faulty.len()), (16_000, 16_000));
    for (n, frame) in faulty.iter().enumerate() {
        assert_eq!(*frame, expected(n, &sound), "{fault:?} at {n}");
    }
    assert!(sound != faulty, "{fault:?} did nothing");
}

fn with(mut frame: [i32; 6], channel: usize, count: i32) -> [i32; 6] {
    frame[channel] = count;
    frame
}

#[test]
fn a_dead_channel_reads_zero() {
    check(Fault::Dead { channel: 4 }, |n, sound| with(sound[n], 4, 0));
}

#[test]
fn a_stuck_channel_repeats_its_last_value() {
    check(Fault::Stuck { channel: 1, from: 777 }, |n, sound| with(sound[n], 1, sound[n.min(776)][1]));
}

#[test]
fn a_reversed_coil_changes_sign() {
    check(Fault::Reversed { channel: 5 }, |n, sound| with(sound[n], 5, -sound[n][5]));
}

#[test]
fn swapped_plugs_swap_channels() {
    check(Fault::Swapped { a: 0, b: 3 }, |n, sound| {
        let [a, b, c, d, e, f] = sound[n];
        [d, b, c, a, e, f]
    });
}

#[test]
fn bursts_have_the_stated_rate_length_and_size() {
    let fault = Fault::Bursts { rate_per_8000: 8.0, counts: 1e6, frames: 20, seed: 3 };
    let (sound, faulty) = beside(fault);
    let off: Vec<f64> = sound
        .iter()
        .zip(&faulty)
        .filter(|(a, b)| a != b)
        .flat_map(|(a, b)| [f64::from(b[0] - a[0]), f64::from(b[5] - a[5])])
        .collect();
    let frames = off.len() / 2;
    // 16 expected in 2 s (Poisson, +- 4), 20 frames each.
    assert!((4 * 20..=32 * 20).contains(&frames), "{frames} frames");
    let rms = (off.iter().map(|x| x * x).sum::<f64>() / off.len() as f64).sqrt();
    assert!((rms / 1e6 - 1.0).abs() < 0.25, "{rms}");
    let (_, again) = beside(fault);
    assert!(faulty == again, "the same seed gives the same bursts");
}

#[test]
fn dropped_blocks_leave_gaps_in_the_index() {
    let sound = blocks(simulation());
    let faulty = blocks(Faulty::new(simulation(), Fault::Drops { every: 5 }));
    let starts: Vec<u64> = faulty.iter().map(|b| b.0.start / 400).collect();
    let expected: Vec<u64> = (0u64..).filter(|n| n % 5 != 4).take(40).collect();
    assert_eq!(starts, expected);
    for (info, frames) in &faulty {
        if let Some(twin) = sound.iter().find(|b| b.0.start == info.start) {
            assert_eq!(&twin.1, frames);
        }
    }
}

#[test]
fn faults_nest_and_pass_cues_and_rungs_on() {
    let inner = Faulty::new(simulation(), Fault::Dead { channel: 0 });
    let mut nested = Faulty::new(inner, Fault::Swapped { a: 0, b: 1 });
    nested.respond(Cue::default());
    let all = blocks(nested);
    assert!(all.iter().all(|(info, frames)| info.rung == 2 && frames.iter().all(|f| f[1] == 0)));
    assert!(all.iter().any(|(_, frames)| frames.iter().any(|f| f[0] != 0)));
}

#[test]
fn a_fault_on_a_channel_that_does_not_exist_is_none() {
    for fault in [
        Fault::Dead { channel: 6 },
        Fault::Stuck { channel: 99, from: 0 },
        Fault::Reversed { channel: usize::MAX },
        Fault::Swapped { a: 0, b: 6 },
    ] {
        let (sound, faulty) = beside(fault);
        assert!(sound == faulty, "{fault:?}");
    }
}
