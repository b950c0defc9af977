//! The running converter: samples, gain, and everything that can go wrong on the way.

mod common;

use common::{Chip, Wires};
use embedded_hal_mock::eh1::delay::NoopDelay;
use nullwalk_drivers::converter::{
    Clock, Collector, Converter, Fault, Faults, Filled, Gains, Part, Rate, SETTLE_SAMPLES, Sample, Setup,
};
use proptest::prelude::*;

const PERIOD: u32 = 125;
const RUNGS: [u8; 4] = [1, 4, 16, 64];

/// A converter on the bench, and the clock on the wall.
struct Bench {
    wires: Wires,
    converter: Converter<Wires, 6>,
    /// Conversions so far: what the next is, is known from this.
    conversions: u32,
    /// The first conversion that was read. It is thrown away, and no number given to it.
    first: Option<u32>,
    /// Rung that was in force at each conversion, from the chip's own registers.
    truth: Vec<u8>,
    time: f64,
    period: f64,
    samples: Vec<Sample<6>>,
}

impl Bench {
    fn new(part: Part) -> Self {
        let mut wires = Wires::to(Chip::new(part.channels()));
        let gains = Gains::new(&RUNGS).unwrap();
        let setup = Setup { part, rate: Rate::Hz8000, clock: Clock::Crystal, gains, ticks_hz: 1_000_000 };
        let converter = Converter::start(wires.clone(), &mut wires, &mut NoopDelay, setup).unwrap();
        let period = f64::from(PERIOD);
        Self {
            wires,
            converter,
            conversions: 0,
            first: None,
            truth: Vec::new(),
            time: 4.29e9,
            period,
            samples: Vec::new(),
        }
    }

    /// Counts of a conversion: no two are alike, and each channel has its own.
    fn counts(conversion: u32) -> [i32; 6] {
        core::array::from_fn(|channel| {
            let mixed =
                conversion.wrapping_add(1).wrapping_mul(0x9E37_79B9).rotate_left(5 * channel as u32);
            mixed as i32 >> 8
        })
    }

    /// The next conversion is finished. It is read when `served` says how late, in periods; else nobody reads it.
    fn convert(&mut self, served: Option<f64>) {
        let chip = self.wires.0.clone();
        let mut counts = Self::counts(self.conversions).to_vec();
        counts.resize(chip.borrow().channels, 0);
        let gain = 1 << chip.borrow().gain(0);
        assert!((1..6).all(|channel| 1 << chip.borrow().gain(channel) == gain) || self.is_astray());
        // No rung has a gain that went astray.
        self.truth.push(RUNGS.iter().position(|rung| *rung == gain).map_or(u8::MAX, |rung| rung as u8));
        chip.borrow_mut().convert(counts);
        self.conversions += 1;
        self.time += self.period;
        if let Some(late) = served {
            self.first.get_or_insert(self.conversions - 1);
            let tick = (self.time + late * self.period) as u64 as u32;
            let sample = self.converter.read(tick).unwrap();
            self.samples.extend(sample);
        }
    }

    /// Whether a garbled command has changed the gain of some channels only.
    fn is_astray(&self) -> bool {
        let chip = self.wires.0.borrow();
        (1..6).any(|channel| chip.gain(channel) != chip.gain(0))
    }

    fn count(&mut self, fault: Fault) -> u32 {
        self.converter.stream().tally().of(fault)
    }

    /// The conversion that a sample must be.
    fn conversion(&self, sample: &Sample<6>) -> u32 {
        sample.index as u32 + 1 + self.first.unwrap()
    }

    fn assert_true_counts(&self) {
        for sample in &self.samples {
            assert_eq!(sample.counts, Self::counts(self.conversion(sample)), "sample {}", sample.index);
        }
    }
}

#[test]
fn samples_come_one_by_one() {
    for part in [Part::Six, Part::Eight] {
        let mut bench = Bench::new(part);
        (0..1000).for_each(|_| bench.convert(Some(0.1)));
        assert!(bench.samples.iter().map(|sample| sample.index).eq(0..999));
        bench.assert_true_counts();
        assert!(bench.samples.iter().all(|sample| sample.faults.is_empty() && sample.rung == 0));
        assert!(Fault::ALL.into_iter().all(|fault| bench.count(fault) == 0));
    }
}

#[test]
fn a_change_of_gain_loses_no_sample_and_is_read_back() {
    let mut bench = Bench::new(Part::Eight);
    (0..20).for_each(|_| bench.convert(Some(0.0)));
    bench.wires.0.borrow_mut().heard.clear();
    bench.converter.stream().set_rung(2);
    (0..20).for_each(|_| bench.convert(Some(0.0)));
    assert!(bench.samples.iter().map(|sample| sample.index).eq(0..39));
    bench.assert_true_counts();
    for sample in &bench.samples {
        assert_eq!(sample.rung, bench.truth[bench.conversion(sample) as usize], "{}", sample.index);
    }
    // Written once, both registers of gain at once, and both read back.
    assert_eq!(bench.wires.0.borrow().heard[..4], [0x6201, 0xA200, 0xA280, 0x0000]);
    assert!(bench.wires.0.borrow().heard[4..].iter().all(|command| *command == 0));
    assert_eq!(bench.samples.last().unwrap().rung, 2);
    assert!(bench.samples.iter().all(|sample| sample.faults.is_empty()));
}

#[test]
fn a_gain_that_is_not_taken_gives_no_samples() {
    let mut bench = Bench::new(Part::Eight);
    (0..10).for_each(|_| bench.convert(Some(0.0)));
    bench.wires.0.borrow_mut().deaf_to_gain = true;
    bench.converter.stream().set_rung(3);
    (0..20).for_each(|_| bench.convert(Some(0.0)));
    // None but those that the change itself spoils.
    let wrong = bench.samples.iter().filter(|sample| sample.rung == 3).count();
    assert!(wrong <= SETTLE_SAMPLES as usize, "{wrong}");
    assert!(bench.count(Fault::GainNotTaken) > 1);
    bench.wires.0.borrow_mut().deaf_to_gain = false;
    let before = bench.samples.len();
    (0..20).for_each(|_| bench.convert(Some(0.0)));
    assert!(bench.samples.len() > before + 10);
    assert!(bench.samples[before].faults.has(Fault::GainNotTaken));
    for sample in &bench.samples[before..] {
        assert_eq!(sample.rung, bench.truth[bench.conversion(sample) as usize]);
    }
    bench.assert_true_counts();
}

#[test]
fn deaf_for_good_is_down() {
    let mut bench = Bench::new(Part::Eight);
    bench.wires.0.borrow_mut().deaf_to_gain = true;
    bench.converter.stream().set_rung(3);
    (0..200).for_each(|_| bench.convert(Some(0.0)));
    assert!(bench.converter.stream().is_down());
    assert_eq!(bench.count(Fault::LostSync), 1);
}

#[test]
fn missed_samples_are_counted_and_shift_nothing() {
    for missed in 1..40 {
        let mut bench = Bench::new(Part::Eight);
        (0..10).for_each(|_| bench.convert(Some(0.2)));
        (0..missed).for_each(|_| bench.convert(None));
        (0..10).for_each(|_| bench.convert(Some(0.2)));
        bench.assert_true_counts();
        assert_eq!(bench.count(Fault::Missed), missed);
        // Those missed, and the one that was read too late to be sure which it is.
        assert_eq!(bench.samples.len() as u32, 9 + 10 - 1);
        let marked = bench.samples.iter().filter(|sample| sample.faults.has(Fault::Missed));
        assert_eq!(marked.map(|sample| bench.conversion(sample)).collect::<Vec<_>>(), [10 + missed + 1]);
    }
}

#[test]
fn data_ready_that_comes_twice_gives_one_sample() {
    let mut bench = Bench::new(Part::Six);
    for _ in 0..50 {
        bench.convert(Some(0.0));
        let again = (bench.time + 0.4 * bench.period) as u64 as u32;
        assert_eq!(bench.converter.read(again).unwrap(), None);
    }
    assert!(bench.samples.iter().map(|sample| sample.index).eq(0..49));
    bench.assert_true_counts();
    assert_eq!(bench.count(Fault::Repeated), 50);
}

#[test]
fn a_reset_part_is_down_until_it_is_started_again() {
    let mut bench = Bench::new(Part::Eight);
    bench.converter.stream().set_rung(1);
    (0..20).for_each(|_| bench.convert(Some(0.0)));
    bench.wires.0.borrow_mut().reset();
    let before = bench.samples.len();
    (0..20).for_each(|_| bench.convert(Some(0.0)));
    // The first frame after the reset still answers the command of the one before it.
    assert_eq!(bench.samples.len(), before);
    assert!(bench.converter.stream().is_down() && bench.count(Fault::Reset) > 0);
    let mut reset = bench.wires.clone();
    bench.converter.restart(&mut reset, &mut NoopDelay).unwrap();
    (0..20).for_each(|_| bench.convert(Some(0.0)));
    assert!(bench.samples.len() > before + 10);
    assert!(bench.samples[before].faults.has(Fault::Reset));
    bench.assert_true_counts();
    assert_eq!(bench.samples.last().unwrap().rung, 1);
}

#[test]
fn a_garbled_frame_costs_four_samples() {
    let mut bench = Bench::new(Part::Six);
    (0..10).for_each(|_| bench.convert(Some(0.0)));
    bench.wires.0.borrow_mut().turn_out = vec![77];
    (0..10).for_each(|_| bench.convert(Some(0.0)));
    assert!(bench.samples.iter().map(|sample| sample.index).eq((0..9).chain(13..19)));
    bench.assert_true_counts();
    let marked = bench.samples.iter().filter(|sample| !sample.faults.is_empty());
    assert!(
        marked
            .map(|sample| (sample.index, sample.faults))
            .eq([(13, Faults::default().with(Fault::Garbled))])
    );
}

/// A write is carried out even when its checksum fails, so a command that is garbled into one may do anything.
#[test]
fn a_command_garbled_into_a_write_is_noticed() {
    // Nothing (0000h) becomes a write of GAIN1 (6200h) or of CFG (6300h).
    for bits in [&[1, 2, 6][..], &[1, 2, 6, 7]] {
        let mut bench = Bench::new(Part::Eight);
        (0..10).for_each(|_| bench.convert(Some(0.0)));
        bench.wires.0.borrow_mut().turn_in = bits.to_vec();
        (0..10).for_each(|_| bench.convert(Some(0.0)));
        assert!(bench.converter.stream().is_down());
        assert_eq!(bench.count(Fault::Resynced), 1);
        // The last is of the frame that was garbled on its way to the part.
        assert_eq!(bench.samples.last().map(|sample| bench.conversion(sample)), Some(10));
    }
    // So does the reading of GAIN1 (A200h), in the frame after the gain was written.
    for bits in [&[0, 1][..], &[0, 1, 7]] {
        let mut bench = Bench::new(Part::Eight);
        (0..10).for_each(|_| bench.convert(Some(0.0)));
        bench.converter.stream().set_rung(1);
        bench.convert(Some(0.0));
        bench.wires.0.borrow_mut().turn_in = bits.to_vec();
        (0..10).for_each(|_| bench.convert(Some(0.0)));
        assert!(bench.converter.stream().is_down());
        assert_eq!(bench.samples.last().map(|sample| bench.conversion(sample)), Some(11));
    }
}

#[test]
fn silence_is_noticed() {
    let mut bench = Bench::new(Part::Eight);
    (0..10).for_each(|_| bench.convert(Some(0.0)));
    let now = bench.time as u64 as u32;
    assert!(!bench.converter.stream().is_silent(now));
    assert!(!bench.converter.stream().is_silent(now.wrapping_sub(3)));
    assert!(!bench.converter.stream().is_silent(now.wrapping_add(49 * PERIOD)));
    assert!(bench.converter.stream().is_silent(now.wrapping_add(51 * PERIOD)));
}

#[test]
fn blocks_keep_the_contract() {
    let mut bench = Bench::new(Part::Eight);
    for n in 0..500 {
        if n == 130 {
            bench.converter.stream().set_rung(1);
        }
        bench.convert((n % 97 != 50).then_some(0.3));
    }
    let (mut collector, mut filled) = (Collector::<6, 40>::new(), Filled::new());
    let mut blocks = Vec::new();
    for sample in &bench.samples {
        if collector.push(sample, &mut filled) {
            blocks.push(filled.clone());
        }
    }
    let mut given = bench.samples.iter();
    let mut faults = Faults::default();
    for filled in &blocks {
        let block = filled.block();
        faults = faults.and(filled.faults());
        assert!((1..=40).contains(&block.frames.len()));
        for (n, frame) in block.frames.iter().enumerate() {
            let sample = given.next().unwrap();
            assert_eq!((sample.index, sample.rung), (block.start + n as u64, block.rung));
            assert_eq!(sample.counts, *frame);
        }
        assert_eq!(filled.stuck(), 0);
    }
    assert!(given.len() <= 40);
    assert!(faults.iter().eq([Fault::Missed]));
    assert!(blocks.iter().any(|filled| filled.block().rung == 1));
}

#[test]
fn a_stuck_channel_is_named_and_a_clipped_one_is_not() {
    let (mut collector, mut filled) = (Collector::<6, 20>::new(), Filled::new());
    for index in 0..21 {
        let moving = index as i32 * 7;
        let counts = [moving, 5, 8_388_607, -8_388_608, 0, moving];
        collector.push(&Sample { index, rung: 0, counts, faults: Faults::default() }, &mut filled);
    }
    assert_eq!(filled.stuck(), 0b01_0010);
    assert!(filled.faults().iter().eq([Fault::Stuck]));
}

/// What may happen to one conversion.
#[derive(Debug, Clone)]
enum Event {
    Served(f64),
    Unserved,
    TurnedIn(Vec<usize>),
    TurnedOut(Vec<usize>),
    Rung(u8),
    Twice(f64),
    Reset,
}

fn event() -> impl Strategy<Value = Event> {
    let bits = || prop::collection::vec(0..240_usize, 1..=3);
    prop_oneof![
        60 => (0.0..0.45).prop_map(Event::Served),
        4 => Just(Event::Unserved),
        4 => bits().prop_map(Event::TurnedIn),
        4 => bits().prop_map(Event::TurnedOut),
        4 => (0_u8..6).prop_map(Event::Rung),
        4 => (0.05..0.45).prop_map(Event::Twice),
        1 => Just(Event::Reset),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: ProptestConfig::default().cases.max(2000),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Whatever happens on the wires: a sample that is given out is the sample of its number, and apart from the few
    /// that a change of gain spoils, it was taken at the gain of its rung.
    #[test]
    fn no_sample_is_wrong(events in prop::collection::vec(event(), 1..300), drift_ppm in -300.0..300.0) {
        let mut bench = Bench::new(Part::Eight);
        bench.period *= 1.0 + drift_ppm * 1e-6;
        for event in events {
            match event {
                Event::Served(late) => bench.convert(Some(late)),
                Event::Unserved => bench.convert(None),
                Event::TurnedIn(bits) => {
                    bench.wires.0.borrow_mut().turn_in = bits;
                    bench.convert(Some(0.1));
                }
                Event::TurnedOut(bits) => {
                    bench.wires.0.borrow_mut().turn_out = bits;
                    bench.convert(Some(0.1));
                }
                Event::Rung(rung) => bench.converter.stream().set_rung(rung),
                Event::Twice(after) => {
                    bench.convert(Some(0.0));
                    let again = (bench.time + after * bench.period) as u64 as u32;
                    let sample = bench.converter.read(again).unwrap();
                    prop_assert_eq!(sample, None);
                }
                Event::Reset => bench.wires.0.borrow_mut().reset(),
            }
            if bench.converter.stream().is_down() {
                let mut reset = bench.wires.clone();
                prop_assert!(bench.converter.restart(&mut reset, &mut NoopDelay).is_ok());
            }
        }
        bench.assert_true_counts();
        let mut rung = (0, 0);
        for sample in &bench.samples {
            if sample.rung != rung.1 {
                rung = (sample.index, sample.rung);
            }
            let settled = sample.index >= rung.0 + u64::from(SETTLE_SAMPLES) || rung.0 == 0;
            let truth = bench.truth[bench.conversion(sample) as usize];
            prop_assert!(!settled || truth == sample.rung, "sample {} at {}, not {}", sample.index, truth, sample.rung);
        }
    }
}
