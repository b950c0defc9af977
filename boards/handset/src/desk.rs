//! What is written down: the book, and what was last said.

use nullwalk_core::frame::SampleIndex;
use nullwalk_core::instrument::Update;
use nullwalk_core::locate::{Guidance, Phase};
use nullwalk_core::record::{Fault, FaultKind, Hop, Record};
use nullwalk_core::verdict::{Fix, Reason};

use crate::book::{Book, BookState, Unkept};
use crate::faults::FaultLog;

/// Keeps records, and remembers what was last said.
#[derive(Debug, Clone)]
pub struct Desk {
    pub book: BookState,
    pub faults: FaultLog,
    /// What to tell the person with the mast.
    pub guidance: Option<Guidance>,
    /// The fix of the hold in progress.
    pub fix: Option<Fix>,
    /// The last fix that was kept.
    kept: Option<Fix>,
    /// Whether a part did not work since the locate began.
    pub tainted: bool,
    /// Best ratio to the noise since the locate began, decibels, and the carrier's offset then.
    pub best: (f32, f32),
    /// Sample that comes next.
    pub now: SampleIndex,
}

impl Desk {
    pub fn new(rate_hz: f32) -> Self {
        Self {
            book: BookState::Open,
            faults: FaultLog::new(rate_hz),
            guidance: None,
            fix: None,
            kept: None,
            tainted: false,
            best: (0.0, 0.0),
            now: 0,
        }
    }

    /// A new locate begins.
    pub fn clear(&mut self) {
        (self.guidance, self.fix, self.kept) = (None, None, None);
        (self.tainted, self.best) = (false, (0.0, 0.0));
    }

    /// Append a record; `true` when it was kept. What is not kept is a fault of its own.
    pub fn keep(&mut self, record: &Record, book: &mut impl Book) -> bool {
        if self.book == BookState::Closed {
            return false;
        }
        match book.append(record) {
            Ok(()) => {
                self.book = BookState::Open;
                true
            }
            Err(unkept) => {
                self.book = BookState::Broken(unkept);
                let kind = match unkept {
                    Unkept::Full => FaultKind::StorageFull,
                    Unkept::Failed => FaultKind::StorageFailed,
                };
                // Told once it can be kept again: until then the book takes nothing.
                if self.faults.notice(self.now, kind, None, 1).is_some() {
                    self.faults.untell(kind);
                }
                false
            }
        }
    }

    /// A fault was noticed.
    pub fn fault(&mut self, kind: FaultKind, channel: Option<u8>, count: u32, book: &mut impl Book) {
        if let Some(fault) = self.faults.notice(self.now, kind, channel, count) {
            self.keep(&Record::Fault(fault), book);
        }
    }

    /// Faults that have waited, or all that are left.
    pub fn due(&mut self, is_end: bool, book: &mut impl Book) {
        let mut due = heapless::Vec::<Fault, 24>::new();
        self.faults.due(self.now, is_end, |fault| {
            // There is room for every fault that is told apart.
            let _ = due.push(fault);
        });
        for fault in due {
            self.keep(&Record::Fault(fault), book);
        }
    }

    /// Take in what the instrument says, measured on `rung`.
    pub fn update<const C: usize>(&mut self, update: &Update<C>, rung: u8, book: &mut impl Book) {
        self.keep(&Record::Hop(Hop::new(update, rung)), book);
        self.keep(&Record::Guidance(update.guidance.clone()), book);
        if update.guidance.phase != Phase::Listen && update.guidance.snr_db > self.best.0 {
            self.best = (update.guidance.snr_db, update.guidance.carrier_offset_hz);
        }
        let fix = update.fix.clone().map(|fix| self.judged(fix));
        // There is a fix at every hop of a hold. The first is kept, then what changes the verdict, and the last.
        match &fix {
            Some(fix) if self.kept.as_ref().is_none_or(|kept| is_news(kept, fix)) => {
                self.keep_fix(fix, book)
            }
            None => self.end_hold(book),
            Some(_) => {}
        }
        self.fix = fix;
        self.guidance = Some(update.guidance.clone());
        self.due(false, book);
    }

    /// What is left of the verdict where a part did not work.
    fn judged(&self, mut fix: Fix) -> Fix {
        if self.tainted {
            fix.judgement = fix.judgement.with(Reason::PartFaulty);
        }
        fix
    }

    /// The hold is over: its last fix is its best.
    pub fn end_hold(&mut self, book: &mut impl Book) {
        let last = self.fix.take();
        if let Some(last) = last.filter(|last| self.kept.as_ref() != Some(last)) {
            self.keep_fix(&last, book);
        }
        self.kept = None;
    }

    fn keep_fix(&mut self, fix: &Fix, book: &mut impl Book) {
        self.keep(&Record::Fix(fix.clone()), book);
        self.kept = Some(fix.clone());
    }
}

fn is_news(kept: &Fix, fix: &Fix) -> bool {
    let (before, now) = (&kept.judgement, &fix.judgement);
    before.verdict != now.verdict || before.reasons != now.reasons
}
