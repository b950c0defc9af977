//! Screens to look at: every kind of page, and what may be on it.
#![allow(dead_code, reason = "each file uses its part")]

use std::f32::consts::PI;
use std::fmt::Write as _;

use nullwalk_core::depth::{Depth, Measured, Unusable};
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::locate::{Guidance, Offset, Phase, Sound, Sweep};
use nullwalk_core::record::FaultKind;
use nullwalk_core::verdict::{Fix, Judgement, Place, Range95, Reason, Reasons, Verdict};
use nullwalk_handset::menu::{List, Menu, Settings};
use nullwalk_handset::screen::{Canvas, draw};
use nullwalk_handset::selftest::{Check, Finding, Report, Wrong};
use nullwalk_handset::view::{Count, Page, View};

/// A small display of 128 by 64 pixels.
pub type Small = Canvas<16, 64>;
/// A larger one of 256 by 128.
pub type Large = Canvas<32, 128>;
/// A larger one that is less flat, 264 by 176.
pub type High = Canvas<33, 176>;

pub fn small(view: &View<'_>) -> Small {
    let mut canvas = Small::new();
    let Ok(()) = draw(view, &mut canvas);
    canvas
}

pub fn large(view: &View<'_>) -> Large {
    let mut canvas = Large::new();
    let Ok(()) = draw(view, &mut canvas);
    canvas
}

pub fn high(view: &View<'_>) -> High {
    let mut canvas = High::new();
    let Ok(()) = draw(view, &mut canvas);
    canvas
}

/// The pixels in half blocks, two rows of them in one of text.
pub fn as_text<const W: usize, const H: usize>(canvas: &Canvas<W, H>) -> String {
    let mut text = String::new();
    for y in (0..H).step_by(2) {
        let line: String = (0..8 * W)
            .map(|x| match (canvas.is_lit(x, y), canvas.is_lit(x, y + 1)) {
                (true, true) => '█',
                (true, false) => '▀',
                (false, true) => '▄',
                (false, false) => ' ',
            })
            .collect();
        writeln!(text, "{}", line.trim_end()).unwrap();
    }
    text
}

pub fn guidance(phase: Phase, snr_db: f32) -> Guidance {
    Guidance {
        at: 0,
        phase,
        turn_rad: None,
        trend_db_per_s: 0.0,
        past_source: false,
        snr_db,
        carrier_offset_hz: 0.4,
        offset: None,
        lay_rad: None,
        mark: None,
        crossed: false,
        sweep: None,
        sound: Sound::of(snr_db),
        trouble: None,
    }
}

pub fn offset(forward_m: f32, left_m: f32) -> Option<Offset> {
    Some(Offset { way_m: glam::Vec2::new(forward_m, left_m), sigma_m: 0.03 })
}

pub fn fix(verdict: Verdict, reasons: &[Reason], range: Option<(f32, f32)>) -> Fix {
    let mut all = Reasons::default();
    reasons.iter().for_each(|reason| all.add(*reason));
    Fix {
        at: 0,
        place: Some(Place { east_m: 1.0, north_m: 2.0, sigma_m: 0.03 }),
        lay_rad: Some(Measured::new(70.0_f32.to_radians(), 0.02)),
        depths: [Err(Unusable::NotMeasured); 5],
        pitch_rad: None,
        moment_a_m2: None,
        clues: Default::default(),
        judgement: Judgement {
            verdict,
            depth: range
                .map(|(low, high)| Depth { depth_m: 0.5 * (low + high), sigma_m: 0.25 * (high - low) }),
            range: range.map(|(low_m, high_m)| Range95 { low_m, high_m }),
            shallow_m: range.map(|(low, _)| 0.8 * low),
            reasons: all,
        },
    }
}

/// Every reason, with another tone where there is one.
pub fn reasons() -> [Reason; Reason::ALL.len()] {
    Reason::ALL.map(|reason| match reason {
        Reason::OtherTone(_) => Reason::OtherTone(640.0),
        other => other,
    })
}

pub fn view(page: Page<'_>) -> View<'_> {
    View { page, tone_hz: 512.0, rung: 3, held: false, notice: None, mute: false, night: true }
}

pub fn ladder() -> Ladder {
    let rungs = [1.0, 4.0, 16.0, 64.0].map(|gain| Rung { gain, settle_s: 0.01 });
    Ladder::new(&rungs, 1.2, 1 << 23, 1.0).unwrap()
}

/// Show every scene by its name.
pub fn scenes(mut show: impl FnMut(&str, &View<'_>)) {
    let mut guide = |name: &str, change: &dyn Fn(&mut Guidance)| {
        let mut guidance = guidance(Phase::Home, 31.0);
        change(&mut guidance);
        show(name, &view(Page::Guide(&guidance)));
    };
    guide("listen", &|g| (g.phase, g.snr_db, g.trouble) = (Phase::Listen, 4.0, Some(Reason::NoTone)));
    guide("listen-other-tone", &|g| {
        (g.phase, g.snr_db, g.trouble) = (Phase::Listen, 4.0, Some(Reason::OtherTone(640.0)));
    });
    guide("home", &|g| g.turn_rad = Some(24.0_f32.to_radians()));
    guide("home-left", &|g| g.turn_rad = Some(-PI * 0.78));
    guide("home-straight", &|g| g.turn_rad = Some(0.001));
    guide("home-behind", &|g| (g.turn_rad, g.past_source) = (Some(-PI), true));
    guide("home-walk-on", &|_| {});
    guide("home-two-bearings", &|g| g.sweep = Some(Sweep::TwoBearings(1.0)));
    guide("bracket", &|g| (g.phase, g.snr_db) = (Phase::Bracket, 48.0));
    guide("bracket-mark", &|g| {
        (g.phase, g.snr_db, g.offset) = (Phase::Bracket, 52.4, offset(1.24, 0.3));
        g.mark = Some(Place { east_m: 0.0, north_m: 0.0, sigma_m: 0.03 });
    });
    guide("bracket-crossed", &|g| {
        (g.phase, g.snr_db, g.offset) = (Phase::Bracket, 55.0, offset(-0.08, -1.1));
        (g.mark, g.crossed) = (Some(Place { east_m: 0.0, north_m: 0.0, sigma_m: 0.03 }), true);
    });
    guide("bracket-far", &|g| (g.phase, g.offset) = (Phase::Bracket, offset(-12.37, -17.2)));
    guide("settle", &|g| (g.phase, g.snr_db, g.offset) = (Phase::Settle, 58.0, offset(0.02, -0.01)));
    guide("too-strong", &|g| {
        (g.phase, g.snr_db, g.trouble) = (Phase::Bracket, 60.0, Some(Reason::Saturated));
    });
    guide("held-too-high", &|g| {
        (g.phase, g.snr_db, g.trouble) = (Phase::Bracket, 60.0, Some(Reason::HeldTooHigh));
    });
    let at_mark = guidance(Phase::Home, 31.0);
    let notice = View { notice: Some("samples lost"), held: true, ..view(Page::Guide(&at_mark)) };
    show("notice", &notice);
    let turned = Guidance { turn_rad: Some(0.6), ..guidance(Phase::Home, 28.0) };
    show("home-sun", &View { night: false, ..view(Page::Guide(&turned)) });

    let agree = fix(Verdict::Agree, &[], Some((1.12, 1.28)));
    show("fix-agree", &view(Page::Fix(&agree)));
    show("fix-agree-sun", &View { night: false, ..view(Page::Fix(&agree)) });
    let doubt = fix(
        Verdict::Doubt,
        &[Reason::MethodsDisagree, Reason::NotCrossed, Reason::BentField],
        Some((0.87, 2.04)),
    );
    show("fix-doubt", &view(Page::Fix(&doubt)));
    let deep = fix(Verdict::Doubt, &[Reason::OneMethod], Some((10.24, 13.86)));
    show("fix-deep", &view(Page::Fix(&deep)));
    let refuse = fix(Verdict::Refuse, &[Reason::TooNoisy], None);
    show("fix-refuse", &view(Page::Fix(&refuse)));
    let count = Count { number: 1, of: 6 };
    show("why", &view(Page::Why(Reason::MethodsDisagree, count)));
    show("remedy", &view(Page::Remedy(Reason::MethodsDisagree, Count { number: 2, of: 6 })));

    let ladder = ladder();
    let settings =
        Settings { ladder: &ladder, rate_hz: 8000.0, tone_hz: 512.0, held: None, sound: true, night: true };
    let mut menu = |name: &str, list, at| {
        let menu = Menu { list, at };
        show(name, &view(Page::Menu(menu, settings)));
    };
    menu("menu", List::Main, 0);
    menu("menu-gain", List::Main, 3);
    menu("menu-end", List::Main, 7);
    menu("gains", List::Gains, 2);
    menu("tones", List::Tones, 1);
    menu("notes", List::Notes, 4);
    menu("close", List::Close, 0);
    let done = |what: &str| what.try_into().unwrap();
    show("done", &view(Page::Done(done("Station 12"), "with a fix. No permission to dig.")));
    show("not-kept", &view(Page::Done(done("NOT KEPT"), "The book does not take it: write it on paper.")));
    show("stuck", &view(Page::Fault(FaultKind::ChannelStuck, Some(3))));
    show("silent", &view(Page::Fault(FaultKind::ConverterSilent, None)));
    show("closed", &view(Page::Closed("The battery is empty. Charge it; all is kept.")));
    show("waiting", &view(Page::Waiting));
    show("testing", &view(Page::Testing(&Report::default())));
    let finding = Finding { check: Check::Noise, channel: Some(4), wrong: Wrong::TooNoisy };
    show("finding", &view(Page::Finding(finding, Count { number: 1, of: 2 })));
}
