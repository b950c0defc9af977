//! All that there is to see. Time is an input: the same updates, keys and times give the same state.

use nullwalk_core::record::Header;
use nullwalk_core::verdict::{Fix, Judgement, Reasons, Verdict};
use nullwalk_core::words;

use super::feed::{Feed, Next};
use super::input::Action;
use super::player::Player;
use super::spectrum::Spectrum;
use super::trail::{History, Trail};
use super::update::{About, Ellipse, Update};
use crate::book::{SitePosition, Station};
use crate::fieldbook;
use crate::run::{self, Outcome};

/// Stretches of time that the signal is shown over, seconds.
pub const WINDOWS_S: [f64; 4] = [30.0, 60.0, 120.0, 300.0];
/// A notice goes away after so long, seconds.
const NOTICE_S: f64 = 8.0;

/// Lines that a key scrolls, and the most that there may be above: no verdict has more.
const SCROLL: u16 = 10;
const MOST_SCROLL: u16 = 60;

/// What fills the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// A little of everything.
    #[default]
    Overview,
    /// Strength, components, gain and clipping over time.
    Signal,
    /// The whole band, and the neighbourhood of the tone.
    Spectrum,
    /// The walk from above.
    Plan,
    /// The verdict in full.
    Verdict,
}

impl Page {
    /// All pages, in the order of their keys.
    pub const ALL: [Self; 5] = [Self::Overview, Self::Signal, Self::Spectrum, Self::Plan, Self::Verdict];

    fn number(self) -> usize {
        Self::ALL.iter().position(|page| *page == self).unwrap_or_default()
    }
}

/// How a feed ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    /// It was over; with what there is to say of that.
    Over(String),
    /// It could not be read further.
    Failed(String),
}

/// A fix, and when it was had.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// When, seconds.
    pub time_s: f64,
    /// The fix.
    pub fix: Fix,
    /// Its place.
    pub place: Option<Ellipse>,
}

/// A station that was marked here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marked {
    /// Its number in the run.
    pub number: u32,
    /// When, seconds.
    pub time_s: f64,
    /// East and north, metres, where it has a place.
    pub place_m: Option<[f64; 2]>,
}

/// Something to be said for a while.
#[derive(Debug, Clone, PartialEq)]
struct Notice {
    text: String,
    left_s: f64,
}

/// Everything that is on the screen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct State {
    /// What is being looked at.
    pub about: About,
    /// The job that stations are kept in, if there is one.
    pub job: Option<String>,
    /// Where in it we are.
    pub player: Player,
    /// The last hop.
    pub now: Option<Update>,
    /// The fix that the verdict is about.
    pub held: Option<Held>,
    /// The signal over time.
    pub history: History,
    /// Where the mast was carried.
    pub trail: Trail,
    /// The spectrum of the last samples.
    pub spectrum: Option<Spectrum>,
    /// Stations that were marked here.
    pub marked: Vec<Marked>,
    /// Why there is no fix, once it is over without one.
    pub refusal: Reasons,
    /// How it ended, once it has.
    pub ending: Option<Ending>,
    /// What fills the screen,
    pub page: Page,
    /// unless the keys are listed,
    pub help: bool,
    /// and over which stretch of time, of [`WINDOWS_S`].
    pub window: usize,
    /// Lines of the verdict that are above what is seen of it.
    pub scroll: u16,
    best_snr_db: f32,
    carrier_offset_hz: f32,
    notice: Option<Notice>,
    /// A hop that was read and is not due yet.
    ahead: Option<Box<Update>>,
}

impl State {
    /// Nothing has come yet.
    pub fn new(about: About, job: Option<String>, speed: f64) -> Self {
        Self { about, job, player: Player::at_speed(speed), window: 1, ..Self::default() }
    }

    /// Over which stretch of time the signal is shown, seconds.
    pub fn window_s(&self) -> f64 {
        WINDOWS_S.get(self.window).copied().unwrap_or(60.0)
    }

    /// What there is to say just now.
    pub fn notice(&self) -> Option<&str> {
        self.notice.as_ref().map(|notice| notice.text.as_str())
    }

    /// Say something for a while.
    pub fn say(&mut self, text: impl Into<String>) {
        self.notice = Some(Notice { text: text.into(), left_s: NOTICE_S });
    }

    /// Do what a key asked for, as far as it concerns what is seen; steps, marks and leaving are others' business.
    pub fn act(&mut self, action: Action) {
        let pages = Page::ALL.len();
        match action {
            Action::Pause => self.player.pause(!self.player.is_paused()),
            Action::Step => self.player.pause(true),
            Action::Faster | Action::Slower if self.about.is_live => {
                self.say("a link goes at its own pace");
            }
            Action::Faster | Action::Slower => self.player.change_speed(action == Action::Faster),
            Action::Page(number) => self.show(number),
            Action::Turn(forward) => {
                self.show((self.page.number() + if forward { 1 } else { pages - 1 }) % pages);
            }
            Action::Scroll(true) => self.scroll = (self.scroll + SCROLL).min(MOST_SCROLL),
            Action::Scroll(false) => self.scroll = self.scroll.saturating_sub(SCROLL),
            Action::Window => self.window = (self.window + 1) % WINDOWS_S.len(),
            Action::Help => self.help = !self.help,
            Action::Back => self.help = false,
            Action::Mark | Action::Quit => {}
        }
    }

    fn show(&mut self, number: usize) {
        (self.help, self.scroll) = (false, 0);
        self.page = Page::ALL.get(number).copied().unwrap_or(self.page);
    }

    /// Take the next hop in.
    pub fn take(&mut self, update: Update) {
        let began_anew = self.now.as_ref().is_some_and(|last| update.time_s < last.time_s);
        if began_anew {
            self.forget();
        }
        self.history.push(&update);
        if let Some(position) = update.mast.position {
            self.trail.push(position.enu_m.truncate());
        }
        let had_mark = self.now.as_ref().is_some_and(|last| last.mark.is_some());
        if had_mark && update.mark.is_none() {
            // The beacon was pushed on: what was found before is no longer what is being located.
            self.held = None;
            (self.best_snr_db, self.carrier_offset_hz) = (0.0, 0.0);
        }
        let guidance = &update.guidance;
        if guidance.trouble.is_none() && guidance.snr_db > self.best_snr_db {
            (self.best_snr_db, self.carrier_offset_hz) = (guidance.snr_db, guidance.carrier_offset_hz);
        }
        if let Some(fix) = &update.fix {
            let place = update.mark.or_else(|| fix.place.map(Ellipse::of_place));
            self.held = Some(Held { time_s: update.time_s, fix: fix.clone(), place });
        }
        self.now = Some(update);
    }

    /// What the verdict is about, as a station: the fix that is shown, or that there is none and why.
    pub fn station(&self, refusal: Reasons) -> Station {
        let refused = Judgement::refused(refusal);
        let outcome = Outcome {
            fix: self.held.as_ref().map(|held| held.fix.clone()),
            judgement: self.held.as_ref().map_or(refused, |held| held.fix.judgement.clone()),
            duration_s: self.player.time_s(),
            log: Vec::new(),
            carrier_offset_hz: self.carrier_offset_hz,
            best_snr_db: self.best_snr_db,
            fixes: usize::from(self.held.is_some()),
        };
        let signal = self.about.signal.clone().unwrap_or_default();
        let mut station = run::station(0, "", &signal, &outcome);
        // Nobody said at what tone it was heard.
        station.tone = station.tone.filter(|_| self.about.signal.is_some());
        station.truth = self.about.truth;
        // Where there is no place of a source, it is that where one was tried.
        let tried = self.now.as_ref().and_then(|now| now.mast.position).map(|p| SitePosition {
            east_m: f64::from(p.enu_m.x),
            north_m: f64::from(p.enu_m.y),
            sigma_m: f64::from(p.sigma_m),
        });
        station.position = station.position.or(tried);
        station
    }

    /// Mark a station. `keep` keeps it, gives its number and says where, or says why not.
    pub fn mark(&mut self, refusal: Reasons, keep: impl FnOnce(Station) -> Result<(u32, String), String>) {
        let Some(time_s) = self.now.as_ref().map(|now| now.time_s) else {
            return self.say("nothing has come yet that could be marked");
        };
        if let Some(last) = self.marked.last().filter(|last| last.time_s == time_s) {
            return self.say(format!("this was marked already: it is station {}", last.number));
        }
        let station = self.station(refusal);
        let place_m = station.position.map(|p| [p.east_m, p.north_m]);
        let more = match &self.held {
            Some(held) if held.fix.judgement.verdict == Verdict::Refuse => words::STATION_WITHOUT_FIGURE,
            Some(_) => words::STATION_FIXED,
            None => words::STATION_WITHOUT_FIX,
        };
        match keep(station) {
            Ok((number, kept)) => {
                self.marked.push(Marked { number, time_s, place_m });
                self.say(format!("Station {number} {more} Kept in {kept}."));
            }
            Err(why) => self.say(format!("NOT KEPT: {why}")),
        }
    }

    fn let_time_pass(&mut self, elapsed_s: f64) {
        if let Some(notice) = &mut self.notice {
            notice.left_s -= elapsed_s;
        }
        self.notice = self.notice.take().filter(|notice| notice.left_s > 0.0);
    }

    /// The next hop of a feed, which stays ahead until it is due.
    fn look_ahead(&mut self, feed: &mut dyn Feed) -> Option<f64> {
        while self.ahead.is_none() && self.ending.is_none() {
            match feed.next() {
                Ok(Next::Update(update)) => self.ahead = Some(update),
                Ok(Next::Began(header)) => self.begin(&header),
                Ok(Next::News(text)) => self.say(text),
                Ok(Next::Wait) => return None,
                Ok(Next::End(text)) => self.end(feed, Ending::Over(text)),
                Err(error) => self.end(feed, Ending::Failed(error.to_string())),
            }
        }
        self.ahead.as_ref().map(|update| update.time_s)
    }

    /// A handset began a recording.
    fn begin(&mut self, header: &Header) {
        self.say(format!("a recording begins: {} Hz", header.tone_hz));
        self.about.signal = Some(fieldbook::signal(header));
        self.about.gains = header.rungs.iter().map(|rung| rung.gain).collect();
        self.forget();
    }

    /// What was found and walked before is over.
    fn forget(&mut self) {
        (self.history, self.trail, self.held) = <_>::default();
        (self.best_snr_db, self.carrier_offset_hz) = (0.0, 0.0);
    }

    fn end(&mut self, feed: &dyn Feed, ending: Ending) {
        self.ending = Some(ending);
        self.refusal = feed.refusal();
    }

    /// Take one hop in, due or not.
    pub fn step(&mut self, feed: &mut dyn Feed) {
        if let Some(time_s) = self.look_ahead(feed) {
            self.take_ahead();
            self.player.hold_at(time_s, false);
        }
    }

    fn take_ahead(&mut self) {
        if let Some(update) = self.ahead.take() {
            self.take(*update);
        }
    }
}

/// So much of the clock has passed: take from the feed what is due. `has_time` says whether there is time for more.
pub fn pump(state: &mut State, feed: &mut dyn Feed, elapsed_s: f64, mut has_time: impl FnMut() -> bool) {
    state.let_time_pass(elapsed_s);
    if state.ending.is_some() && state.ahead.is_none() {
        return;
    }
    let paused = state.player.is_paused();
    let due_s = state.player.advance(elapsed_s);
    if paused {
        return;
    }
    let is_live = state.about.is_live;
    while let Some(time_s) = state.look_ahead(feed).filter(|time_s| is_live || *time_s <= due_s) {
        if !has_time() {
            // What is not done now is not made up for later.
            state.player.hold_at(state.now.as_ref().map_or(0.0, |now| now.time_s), true);
            return;
        }
        state.take_ahead();
        if is_live {
            state.player.hold_at(time_s, false);
        }
    }
    if let (Some(_), Some(now)) = (&state.ending, &state.now) {
        let time_s = now.time_s;
        state.player.hold_at(time_s, false);
    }
}
