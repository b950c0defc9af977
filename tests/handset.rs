//! Ten minutes with the handset in the simulated technician's hand: converter, driver, queue, core, book and screen,
//! with everything going wrong that can on the way from the coils to the book.
//!
//! No fix may agree and be wrong, and every fault must be named.

#[path = "../boards/drivers/tests/common/mod.rs"]
mod chip;
#[path = "../boards/handset/tests/common/ram.rs"]
mod ram;

use std::collections::BTreeSet;

use chip::{Chip, Wires};
use embedded_hal::delay::DelayNs;
use nullwalk::run::{self, Outcome};
use nullwalk::site::{Site, Sonde, Truth};
use nullwalk::synth::{Guided as _, Simulation};
use nullwalk_core::frame::{MastReading, SampleSource as _};
use nullwalk_core::locate::{Guidance, Settings};
use nullwalk_core::record::{FaultKind, Kind, Record, Reset};
use nullwalk_core::verdict::{Fix, Reason, Reasons, Verdict};
use nullwalk_core::words;
use nullwalk_drivers::buttons::Press;
use nullwalk_drivers::converter::{Clock, Converter, Gains, Part, Rate, Setup};
use nullwalk_handset::intake::{Inlet, Packets};
use nullwalk_handset::menu::Key;
use nullwalk_handset::screen::{Canvas, draw};
use nullwalk_handset::selftest::Report;
use nullwalk_handset::view::Page;
use nullwalk_handset::{Fitting, Handset};
use nullwalk_tests::{Compared, simulation, site};
use ram::RamBook;
use rand::{RngExt as _, SeedableRng as _, rngs::StdRng};
use rayon::prelude::*;

/// Frames of a packet.
const FRAMES: usize = 40;
const PERIOD_US: f64 = 125.0;
const FULL_SCALE: f64 = 8_388_608.0;
/// What the stand-in's registers are set to on each rung; how much that is, the site says.
const FACTORS: [u8; 5] = [1, 4, 16, 64, 128];
/// How far places may be off in a confident answer: twice the circle of 95 %.
const PLACE_SIGMAS: f64 = 2.0 * 2.448;

/// What goes wrong.
#[derive(Debug, Clone, Copy)]
enum Wrong {
    Nothing,
    /// One block in twenty is not read in time, now this one, now that.
    Dropped,
    /// Every so manieth block, of twenty in a hop: the same part of every hop, so that what bridges it is itself bridged.
    Every(u64),
    /// The slow side is away for 0.3 s now and then, and the queue holds a quarter of that.
    Busy,
    /// So many frames in a million have one to three bits turned, on their way to the part or from it.
    Flipped(u32),
    /// From a second on, a channel stands still.
    Stuck {
        channel: usize,
        from_s: f64,
    },
    /// The sampling clock is so many parts per million too fast.
    Clock(f64),
    /// The part is reset every so many seconds.
    Resets(u64),
    /// Blocks are dropped, bits turned and the clock is too fast, all at once.
    All,
}

impl Wrong {
    /// Frames in a million with bits turned.
    fn flips_ppm(self) -> u32 {
        match self {
            Self::Flipped(ppm) => ppm,
            Self::All => 200,
            _ => 0,
        }
    }

    fn clock_ppm(self) -> f64 {
        match self {
            Self::Clock(ppm) => ppm,
            Self::All => 200.0,
            _ => 0.0,
        }
    }
}

/// A run to carry out.
struct Scene {
    wrong: Wrong,
    seed: u64,
    /// What must be told.
    named: &'static [FaultKind],
    /// What may be told besides.
    also: &'static [FaultKind],
    /// Whether the locate must come to a good end all the same.
    agrees: bool,
}

/// What came of it.
struct Ran {
    seconds: f64,
    fixes: Vec<Fix>,
    stations: Vec<Result<Fix, Reasons>>,
    /// What was written down of faults, and what was shown of them.
    faults: BTreeSet<String>,
    shown: BTreeSet<&'static str>,
    channels: BTreeSet<u8>,
    truth: Truth,
}

struct NoDelay;

impl DelayNs for NoDelay {
    fn delay_ns(&mut self, _: u32) {}
}

/// The ground of all runs: one sonde, white noise, amplifiers that settle as fast as the converter's own.
fn ground(wrong: Wrong) -> Site {
    let mut site = site("clean-level");
    let mut sonde = Sonde { depth_m: 1.2, lay_deg: 70.0, ..Sonde::default() };
    // Sampled too fast, a tone seems too low.
    sonde.offset_hz = -site.signal.tone_hz * wrong.clock_ppm() * 1e-6;
    site.source = vec![sonde];
    site.front_end.rungs.iter_mut().for_each(|rung| rung.settle_s = 0.0005);
    site
}

/// The converter with coils in a simulated world, and the wires to it.
struct World {
    simulation: Simulation<6>,
    wires: Wires,
    converter: Converter<Wires, 6>,
    wrong: Wrong,
    random: StdRng,
    index: u64,
    stood_at: i32,
    dropped: bool,
}

impl World {
    /// A sample of all channels, taken at the simulator's rung, as the part gives it on the rung that it is set to.
    fn scaled(&self, frame: [i32; 6], rung: u8, gains: &[f64]) -> [i32; 6] {
        let factor = 1 << self.wires.0.borrow().gain(0);
        let set = FACTORS.iter().position(|known| *known == factor).unwrap_or(0);
        let ratio = gains[set] / gains[usize::from(rung)];
        frame.map(|count| (f64::from(count) * ratio).round().clamp(-FULL_SCALE, FULL_SCALE - 1.0) as i32)
    }

    /// Whether the interrupt comes for this sample.
    fn is_served(&mut self) -> bool {
        if self.index.is_multiple_of(FRAMES as u64) {
            self.dropped = match self.wrong {
                Wrong::Dropped | Wrong::All => self.random.random_range(0..20) == 0,
                Wrong::Every(nth) => self.index / FRAMES as u64 % nth == nth / 2,
                _ => false,
            };
        }
        !self.dropped
    }

    fn spoil(&mut self, counts: &mut [i32; 6]) {
        let seconds = self.index as f64 / 8000.0;
        let flips_ppm = self.wrong.flips_ppm();
        if flips_ppm > 0 && self.random.random_range(0..1_000_000) < flips_ppm {
            let mut chip = self.wires.0.borrow_mut();
            let bits = 8 * 3 * (chip.channels + 2);
            for _ in 0..self.random.random_range(1..=3) {
                let bit = self.random.random_range(0..bits);
                if self.random.random() { chip.turn_in.push(bit) } else { chip.turn_out.push(bit) }
            }
        }
        match self.wrong {
            Wrong::Stuck { channel, from_s } if seconds >= from_s => counts[channel] = self.stood_at,
            Wrong::Stuck { channel, .. } => self.stood_at = counts[channel],
            Wrong::Resets(every_s) if self.index % (8000 * every_s) == 4000 => {
                self.wires.0.borrow_mut().reset()
            }
            _ => {}
        }
    }
}

fn handset(site: &Site) -> Handset<6> {
    Handset::new(Fitting {
        rate_hz: site.signal.sample_rate_hz as f32,
        ticks_hz: 1_000_000,
        tone_hz: site.signal.tone_hz as f32,
        ladder: site.front_end.ladder().unwrap(),
        array: site.array.array().unwrap().unwrap(),
        settings: site.signal.settings(Settings::default()),
        build: Default::default(),
        calibration: Default::default(),
        reset: Reset::PowerOn,
        last_words: Default::default(),
    })
    .unwrap()
}

/// The latest of what the person was told, and how the mast was held then.
fn last_said(book: &RamBook) -> Option<(Guidance, MastReading)> {
    let mut newest = book
        .records
        .iter()
        .rev()
        .take(8)
        .map(|bytes| nullwalk_core::record::Envelope::whole(bytes).unwrap().open().unwrap());
    let guidance = newest.find_map(|record| match record {
        Record::Guidance(guidance) => Some(guidance),
        _ => None,
    })?;
    let mast = newest.find_map(|record| match record {
        Record::Hop(hop) => Some(hop.mast),
        _ => None,
    })?;
    Some((guidance, mast))
}

/// One locate, from the first sample to the end of the walk. The station is marked after two seconds of a fix.
fn run(scene: &Scene) -> Ran {
    let site = ground(scene.wrong);
    let gains: Vec<f64> = site.front_end.rungs.iter().map(|rung| rung.gain).collect();
    let mut wires = Wires::to(Chip::new(6));
    let setup = Setup {
        part: Part::Six,
        rate: Rate::Hz8000,
        clock: Clock::Crystal,
        gains: Gains::new(&FACTORS).unwrap(),
        ticks_hz: 1_000_000,
    };
    let converter = Converter::start(wires.clone(), &mut wires, &mut NoDelay, setup).unwrap();
    let mut world = World {
        simulation: simulation(&site, 0, scene.seed),
        wires: wires.clone(),
        converter,
        wrong: scene.wrong,
        random: StdRng::seed_from_u64(scene.seed),
        index: 0,
        stood_at: 0,
        dropped: false,
    };
    let truth = world.simulation.truth().cloned().unwrap();
    let mut packets = Packets::<6, FRAMES, 16>::new();
    let (producer, mut outlet) = packets.split();
    let mut inlet = Inlet::new(producer);
    let (mut handset, mut book) = (handset(&site), RamBook::default());
    let mut canvas = Canvas::<16, 64>::new();
    handset.begin(&Report::default(), &mut book);
    let mut tick = 0.0;
    let period = PERIOD_US / (1.0 + scene.wrong.clock_ppm() * 1e-6);
    let mut frames = vec![[0; 6]; 400];
    let mut fix_since = None;
    let mut shown = BTreeSet::new();
    let mut stations = 0;
    while let Ok(Some(info)) = world.simulation.read(&mut frames) {
        let mut mast = info.mast;
        for frame in &frames[..info.frames] {
            let mut counts = world.scaled(*frame, info.rung, &gains);
            world.spoil(&mut counts);
            world.wires.0.borrow_mut().convert(counts.to_vec());
            tick += period;
            if world.is_served() {
                let tick = tick as u64 as u32;
                if let Some(sample) = world.converter.read(tick).unwrap() {
                    inlet.push(&sample, tick);
                }
            }
            world.index += 1;
            let away = matches!(scene.wrong, Wrong::Busy) && world.index % 40_000 > 37_600;
            if world.index.is_multiple_of(FRAMES as u64) && !away {
                while let Some(packet) = outlet.dequeue() {
                    handset.take(&packet, mast.take(), &mut book);
                }
                handset.tick((world.index / 8) as u32, &mut book);
                world.converter.stream().set_rung(handset.wanted_rung());
                if world.converter.stream().is_down() {
                    world.converter.restart(&mut wires, &mut NoDelay).unwrap();
                }
            }
        }
        let view = handset.view();
        let Ok(()) = draw(&view, &mut canvas);
        shown.extend(view.notice);
        match view.page {
            Page::Fault(kind, _) => shown.extend([words::fault(kind)]),
            Page::Guide(guidance) => shown.extend(guidance.trouble.map(words::reason_word)),
            _ => {}
        }
        if let Some((guidance, mast)) = last_said(&book) {
            world.simulation.respond(run::cue_for(&guidance, &mast));
        }
        let factor = 1 << wires.0.borrow().gain(0);
        let set = FACTORS.iter().position(|known| *known == factor).unwrap_or(0);
        world.simulation.set_rung(set as u8);
        let is_fixed = matches!(handset.view().page, Page::Fix(_));
        fix_since = if is_fixed { fix_since.or(Some(world.index)) } else { None };
        if stations == 0 && fix_since.is_some_and(|since| world.index - since > 16_000) {
            handset.press(Key::Mark, Press::Short, &mut book);
            stations += 1;
        }
    }
    if stations == 0 {
        handset.press(Key::Mark, Press::Short, &mut book);
    }
    let mut ran = Ran {
        seconds: world.index as f64 / 8000.0,
        fixes: Vec::new(),
        stations: Vec::new(),
        faults: BTreeSet::new(),
        shown,
        channels: BTreeSet::new(),
        truth,
    };
    for record in [Kind::Fix, Kind::Station, Kind::Fault].into_iter().flat_map(|kind| book.of(kind)) {
        match record {
            Record::Fix(fix) => ran.fixes.push(fix),
            Record::Station(station) => ran.stations.push(station.found),
            Record::Fault(fault) => {
                ran.faults.insert(format!("{:?}", fault.kind));
                ran.channels.extend(fault.channel);
            }
            _ => {}
        }
    }
    ran
}

/// Whether a fix is stated with confidence and far from the truth.
fn is_confidently_wrong(fix: &Fix, truth: &Truth) -> bool {
    let outcome = Outcome {
        fix: Some(fix.clone()),
        judgement: fix.judgement.clone(),
        duration_s: 0.0,
        log: Vec::new(),
        carrier_offset_hz: 0.0,
        best_snr_db: 0.0,
        fixes: 1,
    };
    let Some(found) = Compared::new(&outcome, truth) else { return false };
    let misplaced =
        found.off_m.zip(found.place_sigma_m).is_some_and(|(off, sigma)| off > PLACE_SIGMAS * sigma);
    let turned = found.lay_off_deg.is_some_and(|off| off > 10.0);
    fix.judgement.verdict == Verdict::Agree && (!found.holds_truth(2.0) || misplaced || turned)
}

#[test]
fn ten_minutes_of_faults_give_no_wrong_fix_and_every_fault_is_named() {
    use FaultKind::{
        ChannelStuck, ClockOff, ConverterChecksum, ConverterRefused, ConverterReset, ConverterSilent,
        Overrun,
    };
    let scene = |wrong, seed, named, also, agrees| Scene { wrong, seed, named, also, agrees };
    // A frame turned on its way to the part is a command refused, or one taken for another: a reset of the gain.
    let flips: &[FaultKind] = &[Overrun, ConverterReset, ConverterSilent];
    let flips_and_refusals: &[FaultKind] = &[ConverterReset, ConverterSilent, ConverterRefused];
    let scenes = [
        scene(Wrong::Nothing, 1, &[], &[], true),
        scene(Wrong::Dropped, 1, &[Overrun], &[], false),
        scene(Wrong::Dropped, 2, &[Overrun], &[], false),
        scene(Wrong::Every(20), 1, &[Overrun], &[], false),
        scene(Wrong::Every(2), 1, &[Overrun], &[], false),
        scene(Wrong::Busy, 1, &[Overrun], &[], false),
        scene(Wrong::Flipped(20), 1, &[ConverterChecksum, ConverterRefused], flips, false),
        scene(Wrong::Flipped(500), 2, &[ConverterChecksum, ConverterRefused], flips, false),
        scene(Wrong::Stuck { channel: 0, from_s: 40.0 }, 1, &[ChannelStuck], &[], false),
        scene(Wrong::Stuck { channel: 5, from_s: 5.0 }, 2, &[ChannelStuck], &[], false),
        scene(Wrong::Clock(200.0), 1, &[ClockOff], &[], true),
        scene(Wrong::Clock(-200.0), 2, &[ClockOff], &[], true),
        scene(
            Wrong::Resets(7),
            1,
            &[ConverterReset],
            &[Overrun, ConverterRefused, ConverterChecksum],
            false,
        ),
        scene(Wrong::All, 1, &[Overrun, ClockOff, ConverterChecksum], flips_and_refusals, false),
    ];
    let ran: Vec<Ran> = scenes.par_iter().map(run).collect();
    let names = |kinds: &[FaultKind]| -> BTreeSet<String> {
        kinds.iter().map(|kind| format!("{kind:?}")).collect()
    };
    let mut complaints = Vec::new();
    for (scene, ran) in scenes.iter().zip(&ran) {
        let verdicts: Vec<Verdict> =
            ran.stations.iter().flatten().map(|fix| fix.judgement.verdict).collect();
        let told = format!(
            "{:?}, seed {}: {:.0} s, {} fixes kept, station {verdicts:?}, told {:?}",
            scene.wrong,
            scene.seed,
            ran.seconds,
            ran.fixes.len(),
            ran.faults
        );
        println!("{told}");
        let wrong = ran.fixes.iter().chain(ran.stations.iter().flatten());
        if wrong.into_iter().any(|fix| is_confidently_wrong(fix, &ran.truth)) {
            complaints.push(format!("AGREES BUT IS WRONG: {told}"));
        }
        if !ran.faults.is_superset(&names(scene.named)) {
            complaints.push(format!("not every fault is named: {told}"));
        }
        if let Some(kind) = scene.named.iter().find(|kind| !ran.shown.contains(words::fault(**kind))) {
            complaints.push(format!("{kind:?} is not shown: {told}, shown {:?}", ran.shown));
        }
        if !names(&[scene.named, scene.also].concat()).is_superset(&ran.faults) {
            complaints.push(format!("a fault is named that there was not: {told}"));
        }
        // That nothing is heard with half of all samples missing must not be told as if nothing were there.
        let is_told = |found: &Result<Fix, Reasons>| {
            found.as_ref().is_err_and(|reasons| reasons.as_slice().first() == Some(&Reason::Disturbed))
        };
        if matches!(scene.wrong, Wrong::Every(2))
            && !(ran.shown.contains(words::reason_word(Reason::Disturbed))
                && ran.stations.iter().all(is_told))
        {
            complaints.push(format!("not told why nothing is heard: {told}, shown {:?}", ran.shown));
        }
        if let Wrong::Stuck { channel, .. } = scene.wrong {
            if ran.channels != BTreeSet::from([channel as u8]) {
                complaints.push(format!("the wrong channel is named: {told}"));
            }
            if verdicts.iter().any(|verdict| *verdict != Verdict::Refuse) {
                complaints.push(format!("a figure in spite of a stuck channel: {told}"));
            }
        }
        if scene.agrees && verdicts != [Verdict::Agree] {
            complaints.push(format!("a good locate did not come to a good end: {told}"));
        }
    }
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
    let seconds: f64 = ran.iter().map(|ran| ran.seconds).sum();
    assert!(seconds > 600.0, "only {seconds} s were replayed");
}
