//! The slow side: what becomes of packets, presses and the battery.

use core::fmt::Write as _;

use heapless::String;
use nullwalk_core::array::Array;
use nullwalk_core::error::ConfigError;
use nullwalk_core::frame::{MAX_CHANNELS, MastReading};
use nullwalk_core::gain::Ladder;
use nullwalk_core::instrument::{Instrument, InstrumentState};
use nullwalk_core::locate::{Settings, Sound};
use nullwalk_core::record::{FaultKind, Header, Note, Record, Reset, Station, clipped};
use nullwalk_core::tone::Tone;
use nullwalk_core::verdict::{Reason, Verdict};
use nullwalk_core::words;
use nullwalk_drivers::battery::Charge;
use nullwalk_drivers::buttons::Press;
use nullwalk_drivers::converter::{self, Faults};

use crate::book::{Book, BookState, Unkept};
use crate::clock::ClockWatch;
use crate::desk::Desk;
use crate::intake::Packet;
use crate::menu::{self, Key, Menu, Wish};
use crate::selftest::Report;
use crate::view::{Count, Page, View};

/// A channel is stuck when it did not move in so many blocks in a row. One that does not move for less than that is
/// noise that happens to be still, on the lowest rung.
const STUCK_BLOCKS: u8 = 10;
/// Without a packet for so long, none comes, milliseconds.
const SILENT_MS: u32 = 500;
/// What was done is shown for so long, milliseconds.
const DONE_MS: u32 = 2500;

/// What a handset is made of, and why it started.
#[derive(Debug, Clone)]
pub struct Fitting {
    /// Samples a second.
    pub rate_hz: f32,
    /// Ticks a second of the clock that data-ready is timed by.
    pub ticks_hz: u32,
    /// Tone that is listened for at first, hertz.
    pub tone_hz: f32,
    /// The gain ladder.
    pub ladder: Ladder,
    /// The coils and their calibration.
    pub array: Array,
    /// Settings of the locate.
    pub settings: Settings,
    /// The program, with its version.
    pub build: String<48>,
    /// How and when the coils were calibrated.
    pub calibration: String<64>,
    /// Why it started,
    pub reset: Reset,
    /// and what the last panic said before.
    pub last_words: String<128>,
}

/// The handset: everything it remembers.
#[derive(Debug, Clone)]
pub struct Handset<const C: usize> {
    fitting: Fitting,
    instrument: Instrument<C>,
    state: InstrumentState<C>,
    desk: Desk,
    clock: ClockWatch,
    /// Blocks in which each channel did not move, in a row.
    still: [u8; MAX_CHANNELS],
    began: bool,
    rung: u8,
    held: Option<u8>,
    stations: u16,
    /// What a satellite said of the time last, and when.
    utc: Option<(u64, u32)>,
    charge: Charge,
    sound: bool,
    night: bool,
    menu: Option<Menu>,
    page: usize,
    done: Option<Done>,
    closed: &'static str,
    now_ms: u32,
    /// First tick after the last packet.
    heard_ms: Option<u32>,
    silent: bool,
    report: Report,
}

/// What was done, and since when that is shown.
#[derive(Debug, Clone)]
struct Done {
    what: String<20>,
    more: &'static str,
    since_ms: u32,
}

impl<const C: usize> Handset<C> {
    /// A handset that has not begun.
    ///
    /// # Errors
    /// When tone, rate, coils and settings do not go together.
    pub fn new(fitting: Fitting) -> Result<Self, ConfigError> {
        let instrument = assemble(&fitting, fitting.tone_hz)?;
        let state = instrument.start();
        Ok(Self {
            desk: Desk::new(fitting.rate_hz),
            clock: ClockWatch::new(fitting.rate_hz as u32, fitting.ticks_hz),
            instrument,
            state,
            fitting,
            still: [0; MAX_CHANNELS],
            began: false,
            rung: 0,
            held: None,
            stations: 0,
            utc: None,
            charge: Charge::Full,
            sound: true,
            night: false,
            menu: None,
            page: 0,
            done: None,
            closed: "",
            now_ms: 0,
            heard_ms: None,
            silent: false,
            report: Report::default(),
        })
    }

    /// The self-test is over: a recording begins. What was found goes into the book, and is shown until it was read.
    pub fn begin(&mut self, report: &Report, book: &mut impl Book) {
        self.began = true;
        self.report = report.clone();
        self.write_header(book);
        for finding in report.findings() {
            let check = finding.check as u32;
            self.desk.fault(FaultKind::SelfTest, finding.channel, check, book);
            let text = clipped(finding.sentence());
            self.desk.keep(&Record::Note(Note { at: self.desk.now, text }), book);
        }
    }

    /// Number of the station marked last, so that numbers go on where the book ends.
    pub fn resume_after(&mut self, station: u16) {
        self.stations = station;
    }

    /// What a satellite says of the time at `now_ms`: seconds since 1970. It goes on from there without satellites.
    pub fn set_utc(&mut self, utc_s: u64, now_ms: u32) {
        self.utc = Some((utc_s, now_ms));
    }

    /// Seconds since 1970, once a satellite told them.
    fn utc_s(&self) -> Option<u64> {
        self.utc.map(|(utc_s, told_ms)| utc_s + u64::from(self.now_ms.wrapping_sub(told_ms) / 1000))
    }

    /// Take in a packet, with what the mast's sensors said since the last.
    pub fn take<const N: usize>(
        &mut self,
        packet: &Packet<C, N>,
        mast: Option<MastReading>,
        book: &mut impl Book,
    ) {
        (self.heard_ms, self.silent) = (None, false);
        if !self.began || self.desk.book == BookState::Closed {
            return;
        }
        let block = packet.filled.block();
        self.look_for_faults(packet, book);
        let Self { instrument, state, desk, .. } = self;
        desk.now = block.start.wrapping_add(block.frames.len() as u64);
        self.rung = block.rung;
        instrument.push(state, &block, mast, |update| desk.update(&update, block.rung, book));
    }

    /// The rung that the converter is to be set to.
    pub fn wanted_rung(&mut self) -> u8 {
        self.state.stepper().wanted()
    }

    /// Something is wrong that only the board sees.
    pub fn fault(&mut self, kind: FaultKind, channel: Option<u8>, count: u32, book: &mut impl Book) {
        self.desk.fault(kind, channel, count, book);
    }

    /// How often a fault was noticed, or how much was lost by it.
    pub fn total(&self, kind: FaultKind) -> u32 {
        self.desk.faults.total(kind)
    }

    /// Time goes on: milliseconds, wrapping. To be told after the packets that are there were taken: a slow side that was
    /// away for long does not take that for silence.
    pub fn tick(&mut self, now_ms: u32, book: &mut impl Book) {
        self.now_ms = now_ms;
        let since_ms = *self.heard_ms.get_or_insert(now_ms);
        if now_ms.wrapping_sub(since_ms) >= SILENT_MS && self.began && !self.silent {
            self.silent = true;
            self.desk.fault(FaultKind::ConverterSilent, None, 1, book);
        }
        if self.done.as_ref().is_some_and(|done| now_ms.wrapping_sub(done.since_ms) >= DONE_MS) {
            self.done = None;
        }
    }

    /// Whether no samples come.
    pub const fn is_silent(&self) -> bool {
        self.silent
    }

    /// What the battery is good for.
    pub fn battery(&mut self, charge: Charge, book: &mut impl Book) {
        self.charge = charge;
        if charge == Charge::Empty && self.desk.book != BookState::Closed {
            self.desk.fault(FaultKind::BatteryLow, None, 1, book);
            self.close("The battery is empty. Charge it; all is kept.", book);
        }
    }

    /// A button was used.
    pub fn press(&mut self, key: Key, press: Press, book: &mut impl Book) {
        self.done = None;
        if self.desk.book == BookState::Closed {
            self.open_again(press, book);
        } else if self.page() < self.report.findings().len() {
            // What the self-test found is read one by one, and then gone.
            self.page += 1;
            if self.page >= self.report.findings().len() {
                (self.report, self.page) = (Report::default(), 0);
            }
        } else if let Some(menu) = self.menu {
            self.press_in_menu(menu, key, press, book);
        } else {
            match (key, press) {
                (Key::Mark, _) | (Key::Enter, Press::Long) => self.wish(Wish::Mark, book),
                (Key::Mute, _) => self.wish(Wish::Sound, book),
                (Key::Enter, Press::Short) => self.menu = Some(Menu::MAIN),
                (Key::Up, _) => self.page = self.page.checked_sub(1).unwrap_or(self.pages()),
                (Key::Down, _) => self.page = if self.page < self.pages() { self.page + 1 } else { 0 },
            }
        }
    }

    /// What the headphones play: nothing unless a locate is on.
    pub fn sound(&self) -> Sound {
        let playing = self.desk.guidance.as_ref().filter(|_| {
            self.sound && !self.silent && !self.desk.tainted && self.desk.book != BookState::Closed
        });
        playing.map_or(Sound { pitch_hz: 0.0, loudness: 0.0 }, |guidance| guidance.sound)
    }

    /// What the screen shows.
    pub fn view(&self) -> View<'_> {
        View {
            page: self.shown(),
            tone_hz: self.instrument.tone().tone_hz(),
            rung: self.rung,
            held: self.held.is_some(),
            notice: self.notice(),
            mute: !self.sound,
            night: self.night,
        }
    }

    fn shown(&self) -> Page<'_> {
        if self.desk.book == BookState::Closed {
            return Page::Closed(self.closed);
        }
        if !self.began {
            return Page::Waiting;
        }
        if let Some(finding) = self.report.findings().get(self.page) {
            let of = self.report.findings().len();
            return Page::Finding(*finding, Count { number: self.page + 1, of });
        }
        if let Some(Done { what, more, .. }) = &self.done {
            return Page::Done(what.clone(), more);
        }
        if let Some(menu) = self.menu {
            return Page::Menu(menu, self.menu_settings());
        }
        if let Some((reason, is_remedy)) = self.reason_shown() {
            let count = Count { number: self.page(), of: self.pages() };
            return if is_remedy { Page::Remedy(reason, count) } else { Page::Why(reason, count) };
        }
        if self.silent {
            return Page::Fault(FaultKind::ConverterSilent, None);
        }
        if let Some((kind @ FaultKind::ChannelStuck, channel)) = self.fault_now() {
            return Page::Fault(kind, channel);
        }
        match (&self.desk.fix, &self.desk.guidance) {
            (Some(fix), _) => Page::Fix(fix),
            (None, Some(guidance)) => Page::Guide(guidance),
            (None, None) => Page::Waiting,
        }
    }

    /// The fault to tell of now: a stuck channel before all others, since no figure comes of this locate.
    fn fault_now(&self) -> Option<(FaultKind, Option<u8>)> {
        let Desk { faults, now, .. } = &self.desk;
        faults
            .current(*now, |kind| kind == FaultKind::ChannelStuck)
            .or_else(|| faults.current(*now, |_| true))
    }

    /// What goes on beside the locate.
    fn notice(&self) -> Option<&'static str> {
        match self.desk.book {
            BookState::Broken(Unkept::Full) => Some(words::fault(FaultKind::StorageFull)),
            BookState::Broken(Unkept::Failed) => Some(words::fault(FaultKind::StorageFailed)),
            _ if self.desk.tainted => Some(words::reason_word(Reason::PartFaulty)),
            _ => match self.fault_now() {
                Some((kind, _)) => Some(words::fault(kind)),
                None if self.charge != Charge::Full => Some("battery low"),
                None => None,
            },
        }
    }

    /// Why the verdict is not `Agree`.
    fn reasons(&self) -> &[Reason] {
        self.desk.fix.as_ref().map_or(&[], |fix| fix.judgement.reasons.as_slice())
    }

    /// Pages after the first: two for each reason.
    fn pages(&self) -> usize {
        2 * self.reasons().len()
    }

    /// The reason on the page that is open, and whether its remedy is.
    fn reason_shown(&self) -> Option<(Reason, bool)> {
        let page = self.page().checked_sub(1)?;
        self.reasons().get(page / 2).map(|reason| (*reason, page % 2 == 1))
    }

    /// The page that is open: reasons come and go.
    fn page(&self) -> usize {
        if self.report.findings().is_empty() { self.page.min(self.pages()) } else { self.page }
    }

    fn menu_settings(&self) -> menu::Settings<'_> {
        menu::Settings {
            ladder: &self.fitting.ladder,
            rate_hz: self.fitting.rate_hz,
            tone_hz: self.instrument.tone().tone_hz(),
            held: self.held,
            sound: self.sound,
            night: self.night,
        }
    }

    fn press_in_menu(&mut self, mut menu: Menu, key: Key, press: Press, book: &mut impl Book) {
        self.menu = None;
        match (key, press) {
            (Key::Up, _) => {
                menu.up(self.menu_settings());
                self.menu = Some(menu);
            }
            (Key::Down, _) => {
                menu.down(self.menu_settings());
                self.menu = Some(menu);
            }
            (Key::Enter, Press::Short) => {
                let (open, wish) = menu.enter(self.menu_settings());
                self.menu = open;
                if let Some(wish) = wish {
                    self.wish(wish, book);
                }
            }
            (Key::Enter, Press::Long) => {}
            (Key::Mark, _) => self.wish(Wish::Mark, book),
            (Key::Mute, _) => {
                self.wish(Wish::Sound, book);
                self.menu = Some(menu);
            }
        }
    }

    #[inline(never)]
    fn wish(&mut self, wish: Wish, book: &mut impl Book) {
        match wish {
            Wish::Mark => self.mark(book),
            Wish::Note(text) => {
                let note = Note { at: self.desk.now, text: clipped(text) };
                let kept = self.desk.keep(&Record::Note(note), book);
                self.say_kept("Note", kept, "");
            }
            Wish::Tone(hz) => self.retune(hz, book),
            Wish::Gain(rung) => {
                self.held = rung;
                self.state.stepper().hold(rung);
                let more =
                    if rung.is_some() { "is held until you let it step." } else { "steps by itself." };
                self.say("Gain", more);
            }
            Wish::Light => self.night = !self.night,
            Wish::Sound => self.sound = !self.sound,
            Wish::Anew => {
                self.begin_anew(book);
                self.say("New locate", "The walk before is forgotten, not the book.");
            }
            Wish::Close => self.close("You may switch off now.", book),
        }
    }

    /// A station: the fix that there is, or why there is none.
    fn mark(&mut self, book: &mut impl Book) {
        let found = self.desk.fix.clone().ok_or_else(|| {
            let mut reasons = self.instrument.refusal(&self.state);
            reasons.add_if(self.desk.tainted, Reason::PartFaulty);
            reasons
        });
        let number = self.stations.wrapping_add(1);
        let more = match &found {
            Ok(fix) if fix.judgement.verdict == Verdict::Refuse => words::STATION_WITHOUT_FIGURE,
            Ok(_) => words::STATION_FIXED,
            Err(_) => words::STATION_WITHOUT_FIX,
        };
        let (snr_db, carrier_offset_hz) = self.desk.best;
        let station = Station {
            at: self.desk.now,
            utc_s: self.utc_s(),
            number,
            name: String::new(),
            snr_db,
            carrier_offset_hz,
            found,
        };
        let kept = self.desk.keep(&Record::Station(station), book);
        if kept {
            self.stations = number;
        }
        let mut what = String::<20>::new();
        let _ = write!(what, "Station {number}");
        self.say_kept(&what, kept, more);
    }

    fn say_kept(&mut self, what: &str, kept: bool, more: &'static str) {
        if kept {
            self.say(what, if more.is_empty() { "is in the book." } else { more });
        } else {
            self.say("NOT KEPT", "The book does not take it: write it on paper.");
        }
    }

    fn say(&mut self, what: &str, more: &'static str) {
        self.done = Some(Done { what: clipped(what), more, since_ms: self.now_ms });
    }

    #[inline(never)]
    fn retune(&mut self, tone_hz: f32, book: &mut impl Book) {
        match assemble(&self.fitting, tone_hz) {
            Ok(instrument) => {
                self.instrument = instrument;
                self.begin_anew(book);
                self.say(&menu::hertz(tone_hz), "is listened for. A new locate begins.");
            }
            Err(_) => self.say("Tone", "does not fit the sampling rate."),
        }
    }

    /// A new locate is a new recording. The new state is large: it must not lie on the stack of what is done at every
    /// turn.
    #[inline(never)]
    fn begin_anew(&mut self, book: &mut impl Book) {
        self.desk.end_hold(book);
        self.desk.clear();
        self.still = [0; MAX_CHANNELS];
        self.restart();
        self.state.stepper().hold(self.held);
        self.page = 0;
        self.write_header(book);
    }

    #[inline(never)]
    fn restart(&mut self) {
        self.state = self.instrument.start();
    }

    #[inline(never)]
    fn write_header(&mut self, book: &mut impl Book) {
        let Fitting { settings, build, calibration, reset, last_words, .. } = &self.fitting;
        let header = Header {
            build: build.clone(),
            reset: *reset,
            last_words: last_words.clone(),
            utc_s: self.utc_s(),
            calibration: calibration.clone(),
            ..Header::new(&self.instrument, *settings)
        };
        self.desk.keep(&Record::Header(header), book);
    }

    fn close(&mut self, why: &'static str, book: &mut impl Book) {
        self.desk.end_hold(book);
        self.desk.due(true, book);
        self.closed = match book.close() {
            Ok(()) => why,
            Err(_) => "It could not be finished: read it out with care.",
        };
        self.desk.book = BookState::Closed;
    }

    /// A closed book is opened by a long press, with a battery that can finish what is begun.
    fn open_again(&mut self, press: Press, book: &mut impl Book) {
        if press == Press::Long && self.charge != Charge::Empty {
            self.desk.book = BookState::Open;
            self.begin_anew(book);
        }
    }

    fn look_for_faults<const N: usize>(&mut self, packet: &Packet<C, N>, book: &mut impl Book) {
        let faults = packet.filled.faults();
        let block = packet.filled.block();
        let missing = block.start.wrapping_sub(self.desk.now);
        let gap = u32::try_from(missing).unwrap_or(u32::MAX).saturating_sub(packet.lost);
        let desk = &mut self.desk;
        if packet.lost > 0 {
            desk.fault(FaultKind::Overrun, None, packet.lost, book);
        }
        for (kind, count) in named(faults) {
            // Only a count of what was missed is known here; of the others, that they happened.
            desk.fault(kind, None, if kind == FaultKind::Overrun { gap.max(1) } else { count }, book);
        }
        if let Some(ppm) = self.clock.push(packet.next, packet.tick) {
            desk.fault(FaultKind::ClockOff, None, ppm.unsigned_abs(), book);
        }
        let stuck = packet.filled.stuck();
        for (channel, still) in (0_u8..C.min(MAX_CHANNELS) as u8).zip(&mut self.still) {
            *still = if stuck >> channel & 1 == 1 { still.saturating_add(1) } else { 0 };
            if *still >= STUCK_BLOCKS {
                desk.tainted = true;
                desk.fault(FaultKind::ChannelStuck, Some(channel), 1, book);
            }
        }
    }
}

/// The converter's faults as the book knows them, each kind once.
fn named(faults: Faults) -> impl Iterator<Item = (FaultKind, u32)> {
    use converter::Fault;
    let kinds: [(FaultKind, &[Fault]); 5] = [
        (FaultKind::Overrun, &[Fault::Missed]),
        (FaultKind::ConverterChecksum, &[Fault::Garbled]),
        (FaultKind::ConverterSilent, &[Fault::Repeated]),
        (FaultKind::ConverterReset, &[Fault::Reset, Fault::Resynced, Fault::WrongStatus, Fault::LostSync]),
        (FaultKind::ConverterRefused, &[Fault::Refused, Fault::GainNotTaken]),
    ];
    kinds.into_iter().filter_map(move |(kind, of)| {
        let times = of.iter().filter(|fault| faults.has(**fault)).count() as u32;
        (times > 0).then_some((kind, times))
    })
}

fn assemble<const C: usize>(fitting: &Fitting, tone_hz: f32) -> Result<Instrument<C>, ConfigError> {
    let tone = Tone::new(tone_hz, fitting.rate_hz)?;
    Instrument::new(tone, fitting.ladder.clone(), fitting.array.clone(), fitting.settings)
}
