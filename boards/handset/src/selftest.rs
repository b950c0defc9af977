//! The self-test at the start: what to try next, what to make of it, and words for what is wrong.
//!
//! It does no input or output. The board asks for the [`Trial`], carries it out, and tells what came of it.
//!
//! ```text
//! Start -> noise of the shorted inputs -> a known level on every rung -> the coils on every rung -> storage
//! ```

use heapless::Vec;
use nullwalk_core::frame::MAX_CHANNELS;
use nullwalk_core::gain::Ladder;
use nullwalk_core::math;
use nullwalk_drivers::converter::{Fault, Faults, Filled, Input};

/// Samples over which a reading is taken: a tenth of a second at 8 kHz, whole periods of 50 and 60 Hz.
const READING: u32 = 800;
/// Samples passed over before it: more than any front end takes to settle.
const SETTLE: u32 = 800;
/// A trial that has not ended by then never will, milliseconds.
const PATIENCE_MS: u32 = 3000;
/// Own noise may be this many times more or less than the part's, which differs with temperature and piece.
const NOISE_RATIO: f32 = 4.0;
/// A level in the part is within this share of what it should be; gains are off by far less.
const LEVEL_SHARE: f32 = 0.1;
/// What the coils hear on one rung is this much more or less of what they hear on the next, after the ladder: the world
/// changes in a tenth of a second, but gains are a factor of two apart or more.
const STEP_RATIO: f32 = 1.4;
/// Coils are compared between rungs only where they read this many times the shorted inputs' noise on the lower one.
const ABOVE_NOISE: f32 = 6.0;

/// What is checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Check {
    /// The converter answers and gives samples.
    Converter,
    /// Its own noise is what it should be.
    Noise,
    /// Every rung reads a known level as it should.
    Ladder,
    /// Every channel hears something.
    Coils,
    /// The field book keeps what it is given.
    Storage,
}

impl Check {
    /// All, in order.
    pub const ALL: [Self; 5] = [Self::Converter, Self::Noise, Self::Ladder, Self::Coils, Self::Storage];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Converter => "converter",
            Self::Noise => "own noise",
            Self::Ladder => "gain ladder",
            Self::Coils => "coils",
            Self::Storage => "field book",
        }
    }
}

/// What is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wrong {
    /// The converter did not start.
    NotStarted,
    /// It started, and no samples come.
    Silent,
    /// Its samples come with faults.
    Faulty(Fault),
    /// A channel gives one and the same value.
    Flat,
    /// Its own noise is far below what the part has: it does not convert.
    TooQuiet,
    /// Its own noise is far above.
    TooNoisy,
    /// A known level does not read as it should on this rung.
    Level {
        /// The rung.
        rung: u8,
    },
    /// From this rung to the next, the reading does not change as the ladder says.
    Step {
        /// The lower rung.
        rung: u8,
    },
    /// The coil drives the channel to its rail even on the lowest rung.
    AtRail,
    /// Storage does not give back what it was given.
    NotKept,
}

/// What the self-test found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Finding {
    /// What was checked.
    pub check: Check,
    /// The channel, if it is one.
    pub channel: Option<u8>,
    /// What is wrong.
    pub wrong: Wrong,
}

impl Finding {
    /// What is wrong, for a technician.
    pub const fn sentence(self) -> &'static str {
        match self.wrong {
            Wrong::NotStarted => "The converter does not answer.",
            Wrong::Silent => "The converter answers, but no samples come.",
            Wrong::Faulty(fault) => fault.sentence(),
            Wrong::Flat => "The channel gives one and the same value.",
            Wrong::TooQuiet => "The channel is quieter than any converter is.",
            Wrong::TooNoisy => "The channel is noisy with its input shorted.",
            Wrong::Level { .. } => "A known level reads wrong on one rung.",
            Wrong::Step { .. } => "The coil reads another field from one rung to the next.",
            Wrong::AtRail => "The signal is at full scale on the lowest rung.",
            Wrong::NotKept => "What is written to the field book does not come back.",
        }
    }

    /// What to do.
    pub const fn remedy(self) -> &'static str {
        match self.wrong {
            Wrong::NotStarted => "Look at its supply, its crystal, and clock, select and data wires.",
            Wrong::Silent => "Look at the wire of data-ready.",
            Wrong::Faulty(_) => "Mend that, and start again.",
            Wrong::Flat => "Look at that channel's input and plug.",
            Wrong::TooQuiet => "Look at the converter's reference and supply.",
            Wrong::TooNoisy => "Look at the supply and at the ground of that channel.",
            Wrong::Level { .. } => "Do not trust this converter: change it.",
            Wrong::Step { .. } => "Start again away from machines; if it stays, change the part.",
            Wrong::AtRail => "Move away from machines, or look for a short to the supply.",
            Wrong::NotKept => "Write stations on paper; change the storage.",
        }
    }
}

/// How far a check has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Progress {
    /// Not yet begun.
    #[default]
    Waits,
    /// Under way.
    Runs,
    /// Nothing is wrong.
    Good,
    /// Something is wrong.
    Bad,
    /// Cannot be done, since something before it is wrong.
    Skipped,
}

/// The most findings that are kept: more would not be read.
pub const MAX_FINDINGS: usize = 16;

/// What the self-test says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Report {
    progress: [Progress; Check::ALL.len()],
    findings: Vec<Finding, MAX_FINDINGS>,
}

impl Report {
    /// How far a check has come.
    pub fn progress(&self, check: Check) -> Progress {
        self.progress.get(check as usize).copied().unwrap_or_default()
    }

    /// What was found.
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    fn set(&mut self, check: Check, progress: Progress) {
        if let Some(place) = self.progress.get_mut(check as usize) {
            *place = progress;
        }
    }

    fn add(&mut self, check: Check, channel: Option<u8>, wrong: Wrong) {
        self.set(check, Progress::Bad);
        let finding = Finding { check, channel, wrong };
        if !self.findings.contains(&finding) {
            // Where there is no room, enough is wrong already.
            let _ = self.findings.push(finding);
        }
    }
}

/// What a level in the part is known by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Level {
    /// Volts before the gain: each rung reads them its own way.
    Volts(f32),
    /// A share of full scale that the part makes on every rung.
    Share(f32),
}

/// What a sound front end reads.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// The ladder.
    pub ladder: Ladder,
    /// Counts at full scale.
    pub full_scale_counts: i32,
    /// Own noise on the lowest rung with inputs shorted, counts rms.
    pub noise_counts: f32,
    /// The level of [`Input::Positive`], and with the other sign of [`Input::Negative`].
    pub level: Level,
}

/// What the board is to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trial {
    /// Start the converter, and tell [`SelfTest::started`].
    Start,
    /// Let it listen to this on that rung, and hand over the blocks that come.
    Listen {
        /// To what.
        input: Input,
        /// On which rung.
        rung: u8,
    },
    /// Write to storage and read back, and tell [`SelfTest::stored`].
    Store,
    /// Nothing: the test is over.
    Over,
}

/// Sums of a reading.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    first: i32,
    sum: f32,
    squares: f32,
    differs: bool,
    at_rail: bool,
}

impl Sums {
    fn push(&mut self, count: i32, rail: i32, is_first: bool) {
        if is_first {
            *self = Self { first: count, ..Self::default() };
        }
        // About the first value, so that a level does not swamp the noise.
        let off = count.wrapping_sub(self.first) as f32;
        self.sum += off;
        self.squares += off * off;
        self.differs |= count != self.first;
        self.at_rail |= count.unsigned_abs() >= rail.unsigned_abs();
    }

    fn mean(&self) -> f32 {
        self.first as f32 + self.sum / READING as f32
    }

    fn rms(&self) -> f32 {
        let mean = self.sum / READING as f32;
        math::sqrt((self.squares / READING as f32 - mean * mean).max(0.0))
    }
}

/// The test, as far as it has come.
#[derive(Debug, Clone)]
pub struct SelfTest<const C: usize> {
    expected: Expected,
    trial: Trial,
    began_ms: Option<u32>,
    passed_over: u32,
    taken: u32,
    sums: [Sums; C],
    /// Own noise of each channel on the lowest rung, and what its coil gave on the rung before.
    noise: [f32; C],
    below: [Option<f32>; C],
    report: Report,
}

impl<const C: usize> SelfTest<C> {
    /// A test of a front end that is expected to be so.
    pub fn new(expected: Expected) -> Self {
        const { assert!(C <= MAX_CHANNELS) };
        let mut report = Report::default();
        report.set(Check::Converter, Progress::Runs);
        Self {
            expected,
            trial: Trial::Start,
            began_ms: None,
            passed_over: 0,
            taken: 0,
            sums: [Sums::default(); C],
            noise: [0.0; C],
            below: [None; C],
            report,
        }
    }

    /// What to do next.
    pub const fn trial(&self) -> Trial {
        self.trial
    }

    /// What was found so far.
    pub const fn report(&self) -> &Report {
        &self.report
    }

    /// Whether the converter started.
    pub fn started(&mut self, started: bool) {
        if self.trial != Trial::Start {
            return;
        }
        if started {
            self.listen(Input::Shorted, 0);
        } else {
            self.give_up(Wrong::NotStarted);
        }
    }

    /// Whether what was written to storage came back.
    pub fn stored(&mut self, kept: bool) {
        if self.trial != Trial::Store {
            return;
        }
        if !kept {
            self.report.add(Check::Storage, None, Wrong::NotKept);
        }
        self.end(Check::Storage);
        self.trial = Trial::Over;
    }

    /// Time goes on (wrapping): what takes too long is wrong.
    pub fn tick(&mut self, now_ms: u32) {
        let began_ms = *self.began_ms.get_or_insert(now_ms);
        if now_ms.wrapping_sub(began_ms) >= PATIENCE_MS {
            match self.trial {
                Trial::Start => self.give_up(Wrong::NotStarted),
                Trial::Listen { .. } => self.give_up(Wrong::Silent),
                Trial::Store => self.stored(false),
                Trial::Over => {}
            }
        }
    }

    /// Take in a block. Blocks on another rung than the trial's are from before it.
    pub fn push<const N: usize>(&mut self, filled: &Filled<C, N>) {
        let Trial::Listen { input, rung } = self.trial else { return };
        let block = filled.block();
        if block.rung != rung {
            return;
        }
        let rail = self.expected.ladder.rail_counts();
        for frame in block.frames {
            if self.passed_over < SETTLE {
                self.passed_over += 1;
                continue;
            }
            if self.taken >= READING {
                break;
            }
            for (sums, count) in self.sums.iter_mut().zip(frame) {
                sums.push(*count, rail, self.taken == 0);
            }
            self.taken += 1;
        }
        if self.taken > 0 {
            self.faults(filled.faults());
        }
        if self.taken >= READING {
            self.read(input, rung);
        }
    }

    /// Faults of the conversation; a stuck channel is found by the reading itself.
    fn faults(&mut self, faults: Faults) {
        for fault in faults.iter().filter(|fault| *fault != Fault::Stuck) {
            self.report.add(Check::Converter, None, Wrong::Faulty(fault));
        }
    }

    /// A reading is complete.
    fn read(&mut self, input: Input, rung: u8) {
        let top = self.expected.ladder.top();
        match input {
            Input::Shorted => {
                self.end(Check::Converter);
                self.noise();
                self.end(Check::Noise);
                self.listen(Input::Positive, 0);
            }
            Input::Positive => {
                self.level(rung, 1.0);
                self.listen(Input::Negative, rung);
            }
            Input::Negative => {
                self.level(rung, -1.0);
                if rung < top {
                    self.listen(Input::Positive, rung + 1);
                } else {
                    self.end(Check::Ladder);
                    self.listen(Input::Coil, 0);
                }
            }
            Input::Coil => {
                self.coils(rung);
                if rung < top {
                    self.listen(Input::Coil, rung + 1);
                } else {
                    self.end(Check::Coils);
                    self.store();
                }
            }
        }
    }

    fn noise(&mut self) {
        let expected = self.expected.noise_counts;
        for (channel, (sums, noise)) in (0_u8..).zip(self.sums.iter().zip(&mut self.noise)) {
            *noise = sums.rms();
            let wrong = if !sums.differs {
                Wrong::Flat
            } else if *noise * NOISE_RATIO < expected {
                Wrong::TooQuiet
            } else if *noise > expected * NOISE_RATIO {
                Wrong::TooNoisy
            } else {
                continue;
            };
            self.report.add(Check::Noise, Some(channel), wrong);
        }
    }

    fn level(&mut self, rung: u8, sign: f32) {
        let Expected { ladder, full_scale_counts, level, .. } = &self.expected;
        let full_scale = *full_scale_counts as f32;
        let expected = match level {
            Level::Volts(volts) => volts / ladder.coil_volts_per_count(rung),
            Level::Share(share) => share * full_scale,
        };
        if expected >= ladder.rail_counts() as f32 {
            // It reads no more than full scale, and says nothing.
            return;
        }
        for (channel, sums) in (0_u8..).zip(&self.sums) {
            let off = sums.mean() - sign * expected;
            if off.abs() > LEVEL_SHARE * expected {
                self.report.add(Check::Ladder, Some(channel), Wrong::Level { rung });
            }
        }
    }

    fn coils(&mut self, rung: u8) {
        let ladder = &self.expected.ladder;
        let step = ladder.rung(rung).gain / ladder.rung(rung.saturating_sub(1)).gain;
        let channels = self.sums.iter().zip(&mut self.below).zip(&self.noise);
        for (channel, ((sums, below), noise)) in (0_u8..).zip(channels) {
            let rms = sums.rms();
            // What clips says nothing of the step to it or from it.
            let before = core::mem::replace(below, (!sums.at_rail).then_some(rms));
            let compared = before.filter(|before| !sums.at_rail && *before > ABOVE_NOISE * noise);
            let wrong = if sums.at_rail && rung == 0 {
                Wrong::AtRail
            } else if !sums.differs && !sums.at_rail {
                Wrong::Flat
            } else if compared.is_some_and(|before| {
                let expected = before * step;
                rms > expected * STEP_RATIO || rms * STEP_RATIO < expected
            }) {
                Wrong::Step { rung: rung.saturating_sub(1) }
            } else {
                continue;
            };
            let check = if matches!(wrong, Wrong::Step { .. }) { Check::Ladder } else { Check::Coils };
            self.report.add(check, Some(channel), wrong);
        }
    }

    fn listen(&mut self, input: Input, rung: u8) {
        let check = match input {
            Input::Shorted => Check::Noise,
            Input::Positive | Input::Negative => Check::Ladder,
            Input::Coil => Check::Coils,
        };
        if self.report.progress(check) == Progress::Waits {
            self.report.set(check, Progress::Runs);
        }
        (self.trial, self.began_ms) = (Trial::Listen { input, rung }, None);
        (self.passed_over, self.taken) = (0, 0);
    }

    fn store(&mut self) {
        self.report.set(Check::Storage, Progress::Runs);
        (self.trial, self.began_ms) = (Trial::Store, None);
    }

    /// A check is over; where nothing was found, it is good.
    fn end(&mut self, check: Check) {
        if self.report.progress(check) != Progress::Bad {
            self.report.set(check, Progress::Good);
        }
    }

    /// Without a converter, only storage can be tried.
    fn give_up(&mut self, wrong: Wrong) {
        self.report.add(Check::Converter, None, wrong);
        for check in [Check::Noise, Check::Ladder, Check::Coils] {
            if matches!(self.report.progress(check), Progress::Waits | Progress::Runs) {
                self.report.set(check, Progress::Skipped);
            }
        }
        self.store();
    }
}
