//! The self-test against front ends that are sound, and broken in every way it knows.

use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_drivers::converter::{Collector, Fault, Faults, Filled, Input, Sample};
use nullwalk_handset::selftest::{Check, Expected, Finding, Level, Progress, SelfTest, Trial, Wrong};
use rand::{RngExt, SeedableRng, rngs::StdRng};

const GAINS: [f32; 4] = [1.0, 4.0, 16.0, 64.0];
const FULL_SCALE: i32 = 1 << 23;
const NOISE: f64 = 35.0;
const SHARE: f64 = 2.0 / 15.0;

/// What is broken.
#[derive(Clone, Copy, PartialEq)]
enum Broken {
    Nothing,
    DoesNotStart,
    NoSamples,
    Garbles,
    Flat { channel: usize },
    Quiet,
    Hiss { channel: usize },
    GainStuck { channel: usize, rung: u8 },
    CoilFlat { channel: usize },
    AtRail { channel: usize },
    ForgetfulStorage,
}

struct FrontEnd {
    broken: Broken,
    /// Hum in the coils, counts at a gain of one.
    hum: f64,
    random: StdRng,
}

impl FrontEnd {
    fn count(&mut self, channel: usize, index: u64, input: Input, rung: u8) -> i32 {
        let gain_of = |rung: u8| f64::from(GAINS[usize::from(rung)]);
        let mut rung = rung;
        if let Broken::GainStuck { channel: broken, rung: stuck } = self.broken
            && broken == channel
        {
            rung = stuck;
        }
        // Six uniform numbers are near enough to a normal one, with a variance of one half.
        let mut uniform = || self.random.random_range(-0.5..0.5);
        let noise = (0..6).map(|_| uniform()).sum::<f64>() * 2.0_f64.sqrt() * NOISE * gain_of(rung).sqrt();
        let noise = match self.broken {
            Broken::Quiet => 0.05 * noise,
            Broken::Hiss { channel: broken } if broken == channel => 20.0 * noise,
            _ => noise,
        };
        let hum = self.hum * gain_of(rung) * (std::f64::consts::TAU * 50.0 * index as f64 / 8000.0).sin();
        let level = SHARE * f64::from(FULL_SCALE);
        let value = match (self.broken, input) {
            (Broken::Flat { channel: broken }, _) if broken == channel => return 77,
            (Broken::CoilFlat { channel: broken }, Input::Coil) if broken == channel => return 0,
            (Broken::AtRail { channel: broken }, Input::Coil) if broken == channel => 1e9,
            (_, Input::Shorted) => noise,
            // The part scales its level to the gain that is set; a gain that was not taken shows.
            (Broken::GainStuck { channel: broken, .. }, Input::Positive) if broken == channel => {
                4.0 * level
            }
            (_, Input::Positive) => level + noise,
            (_, Input::Negative) => -level + noise,
            (_, Input::Coil) => hum + noise,
        };
        value.clamp(f64::from(-FULL_SCALE), f64::from(FULL_SCALE - 1)) as i32
    }
}

/// Carries the test out to its end.
fn tested(broken: Broken, hum: f64) -> SelfTest<6> {
    let rungs = GAINS.map(|gain| Rung { gain, settle_s: 0.001 });
    let ladder = Ladder::new(&rungs, 1.2, FULL_SCALE, 1.0).unwrap();
    let expected = Expected {
        ladder,
        full_scale_counts: FULL_SCALE,
        noise_counts: NOISE as f32,
        level: Level::Share(SHARE as f32),
    };
    let mut test = SelfTest::<6>::new(expected);
    let mut front_end = FrontEnd { broken, hum, random: StdRng::seed_from_u64(1) };
    let (mut collector, mut filled) = (Collector::<6, 40>::new(), Filled::new());
    for index in 0..1_000_000_u64 {
        test.tick((index / 8) as u32);
        match test.trial() {
            Trial::Start if broken == Broken::DoesNotStart => test.started(false),
            Trial::Start => test.started(true),
            Trial::Listen { input, rung } if broken != Broken::NoSamples => {
                let counts = std::array::from_fn(|channel| front_end.count(channel, index, input, rung));
                let garbled = broken == Broken::Garbles && index % 500 == 0;
                let faults =
                    if garbled { Faults::default().with(Fault::Garbled) } else { Faults::default() };
                if collector.push(&Sample { index, rung, counts, faults }, &mut filled) {
                    test.push(&filled);
                }
            }
            Trial::Listen { .. } => {}
            Trial::Store => test.stored(broken != Broken::ForgetfulStorage),
            Trial::Over => return test,
        }
    }
    panic!("the test never ends");
}

fn found(broken: Broken) -> Vec<Finding> {
    tested(broken, 300.0).report().findings().to_vec()
}

#[test]
fn nothing_is_found_where_nothing_is_wrong() {
    // From silence to hum that clips the upper rungs.
    for hum in [0.0, 30.0, 300.0, 10_000.0, 2e6] {
        let test = tested(Broken::Nothing, hum);
        assert_eq!(test.report().findings(), [], "hum of {hum} counts");
        assert!(Check::ALL.into_iter().all(|check| test.report().progress(check) == Progress::Good));
    }
}

#[test]
fn a_converter_that_is_not_there() {
    for (broken, wrong) in [(Broken::DoesNotStart, Wrong::NotStarted), (Broken::NoSamples, Wrong::Silent)] {
        let test = tested(broken, 0.0);
        assert_eq!(test.report().findings(), [Finding { check: Check::Converter, channel: None, wrong }]);
        assert_eq!(test.report().progress(Check::Coils), Progress::Skipped);
        // A book can be read without a converter.
        assert_eq!(test.report().progress(Check::Storage), Progress::Good);
    }
}

#[test]
fn faults_of_the_conversation() {
    let wrong = Wrong::Faulty(Fault::Garbled);
    assert_eq!(found(Broken::Garbles), [Finding { check: Check::Converter, channel: None, wrong }]);
}

#[test]
fn channels_that_are_dead_noisy_or_too_quiet() {
    for channel in 0..6 {
        let about = Some(channel as u8);
        let flat = Finding { check: Check::Noise, channel: about, wrong: Wrong::Flat };
        assert!(found(Broken::Flat { channel }).contains(&flat));
        let hiss = Finding { check: Check::Noise, channel: about, wrong: Wrong::TooNoisy };
        assert_eq!(found(Broken::Hiss { channel })[0], hiss);
        let coil = Finding { check: Check::Coils, channel: about, wrong: Wrong::Flat };
        assert_eq!(found(Broken::CoilFlat { channel })[0], coil);
        let rail = Finding { check: Check::Coils, channel: about, wrong: Wrong::AtRail };
        assert_eq!(found(Broken::AtRail { channel }), [rail]);
    }
    let quiet = found(Broken::Quiet);
    assert_eq!(quiet.iter().filter(|finding| finding.wrong == Wrong::TooQuiet).count(), 6);
}

#[test]
fn a_gain_that_does_not_change_is_named_by_channel() {
    for (channel, rung) in [(0, 0), (3, 0), (5, 2)] {
        let found = found(Broken::GainStuck { channel, rung });
        assert!(!found.is_empty());
        for finding in &found {
            assert_eq!((finding.check, finding.channel), (Check::Ladder, Some(channel as u8)), "{found:?}");
        }
        assert!(found.iter().any(|finding| matches!(finding.wrong, Wrong::Step { .. })), "{found:?}");
    }
}

#[test]
fn storage_that_forgets() {
    let wrong = Wrong::NotKept;
    assert_eq!(found(Broken::ForgetfulStorage), [Finding { check: Check::Storage, channel: None, wrong }]);
}
