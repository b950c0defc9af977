//! Guidance, in the words of the handset.

use nullwalk_core::locate::{Guidance, Offset, Phase};
use nullwalk_core::verdict::Reason;
use nullwalk_core::words;
use ratatui::Frame;
use ratatui::layout::{Alignment, Rect};
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

use super::Look;
use crate::live::state::State;
use crate::live::update::Update;

/// The signal bar is full at this ratio to the noise, decibels.
const SIGNAL_DB: f32 = 60.0;
/// Steps from the middle of a scale to either end.
const STEPS: usize = 6;
/// What the offset bar may reach to, metres.
const FULL_M: [f32; 6] = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0];

pub fn panel(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    let block = look.panel("Guidance");
    let inner = block.inner(area);
    frame.render_widget(block, area);
    let Some(now) = &state.now else {
        return frame.render_widget(Paragraph::new("waiting for the first samples"), inner);
    };
    let mut lines = vec![heading(state, &now.guidance, look)];
    // In more room the figure stands apart.
    if inner.height >= 10 {
        lines.push(Line::raw(""));
    }
    lines.extend(figure(&now.guidance, look, inner.width.into()));
    let last = signal(now, &state.about.gains, look, inner.width.into());
    lines.resize(usize::from(inner.height).saturating_sub(last.len()).max(lines.len()), Line::raw(""));
    lines.extend(last);
    frame.render_widget(Paragraph::new(lines), inner);
}

fn heading(state: &State, guidance: &Guidance, look: Look) -> Line<'static> {
    let tone = || state.about.signal.as_ref().map_or(String::new(), |s| format!("{} Hz", s.tone_hz));
    let what = words::instruction(guidance).map_or_else(tone, str::to_owned);
    let phase = Span::styled(format!(" {} ", words::phase_word(guidance.phase)), look.alert());
    Line::from(vec![phase, Span::raw("  "), Span::styled(what, look.strong())])
}

/// The one figure with its scale, or what stands in its place: four lines.
fn figure(guidance: &Guidance, look: Look, width: usize) -> Vec<Line<'static>> {
    let Guidance { phase, turn_rad, offset, trouble, .. } = guidance;
    match (trouble, turn_rad, offset) {
        (Some(Reason::OtherTone(hz)), ..) => {
            said(format!("{hz:.0} Hz is here"), words::CAUTION_NOTHING, look, width)
        }
        (Some(reason @ Reason::NoTone), ..) => {
            said(words::reason_word(*reason).to_owned(), words::CAUTION_NOTHING, look, width)
        }
        (Some(reason), ..) => said(words::reason_word(*reason).to_owned(), reason.remedy(), look, width),
        (None, Some(turn_rad), _) => bearing(*turn_rad, look, width),
        (None, None, Some(offset)) => aside(*offset, look, width),
        (None, None, None) => without(*phase, look, width),
    }
}

fn without(phase: Phase, look: Look, width: usize) -> Vec<Line<'static>> {
    let (heading, text) = words::without_figure(phase);
    said(heading.to_owned(), text, look, width)
}

fn said(heading: String, text: &str, look: Look, width: usize) -> Vec<Line<'static>> {
    let heading = Line::styled(heading, look.strong()).alignment(Alignment::Center);
    let text = textwrap::wrap(text, width.max(1)).into_iter();
    [heading].into_iter().chain(text.map(|line| Line::raw(line.into_owned()))).take(4).collect()
}

/// Degrees to turn, and the bearing strip.
fn bearing(turn_rad: f32, look: Look, width: usize) -> Vec<Line<'static>> {
    let deg = turn_rad.to_degrees().round();
    let mut scale = ticks(width);
    let at = place(deg / 90.0, width);
    for cell in scale.iter_mut().skip(at.saturating_sub(1)).take(3) {
        *cell = '█';
    }
    vec![
        Line::styled(format!("{:.0}{}", deg.abs(), words::turn(deg)), look.strong())
            .alignment(Alignment::Center),
        Line::styled(scale.into_iter().collect::<String>(), look.trace()),
        labels("90 left", "0", "90 right", look, width),
    ]
}

/// Metres ahead or back, and the offset bar for those aside.
fn aside(offset: Offset, look: Look, width: usize) -> Vec<Line<'static>> {
    let way = offset.way_m;
    let full_m = FULL_M.into_iter().find(|full| way.y.abs() <= *full).unwrap_or(20.0);
    let mut scale = ticks(width);
    // Left on the screen is left on the ground.
    let (middle, at) = (place(0.0, width), place(-way.y / full_m, width));
    for cell in scale.iter_mut().take(middle.max(at) + 1).skip(middle.min(at)) {
        *cell = '█';
    }
    let end = format!("{full_m} m");
    vec![
        Line::styled(format!("{:.2} {}", way.x.abs(), words::ahead(way.x)), look.strong())
            .alignment(Alignment::Center),
        Line::styled(scale.into_iter().collect::<String>(), look.trace()),
        labels(&end, &format!("{:.2} {}", way.y.abs(), words::aside(way.y)), &end, look, width),
    ]
}

/// Column of a share of the scale from -1 to 1.
fn place(share: f32, width: usize) -> usize {
    let half = (width.saturating_sub(1) / 2) as f32;
    (half + half * share.clamp(-1.0, 1.0)).round() as usize
}

fn ticks(width: usize) -> Vec<char> {
    let mut scale = vec!['─'; 2 * (width.saturating_sub(1) / 2) + 1];
    for step in 0..=2 * STEPS {
        let share = step as f32 / STEPS as f32 - 1.0;
        if let Some(cell) = scale.get_mut(place(share, width)) {
            *cell = if step % 3 == 0 { '┼' } else { '┴' };
        }
    }
    scale
}

fn labels(left: &str, middle: &str, right: &str, look: Look, width: usize) -> Line<'static> {
    let width = 2 * (width.saturating_sub(1) / 2) + 1;
    let before = (width.saturating_sub(middle.chars().count()) / 2).saturating_sub(left.chars().count());
    let used = left.chars().count() + before + middle.chars().count() + right.chars().count();
    Line::from(vec![
        Span::styled(left.to_owned(), look.quiet()),
        Span::styled(format!("{:before$}{middle}", ""), look.strong()),
        Span::styled(format!("{:gap$}{right}", "", gap = width.saturating_sub(used)), look.quiet()),
    ])
}

/// The signal bar, and gain and clipping: two lines.
fn signal(now: &Update, gains: &[f32], look: Look, width: usize) -> Vec<Line<'static>> {
    let snr_db = now.guidance.snr_db.max(0.0);
    let label = format!(" {snr_db:.0} dB");
    // As wide as with the longest label, so that the bar does not jump.
    let room = width.saturating_sub("signal [] 88 dB".len());
    let filled = ((room as f32 * (snr_db / SIGNAL_DB).min(1.0)) as usize).min(room);
    let bar = format!("{}{}", "█".repeat(filled), " ".repeat(room - filled));
    let signal =
        vec![Span::raw("signal ["), Span::styled(bar, look.trace()), Span::raw(format!("]{label}"))];
    let mut gain = Vec::new();
    if let Some(rung) = now.rung {
        let times = gains.get(usize::from(rung)).map_or(String::new(), |gain| format!(" (x{gain})"));
        gain.push(Span::raw(format!("rung {rung}{times}")));
    }
    if let Some(peak) = now.peak {
        gain.push(Span::raw(format!("  {:.0} % of the rail", 100.0 * peak.min(9.99))));
    }
    for (is_so, word) in marks(now) {
        if is_so {
            gain.extend([Span::raw(" "), Span::styled(word, look.alert())]);
        }
    }
    vec![Line::from(signal), Line::from(gain)]
}

fn marks(now: &Update) -> [(bool, &'static str); 3] {
    let marks = now.marks;
    [(marks.clipped, "CLIPPED"), (marks.gap, "GAP"), (marks.settling && !marks.clipped, "settling")]
}
