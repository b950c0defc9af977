//! The conversation with a running part: which frame to send next, and what the frame that came back means.

use core::num::NonZeroU32;

use nullwalk_core::frame::SampleIndex;

use super::{Command, FRAME_BYTES, Fault, Faults, Gain, Gains, Part, Register, Status, Tally, decode};

/// Garbled frames and wrong gains, without a sound status between them, after which the part is taken for lost.
const LOST_AFTER: u32 = 16;
/// Periods without data-ready after which the part is taken for silent.
const SILENT_AFTER: u32 = 50;
/// Frames to throw away after a pause: the part may hold two samples, the older of which comes first.
const PAUSE: u8 = 2;

/// One sampling instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample<const C: usize> {
    /// Its number, counted by the clock of data-ready through all that is lost.
    pub index: SampleIndex,
    /// Rung in force.
    pub rung: u8,
    /// One count per channel.
    pub counts: [i32; C],
    /// What went wrong since the sample before.
    pub faults: Faults,
}

/// The state of the conversation. It does no input or output: for every data-ready
///
/// 1. send the bytes of [`command`](Self::command), and receive as many,
/// 2. hand what was received to [`take`](Self::take), with the time of data-ready,
/// 3. do both again at once while [`wants_another`](Self::wants_another).
///
/// **Gain.** Both gain registers are written in one frame, then read back, each in the frame of a sample, so that none
/// is lost. Samples carry the new rung from the first that the new gain has touched; those that mix both gains are
/// for the ladder's settling time to blank ([`SETTLE_SAMPLES`](super::SETTLE_SAMPLES)). If what is read back is not
/// what was written, or a frame was garbled meanwhile, the gain is written again, and no sample is given out until it is
/// certain.
///
/// **Lost samples.** The part does not number its samples, so the time of data-ready does: whole periods since the last
/// one, so it must be timed to within half a period. After a longer delay the part holds two samples, of which the older
/// comes first (from memory of the data sheet), so both are thrown away.
#[derive(Debug, Clone)]
pub struct Stream<const C: usize> {
    part: Part,
    gains: Gains,
    period: NonZeroU32,
    /// Data-ready of the latest sample.
    last: Option<u32>,
    next: SampleIndex,
    /// Frames to throw away: two after a pause, of which the second need not wait for data-ready.
    discard: u8,
    wanted: u8,
    rung: u8,
    step: Step,
    /// Nobody knows which gain is in force.
    doubtful: bool,
    /// The command of the frame before: its answer heads the frame that comes.
    before: Command,
    /// The command of the frame that is on its way.
    sent: Command,
    failures: u32,
    down: bool,
    faults: Faults,
    tally: Tally,
}

/// How far a change to a rung has got: what the next frame says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Done,
    Write(u8),
    ReadFirst(u8),
    ReadSecond(u8),
    Confirm(u8),
}

impl<const C: usize> Stream<C> {
    /// A conversation with a part that was just started, with rung 0 in force. `period` is the time from one sample to
    /// the next in ticks of the clock that data-ready is timed by.
    pub fn new(part: Part, gains: Gains, period: NonZeroU32) -> Self {
        Self {
            part,
            gains,
            period,
            last: None,
            next: 0,
            discard: PAUSE,
            wanted: 0,
            rung: 0,
            step: Step::Done,
            doubtful: false,
            before: Command::Null,
            sent: Command::Null,
            failures: 0,
            down: false,
            faults: Faults::default(),
            tally: Tally::default(),
        }
    }

    /// Ask for a rung; numbers above the ladder mean its top.
    pub fn set_rung(&mut self, rung: u8) {
        self.wanted = rung.min(self.gains.top());
    }

    /// Rung that samples carry now.
    pub const fn rung(&self) -> u8 {
        self.rung
    }

    /// The gain of a rung.
    pub fn gain(&self, rung: u8) -> Gain {
        self.gains.rung(rung)
    }

    /// Faults counted since the beginning.
    pub const fn tally(&self) -> &Tally {
        &self.tally
    }

    /// Whether the part must be started again before anything it says can be believed.
    pub const fn is_down(&self) -> bool {
        self.down
    }

    /// Whether data-ready has not come for much too long.
    pub fn is_silent(&self, now: u32) -> bool {
        self.last.is_some_and(|last| {
            // A sample may have come since `now` was read.
            let quiet = now.wrapping_sub(last);
            quiet < u32::MAX / 2 && quiet / self.period >= SILENT_AFTER
        })
    }

    /// The part was started again, and rung 0 is in force. Samples go on counting by the clock, and the rung that was
    /// asked for is set again.
    pub fn restarted(&mut self) {
        (self.rung, self.step, self.doubtful) = (0, Step::Done, false);
        (self.before, self.sent) = (Command::Null, Command::Null);
        (self.discard, self.failures, self.down) = (PAUSE, 0, false);
    }

    /// Whether another frame is to be moved at once, without waiting for data-ready.
    pub const fn wants_another(&self) -> bool {
        self.discard == 1
    }

    /// Bytes of a frame, both ways.
    pub const fn frame_bytes(&self) -> usize {
        self.part.frame_bytes()
    }

    /// The bytes to send in the next frame; only the first [`frame_bytes`](Self::frame_bytes) count.
    pub fn command(&mut self) -> [u8; FRAME_BYTES] {
        if self.step == Step::Done && self.wanted != self.rung {
            self.step = Step::Write(self.wanted);
        }
        self.sent = match self.step {
            Step::Done | Step::Confirm(_) => Command::Null,
            Step::Write(rung) => Command::WriteGains(self.gains.rung(rung)),
            Step::ReadFirst(_) => Command::Read(Register::Gain1 as u8),
            Step::ReadSecond(_) => Command::Read(Register::Gain2 as u8),
        };
        self.sent.frame()
    }

    /// Take the frame that came back, with the time of its data-ready in ticks (wrapping).
    ///
    /// `None` when there is no sample in it that may be believed; why is in the next sample's faults and in the tally.
    pub fn take(&mut self, tick: u32, raw: &[u8]) -> Option<Sample<C>> {
        let before = core::mem::replace(&mut self.before, self.sent);
        let frame = decode::<C>(self.part, raw).ok();
        match frame {
            Some(frame) => self.answer(before, frame.answer),
            None => self.garble(),
        }
        let in_force = self.rung;
        self.proceed();
        // Only a status tells.
        let fresh = frame.filter(|_| before == Command::Null).map(|frame| is_fresh::<C>(frame.answer));
        let index = self.number(tick, fresh)?;
        let frame = frame.filter(|_| !self.down && !self.doubtful)?;
        let faults = core::mem::take(&mut self.faults);
        Some(Sample { index, rung: in_force, counts: frame.counts, faults })
    }

    fn note(&mut self, fault: Fault, times: u32) {
        self.faults = self.faults.with(fault);
        self.tally.add(fault, times);
    }

    /// A frame that cannot be read. What it would have answered is unknown, so the gain is made certain.
    fn garble(&mut self) {
        self.note(Fault::Garbled, 1);
        self.fail();
        self.write_again();
    }

    fn fail(&mut self) {
        self.failures = self.failures.saturating_add(1);
        if self.failures == LOST_AFTER {
            self.note(Fault::LostSync, 1);
            self.down = true;
        }
    }

    /// The answer at the head of a readable frame, to the command of the frame before it.
    fn answer(&mut self, before: Command, answer: u16) {
        let expected = match (before, self.step) {
            (Command::Null, _) => return self.status(Status(answer)),
            (Command::Read(_), Step::ReadSecond(rung) | Step::Confirm(rung)) => {
                Some(self.gains.rung(rung).registers())
            }
            _ => before.acknowledged(),
        };
        if expected.is_some_and(|expected| expected != answer) {
            self.note(Fault::GainNotTaken, 1);
            self.fail();
            self.write_again();
            // A write that we did not send: the part took a garbled command for one, and carries it out all the same.
            self.down |= is_write_acknowledged(answer);
        } else if let Step::Confirm(_) = self.step {
            self.step = Step::Done;
            self.doubtful = false;
        }
    }

    fn status(&mut self, status: Status) {
        if status.refused() {
            self.note(Fault::Refused, 1);
        }
        let fault = if status.was_reset() {
            Fault::Reset
        } else if status.was_resynced() {
            // What acknowledges a write that we did not send looks like this too.
            Fault::Resynced
        } else if !status.is_ours() {
            Fault::WrongStatus
        } else {
            self.failures = 0;
            return;
        };
        self.note(fault, 1);
        self.down = true;
    }

    /// Write the gain once more, and believe no sample until it has been read back.
    fn write_again(&mut self) {
        self.step = match self.step {
            Step::Done => Step::Write(self.rung),
            Step::Write(rung) | Step::ReadFirst(rung) | Step::ReadSecond(rung) | Step::Confirm(rung) => {
                Step::Write(rung)
            }
        };
        self.doubtful = true;
    }

    /// A change of gain goes on by one frame. What was written holds from the next sample on.
    fn proceed(&mut self) {
        self.step = match (self.step, self.sent) {
            (Step::Write(rung), Command::WriteGains(_)) => {
                self.rung = rung;
                Step::ReadFirst(rung)
            }
            (Step::ReadFirst(rung), Command::Read(_)) => Step::ReadSecond(rung),
            (Step::ReadSecond(rung), Command::Read(_)) => Step::Confirm(rung),
            (step, _) => step,
        };
    }

    /// The number of the sample whose data-ready came at `tick`, if it is one to give out. `fresh` is what the part says
    /// of it, if it says anything.
    fn number(&mut self, tick: u32, fresh: Option<bool>) -> Option<SampleIndex> {
        if self.wants_another() {
            self.discard = 0;
            return None;
        }
        let Some(last) = self.last else {
            self.last = Some(tick);
            self.discard = 1;
            return None;
        };
        let half = self.period.get() / 2;
        let periods = match (fresh, tick.wrapping_sub(last).wrapping_add(half) / self.period) {
            (Some(false), _) | (None, 0) => {
                self.note(Fault::Repeated, 1);
                return None;
            }
            // New for sure, so the one before was served very late.
            (Some(true), 0) => 1,
            (_, periods) => periods,
        };
        self.last = Some(tick);
        let missed = periods.wrapping_sub(1);
        let index = self.next.wrapping_add(u64::from(missed));
        self.next = index.wrapping_add(1);
        if missed > 0 {
            self.note(Fault::Missed, missed);
            self.discard = PAUSE;
        }
        if self.discard > 0 {
            self.discard = 1;
            return None;
        }
        Some(index)
    }
}

/// Whether an answer is what the part says to a write.
fn is_write_acknowledged(answer: u16) -> bool {
    answer >> 13 == 0b010
}

/// Whether a status says that the sample with it was not read before.
fn is_fresh<const C: usize>(answer: u16) -> bool {
    let ours = ((1_u16 << C) - 1) as u8;
    Status(answer).fresh() & ours == ours
}
