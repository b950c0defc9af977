//! The live view without a terminal: what its state and its pictures are at given times.

mod handset_records;

use std::error::Error;
use std::fs;
use std::io::Cursor;
use std::path::Path;
use std::sync::OnceLock;

use handset_records::{handset_records, stream};
use nullwalk::live::{
    About, Action, Ending, Feed, KEYS, Link, Next, Page, Replay, SMALLEST, Samples, State, draw, pump,
};
use nullwalk::run;
use nullwalk::site::{Site, builtin};
use nullwalk::synth::Simulation;
use nullwalk_core::record::Record;
use nullwalk_core::verdict::{Reason, Reasons, Verdict};
use nullwalk_core::words;
use proptest::prelude::*;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::style::Color;

fn site(name: &str) -> Site {
    let found = builtin().iter().find(|site| site.name == name).expect("a built-in site");
    found.site().expect("it is sound")
}

fn samples(site: &Site) -> (About, Samples<6, Simulation<6>>) {
    let ladder = site.front_end.ladder().expect("a ladder");
    let array = site.array.array().expect("sound coils").expect("nodes");
    let gains = ladder.rungs().iter().map(|rung| rung.gain).collect();
    let instrument = run::instrument::<6>(&site.signal, ladder, array).expect("an instrument");
    let simulation = Simulation::new(site, 0, 1).expect("it can be simulated");
    let about = About {
        title: site.title.clone(),
        signal: Some(site.signal.clone()),
        gains,
        has_samples: true,
        simulated: true,
        ..About::default()
    };
    (about, Samples::new(instrument, simulation, &site.front_end, &site.array))
}

/// Everything that a feed gives, and why it had no fix in the end.
struct Tape(std::vec::IntoIter<Next>, Reasons);

impl Feed for Tape {
    fn next(&mut self) -> Result<Next, Box<dyn Error>> {
        Ok(self.0.next().unwrap_or(Next::End(String::new())))
    }

    fn refusal(&self) -> Reasons {
        self.1.clone()
    }
}

/// A walk past a clean, level sonde, simulated once for all.
fn clean() -> (About, Tape) {
    static WALK: OnceLock<(About, Vec<Next>)> = OnceLock::new();
    let (about, tape) = WALK.get_or_init(|| {
        let (about, mut feed) = samples(&site("clean-level"));
        let mut tape = Vec::new();
        loop {
            match feed.next().expect("it can be simulated") {
                Next::End(_) => break,
                next => tape.push(next),
            }
        }
        (about, tape)
    });
    (about.clone(), Tape(tape.clone().into_iter(), Reasons::default()))
}

fn watched(about: About, feed: &mut dyn Feed, until_s: f64) -> State {
    watched_on(State::new(about, None, 1.0), feed, until_s)
}

fn watched_on(mut state: State, feed: &mut dyn Feed, until_s: f64) -> State {
    while state.player.time_s() < until_s && state.ending.is_none() {
        pump(&mut state, feed, 0.1, || true);
    }
    state
}

/// A walk that has come to its fix.
fn fixed() -> State {
    let (about, mut tape) = clean();
    let state = watched(about, &mut tape, 1e3);
    assert!(state.held.is_some() && state.ending == Some(Ending::Over(String::new())));
    state
}

fn drawn(state: &State, columns: u16, rows: u16, colour: bool) -> Buffer {
    let mut terminal = Terminal::new(TestBackend::new(columns, rows)).expect("a buffer");
    terminal.draw(|frame| draw(frame, state, colour)).expect("drawn");
    terminal.backend().buffer().clone()
}

fn text(buffer: &Buffer) -> String {
    let width = usize::from(buffer.area.width);
    let row = |cells: &[ratatui::buffer::Cell]| cells.iter().map(|c| c.symbol()).collect::<String>();
    buffer.content.chunks(width).map(|cells| row(cells).trim_end().to_owned() + "\n").collect()
}

fn shown(state: &State) -> String {
    text(&drawn(state, 80, 24, true))
}

/// Words in their order, wherever lines end and frames stand.
fn flowing(text: &str) -> String {
    text.replace(['│', '─', '┌', '┐', '└', '┘'], " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

const PAGES: [Page; 5] = Page::ALL;

#[test]
fn screens_are_as_they_were_looked_at_and_as_the_book_shows_them() {
    // With its samples, so that there is a spectrum.
    let (about, mut feed) = samples(&site("clean-level"));
    let at = |mut state: State, feed: &dyn Feed| {
        state.spectrum = feed.spectrum();
        state
    };
    let walking = at(watched(about, &mut feed, 23.0), &feed);
    let over = at(watched_on(walking.clone(), &mut feed, 1e3), &feed);
    let screens = [
        ("walk.txt", text(&drawn(&walking, 80, 24, false)), true),
        ("fix.txt", text(&drawn(&over, 80, 24, false)), true),
        ("large.txt", text(&drawn(&over, 120, 40, false)), false),
    ];
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let book = fs::read_to_string(here.join("../docs/src/live.md")).expect("its chapter");
    let path_of = |name: &str| here.join("tests/screens").join(name);
    if std::env::var_os("NULLWALK_DRAW").is_some() {
        screens.iter().for_each(|(name, screen, _)| fs::write(path_of(name), screen).expect("written"));
    }
    for (name, screen, is_in_book) in screens {
        let path = path_of(name);
        let kept = fs::read_to_string(&path).unwrap_or_default();
        let remedy = "set NULLWALK_DRAW=1 for this test, and look at what it drew";
        assert!(kept == screen, "{}: {remedy}\n{screen}", path.display());
        assert!(
            !is_in_book || book.contains(&screen),
            "docs/src/live.md: paste it from {}",
            path.display()
        );
    }
}

#[test]
fn guidance_says_what_a_handset_says() {
    let (about, mut tape) = clean();
    let mut state = State::new(about, None, 1.0);
    let mut seen = std::collections::BTreeSet::new();
    while state.ending.is_none() {
        pump(&mut state, &mut tape, 0.5, || true);
        let Some(now) = &state.now else { continue };
        let (guidance, screen) = (&now.guidance, shown(&state));
        let phase = words::phase_word(guidance.phase);
        assert!(screen.contains(phase), "no {phase} in\n{screen}");
        let (_, text) = words::without_figure(guidance.phase);
        let wanted = match (guidance.trouble, guidance.turn_rad, guidance.offset) {
            (Some(reason), ..) => words::reason_word(reason).to_owned(),
            (None, Some(turn_rad), _) => {
                let deg = turn_rad.to_degrees().round();
                format!("{:.0}{}", deg.abs(), words::turn(deg))
            }
            (None, None, Some(offset)) => {
                format!("{:.2} {}", offset.way_m.x.abs(), words::ahead(offset.way_m.x))
            }
            (None, None, None) => text.to_owned(),
        };
        for wanted in [wanted.as_str(), words::instruction(guidance).unwrap_or("512 Hz")] {
            assert!(screen.contains(wanted), "no `{wanted}` in\n{screen}");
            seen.insert(wanted.to_owned());
        }
    }
    for wanted in ["pass both nulls", "walk across", "hold still", "not heard"] {
        assert!(seen.contains(wanted), "{wanted} was never said: {seen:?}");
    }
}

#[test]
fn where_a_depth_or_nothing_stands_its_caution_stands() {
    let (about, mut tape) = clean();
    let walking = watched(about, &mut tape, 30.0);
    let mut refused = fixed();
    if let Some(held) = &mut refused.held {
        held.fix.judgement = held.fix.judgement.clone().with(Reason::TooNoisy);
        assert_eq!(held.fix.judgement.verdict, Verdict::Refuse);
    }
    let mut over = walking.clone();
    over.ending = Some(Ending::Over(String::new()));
    over.refusal.add(Reason::NotSettled);
    for (mut state, has_depth) in [(fixed(), true), (refused, false), (walking, false), (over, false)] {
        for (page, help, notice) in PAGES
            .into_iter()
            .flat_map(|page| [(page, false, false), (page, true, false), (page, false, true)])
        {
            (state.page, state.help) = (page, help);
            if notice {
                state.say("something long that has to be said ".repeat(9));
            }
            for (columns, rows) in [SMALLEST, (100, 30), (120, 40), (250, 80)] {
                let screen = text(&drawn(&state, columns, rows, true));
                let flowing = flowing(&screen);
                let caution = if has_depth { words::CAUTION_DEPTH } else { words::CAUTION_NOTHING };
                assert!(flowing.contains(caution), "{page:?} at {columns} x {rows}\n{screen}");
                let says_depth = flowing.contains("to the source, 95 %");
                assert_eq!(
                    says_depth,
                    has_depth && !help && matches!(page, Page::Overview | Page::Verdict)
                );
            }
        }
    }
}

#[test]
fn a_verdict_comes_with_every_reason_and_its_remedy() {
    let mut state = fixed();
    let reasons = [Reason::NotCrossed, Reason::Elliptical, Reason::MethodsDisagree];
    if let Some(held) = &mut state.held {
        for reason in reasons {
            held.fix.judgement = held.fix.judgement.clone().with(reason);
        }
    }
    let screen = flowing(&shown(&state));
    assert!(screen.contains("DOUBT"), "{screen}");
    assert!(reasons.iter().all(|reason| screen.contains(words::reason_word(*reason))), "{screen}");
    state.act(Action::Page(4));
    let mut screens = String::new();
    for _ in 0..4 {
        screens += &flowing(&shown(&state));
        state.act(Action::Scroll(true));
    }
    let found = |part: &str| part.split_whitespace().all(|word| screens.contains(word));
    for reason in reasons {
        assert!(found(reason.sentence()) && found(reason.remedy()), "{reason:?} in {screens}");
    }
    assert!(screens.contains("Nothing heard does not mean nothing there"), "{screens}");
}

#[test]
fn nothing_depends_on_colour() {
    let mut state = fixed();
    for page in PAGES {
        state.page = page;
        let (with, without) = (drawn(&state, 80, 24, true), drawn(&state, 80, 24, false));
        assert_eq!(text(&with), text(&without));
        let tinted = |buffer: &Buffer| {
            buffer.content.iter().any(|cell| cell.fg != Color::Reset || cell.bg != Color::Reset)
        };
        assert!(tinted(&with) && !tinted(&without), "{page:?}");
    }
}

#[test]
fn a_terminal_that_is_too_small_is_told_so_and_shows_no_figure() {
    let state = fixed();
    for (columns, rows) in [(20, 5), (79, 24), (80, 23), (1, 1), (200, 3)] {
        let screen = text(&drawn(&state, columns, rows, true));
        assert!(!screen.contains("AGREE") && !screen.contains("to the source"), "{screen}");
        if columns >= 20 && rows >= 5 {
            let said = format!("{columns} x {rows} is too small: enlarge to 80 x 24. q leaves.");
            assert_eq!(flowing(&screen), said);
        }
    }
}

#[test]
fn the_help_lists_every_key() {
    let mut state = State::default();
    state.act(Action::Help);
    let screen = flowing(&shown(&state));
    for (keys, what) in KEYS {
        assert!(screen.contains(&format!("{keys} {what}")), "{keys}: {what} in {screen}");
    }
    state.act(Action::Back);
    assert!(!state.help);
}

#[test]
fn a_recording_goes_by_at_the_speed_that_is_set() {
    let (about, mut tape) = clean();
    let mut state = State::new(about, None, 1.0);
    let time_s = |state: &State| state.now.as_ref().map_or(0.0, |now| now.time_s);
    (0..50).for_each(|_| pump(&mut state, &mut tape, 0.1, || true));
    assert!((4.85..=5.0).contains(&time_s(&state)), "{}", time_s(&state));
    (0..3).for_each(|_| state.act(Action::Faster));
    pump(&mut state, &mut tape, 1.0, || true);
    assert!((12.85..=13.0).contains(&time_s(&state)), "{}", time_s(&state));
    state.act(Action::Pause);
    let before_s = time_s(&state);
    pump(&mut state, &mut tape, 60.0, || true);
    assert_eq!(time_s(&state), before_s);
    assert!(shown(&state).contains("8x  PAUSED"));
    state.step(&mut tape);
    assert!((time_s(&state) - before_s - 0.1).abs() < 1e-6);
    assert_eq!(state.player.time_s(), time_s(&state));
}

#[test]
fn a_computer_that_is_too_slow_says_so_and_loses_nothing() {
    let (about, mut tape) = clean();
    let mut state = State::new(about, None, 32.0);
    for _ in 0..10 {
        let mut left = 5;
        pump(&mut state, &mut tape, 1.0, || {
            left -= 1;
            left >= 0
        });
    }
    assert!(state.player.is_behind() && shown(&state).contains("as fast as it goes"));
    assert_eq!(state.history.len(), 50);
}

#[test]
fn a_recording_that_ends_in_mid_walk_is_refused_with_reasons() {
    let (about, mut feed) = samples(&site("clean-level"));
    let mut walk = Vec::new();
    for _ in 0..300 {
        walk.push(feed.next().expect("simulated"));
    }
    let mut tape = Tape(walk.into_iter(), feed.refusal());
    let state = watched(about, &mut tape, 1e3);
    let screen = flowing(&shown(&state));
    for wanted in
        ["END", "REFUSE no figure", "it ended without a fix", words::reason_word(Reason::NotSettled)]
    {
        assert!(screen.contains(wanted), "no `{wanted}` in {screen}");
    }
}

#[test]
fn a_fix_is_marked_once_with_what_is_on_the_screen() {
    let mut state = fixed();
    let mut kept = Vec::new();
    for _ in 0..2 {
        state.mark(Reasons::default(), |station| {
            kept.push(station);
            Ok((7, "yard.job".to_owned()))
        });
        assert!(state.notice().is_some_and(|said| said.contains('7')));
    }
    let [station] = kept.as_slice() else { panic!("{} were kept", kept.len()) };
    let held = state.held.as_ref().expect("a fix");
    let depth_m = held.fix.judgement.depth.expect("a depth").depth_m;
    assert_eq!(station.depth_to_source_m.map(|d| d.value), Some(f64::from(depth_m)));
    assert_eq!(station.tone.map(|tone| tone.nominal_hz), Some(512.0));
    assert_eq!(state.marked.len(), 1);
    assert!(flowing(&shown(&state)).contains("this was marked already: it is station 7"));
}

#[test]
fn what_cannot_be_kept_is_not_said_to_be() {
    let mut state = fixed();
    state.mark(Reasons::default(), |_| Err("the disk is full".to_owned()));
    assert!(state.marked.is_empty());
    assert!(shown(&state).contains("NOT KEPT: the disk is full"));
    let mut nothing = State::default();
    nothing.mark(Reasons::default(), |_| panic!("there is nothing to keep"));
    assert!(nothing.notice().is_some_and(|said| said.contains("nothing has come yet")));
}

#[test]
fn a_station_without_a_fix_is_kept_as_refused_where_it_was_tried() {
    let (about, mut tape) = clean();
    let mut state = watched(about, &mut tape, 20.0);
    let mut reasons = Reasons::default();
    reasons.add(Reason::NotBracketed);
    let mut kept = None;
    state.mark(reasons, |station| {
        kept = Some(station);
        Ok((1, "yard.job".to_owned()))
    });
    let station = kept.expect("it was kept");
    assert!(!station.is_located() && station.position.is_some() && station.depth_to_source_m.is_none());
    assert_eq!(station.reasons[0].code, "not-bracketed");
    assert!(state.notice().is_some_and(|said| said.contains(words::STATION_WITHOUT_FIX)));
}

/// Everything a link gives, however long its thread takes.
fn followed(records: &[Record]) -> State {
    let mut link = Link::new(Cursor::new(stream(records)), None, 8000.0);
    let about = About { title: "port".into(), is_live: true, ..About::default() };
    let mut state = State::new(about, None, 1.0);
    for _ in 0..3000 {
        pump(&mut state, &mut link, 0.01, || true);
        if state.ending.is_some() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    state
}

#[test]
fn a_handsets_link_shows_what_the_handset_said() {
    let records = handset_records();
    let state = followed(records);
    assert!(matches!(&state.ending, Some(Ending::Over(said)) if said.contains("0 lost, 0 damaged")));
    let last_fix = records.iter().rev().find_map(|record| match record {
        Record::Fix(fix) => Some(fix.clone()),
        _ => None,
    });
    let held = state.held.as_ref().map(|held| &held.fix.judgement);
    // The last fix of all comes after the last guidance; the one before it differs by a hop.
    let (held, last) = (held.expect("a fix"), last_fix.expect("a fix").judgement);
    assert_eq!((held.verdict, held.depth.is_some()), (last.verdict, true));
    assert_eq!(state.about.signal.as_ref().map(|signal| signal.tone_hz), Some(512.0));
    assert!(state.now.as_ref().is_some_and(|now| now.nodes_nt.len() == 2));
    assert!(shown(&state).contains("there is no spectrum"));
}

#[test]
fn who_comes_late_to_a_link_sees_guidance_without_fields() {
    let late: Vec<Record> = handset_records().iter().skip(200).cloned().collect();
    let state = followed(&late);
    assert!(state.about.signal.is_none());
    let now = state.now.as_ref().expect("guidance");
    assert!(now.nodes_nt.is_empty());
    let screen = shown(&state);
    assert!(screen.contains(words::phase_word(now.guidance.phase)), "{screen}");
    assert!(!screen.contains("512 Hz"), "nobody said the tone\n{screen}");
}

#[test]
fn hops_of_a_book_give_the_same_fix_as_the_walk_itself() {
    let records = handset_records();
    let Some(Record::Header(header)) = records.first() else { panic!("no header") };
    let hops: Vec<_> = records
        .iter()
        .filter_map(|record| match record {
            Record::Hop(hop) => Some(*hop),
            _ => None,
        })
        .collect();
    let mut feed = Replay::of_hops(header, hops.clone()).expect("a header that works");
    let state = watched(About::default(), &mut feed, 1e3);
    let (ours, theirs) = (state.held.expect("a fix"), fixed().held.expect("a fix"));
    assert_eq!(ours.fix, theirs.fix);
    assert_eq!(state.history.len(), hops.len());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// However time is cut, the same recording is seen.
    #[test]
    fn frames_of_any_length_lead_to_the_same_state(cuts in prop::collection::vec(0.001f64..9.0, 8..40)) {
        let (about, mut tape) = clean();
        let mut state = State::new(about, None, 4.0);
        for elapsed_s in cuts.iter().cycle() {
            pump(&mut state, &mut tape, *elapsed_s, || true);
            if state.ending.is_some() {
                break;
            }
        }
        let whole = fixed();
        prop_assert_eq!(&state.history, &whole.history);
        prop_assert_eq!(&state.trail, &whole.trail);
        prop_assert_eq!(&state.held, &whole.held);
    }

    /// No size, page or key makes it fail.
    #[test]
    fn any_size_can_be_drawn(columns in 1u16..300, rows in 1u16..100, keys in prop::collection::vec(0usize..12, 0..12), seconds in 0.0f64..95.0) {
        let (about, mut tape) = clean();
        let mut state = watched(about, &mut tape, seconds);
        let actions = [
            Action::Pause, Action::Faster, Action::Slower, Action::Page(0), Action::Page(3), Action::Turn(true),
            Action::Turn(false), Action::Window, Action::Help, Action::Back, Action::Scroll(true), Action::Scroll(false),
        ];
        for key in keys {
            state.act(actions[key]);
            drawn(&state, columns, rows, true);
        }
    }
}
