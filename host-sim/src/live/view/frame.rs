//! The pages, and what stands around them: title, caution, keys.

use ratatui::Frame;
use ratatui::layout::{Alignment, Constraint, Layout, Rect};
use ratatui::style::Modifier;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

use super::{Look, SMALLEST, guidance, plan, signal, spectrum, verdict};
use crate::live::input::KEYS;
use crate::live::state::{Ending, Page, State};
use crate::live::verdict::Summary;

/// Draw everything, in colour or without.
pub fn draw(frame: &mut Frame<'_>, state: &State, colour: bool) {
    let (look, area) = (Look { colour }, frame.area());
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        return too_small(frame, area);
    }
    let rows = [1, 0, 1, 1].map(|height| match height {
        0 => Constraint::Fill(1),
        height => Constraint::Length(height),
    });
    let [title, body, caution, keys] = Layout::vertical(rows).areas(area);
    title_bar(frame, state, title);
    if state.help {
        help(frame, look, body);
    } else {
        match state.page {
            Page::Overview => overview(frame, state, look, body),
            Page::Signal => signal::page(frame, state, look, body),
            Page::Spectrum => spectrum::page(frame, state, look, body),
            Page::Plan => plan::panel(frame, state, look, body),
            Page::Verdict => verdict::page(frame, state, look, body),
        }
    }
    let said = format!(" {}", Summary::of(state).caution());
    frame.render_widget(Paragraph::new(said).style(look.strong()), caution);
    last_line(frame, state, look, keys);
}

fn too_small(frame: &mut Frame<'_>, area: Rect) {
    let ((columns, rows), Rect { width, height, .. }) = (SMALLEST, area);
    let text = format!("{width} x {height} is too small: enlarge to {columns} x {rows}. q leaves.");
    frame.render_widget(Paragraph::new(text).wrap(Wrap { trim: true }), area);
}

fn overview(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    // What a larger terminal has more goes to the plan and the curves.
    let more = area.height.saturating_sub(21);
    let middle = if more >= 4 { 6 } else { 4 };
    let rows = [Constraint::Length(9 + more / 2), Constraint::Length(middle), Constraint::Fill(1)];
    let [above, verdict, below] = Layout::vertical(rows).areas(area);
    let [left, right] = Layout::horizontal([Constraint::Length(42), Constraint::Fill(1)]).areas(above);
    guidance::panel(frame, state, look, left);
    plan::panel(frame, state, look, right);
    verdict::panel(frame, state, look, verdict);
    let [left, right] = Layout::horizontal([Constraint::Fill(1), Constraint::Fill(1)]).areas(below);
    signal::panel(frame, state, look, left);
    spectrum::panel(frame, state, look, right);
}

fn title_bar(frame: &mut Frame<'_>, state: &State, area: Rect) {
    let about = &state.about;
    let made = if about.simulated { ", simulated" } else { "" };
    let tone = about.signal.as_ref().map_or(String::new(), |s| format!(", {} Hz", s.tone_hz));
    let left = format!(" {}{made}{tone}", about.title);
    let length = about.length_s.map_or(String::new(), |length_s| format!(" of {length_s:.0}"));
    let pace = if about.is_live { "live".to_owned() } else { state.player.speed_label() };
    let condition = match &state.ending {
        Some(Ending::Failed(_)) => "  FAILED",
        Some(Ending::Over(_)) => "  END",
        None if state.player.is_paused() => "  PAUSED",
        None if state.player.is_behind() => "  as fast as it goes",
        None => "",
    };
    let right = format!("{:.1}{length} s  {pace}{condition} ", state.player.time_s());
    let room = usize::from(area.width).saturating_sub(Line::from(right.as_str()).width() + 1);
    let left = shortened(&left, room);
    let bar = ratatui::style::Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD);
    frame.render_widget(Paragraph::new(left).style(bar), area);
    let place = Rect { x: area.x + room as u16, width: area.width - (room as u16).min(area.width), ..area };
    frame.render_widget(Paragraph::new(right).alignment(Alignment::Right).style(bar), place);
}

/// What is too long ends in dots.
fn shortened(text: &str, columns: usize) -> String {
    if Line::from(text).width() <= columns {
        return text.to_owned();
    }
    let mut kept: String = text.to_owned();
    while Line::from(kept.as_str()).width() + 3 > columns && kept.pop().is_some() {}
    kept + "..."
}

/// What there is to say, or else what keys there are.
fn last_line(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    let ended = match &state.ending {
        Some(Ending::Failed(why)) => Some(format!("failed: {why}")),
        Some(Ending::Over(said)) if !said.is_empty() => Some(said.clone()),
        _ => None,
    };
    let (text, style) = match state.notice().map(str::to_owned).or(ended) {
        Some(text) => (format!(" {text}"), look.alert()),
        None => {
            let text = " space pause   s step   + - speed   m mark   1-5, tab pages   ? keys   q leave";
            (text.to_owned(), look.quiet())
        }
    };
    frame.render_widget(Paragraph::new(shortened(&text, area.width.into())).style(style), area);
}

fn help(frame: &mut Frame<'_>, look: Look, area: Rect) {
    let key = |(keys, what): &(&'static str, &'static str)| {
        Line::from(vec![Span::styled(format!("  {keys:<12}"), look.strong()), Span::raw(*what)])
    };
    let mut lines = vec![Line::raw("")];
    lines.extend(KEYS.iter().map(key));
    lines.extend(
        [
            "",
            "  Below the signal stand the rungs; in their place C for a clipped sample,",
            "  g for a gap, s for settling after a change of rung, i for impulses.",
            "  On the plan o is the mast, with a line forward. The curve about a mark or",
            "  a fix holds the place with 95 %; numbers are stations that were marked.",
        ]
        .map(Line::raw),
    );
    frame.render_widget(Paragraph::new(lines).block(look.panel("Keys")).wrap(Wrap { trim: false }), area);
}
