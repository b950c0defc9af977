//! What is remembered of a locate.

use nullwalk_core::locate::{Guidance, Phase};
use nullwalk_core::verdict::{Fix, Judgement, Reasons};

use super::{Event, Moment, Outcome};

/// Keeps the moments worth telling, and the last fix.
#[derive(Debug, Clone)]
pub struct Diary {
    rate_hz: f64,
    /// Sample at which it ends so far.
    pub end: u64,
    rung: Option<u8>,
    last: Option<Guidance>,
    fix: Option<Fix>,
    fixes: usize,
    carrier_offset_hz: f32,
    best_snr_db: f32,
    log: Vec<Moment>,
}

impl Diary {
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            end: 0,
            rung: None,
            last: None,
            fix: None,
            fixes: 0,
            carrier_offset_hz: 0.0,
            best_snr_db: 0.0,
            log: Vec::new(),
        }
    }

    fn add(&mut self, at: u64, event: Event) {
        self.log.push(Moment { time_s: at as f64 / self.rate_hz, event });
    }

    pub fn note_rung(&mut self, at: u64, rung: u8) {
        if self.rung.replace(rung) != Some(rung) {
            self.add(at, Event::Rung(rung));
        }
    }

    pub fn note(&mut self, now: &Guidance, fix: Option<&Fix>) {
        let last = self.last.take();
        let last = last.as_ref();
        if last.map(|l| l.phase) != Some(now.phase) {
            self.add(now.at, Event::Phase(now.phase));
        }
        if let Some(sweep) = now.sweep {
            self.add(now.at, Event::Sweep(sweep));
        }
        if let Some(trouble) = now.trouble.filter(|t| last.and_then(|l| l.trouble) != Some(*t)) {
            self.add(now.at, Event::Trouble(trouble));
        }
        if now.mark.is_some() && last.is_none_or(|l| l.mark.is_none()) {
            self.add(now.at, Event::Marked);
        }
        if now.crossed && last.is_none_or(|l| !l.crossed) {
            self.add(now.at, Event::Crossed);
        }
        if let Some(fix) = fix {
            if self.fix.is_none() {
                self.add(now.at, Event::Fixed);
            }
            self.fix = Some(fix.clone());
            self.fixes += 1;
        }
        if now.phase != Phase::Listen {
            self.carrier_offset_hz = now.carrier_offset_hz;
            self.best_snr_db = self.best_snr_db.max(now.snr_db);
        }
        self.last = Some(now.clone());
    }

    pub fn close(self, refusal: Reasons) -> Outcome {
        let judgement = self.fix.as_ref().map(|fix| fix.judgement.clone());
        Outcome {
            judgement: judgement.unwrap_or_else(|| Judgement::refused(refusal)),
            fix: self.fix,
            duration_s: self.end as f64 / self.rate_hz,
            log: self.log,
            carrier_offset_hz: self.carrier_offset_hz,
            best_snr_db: self.best_snr_db,
            fixes: self.fixes,
        }
    }
}
