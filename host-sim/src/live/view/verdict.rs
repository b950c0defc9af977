//! The verdict: in few words, and in full.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

use super::Look;
use crate::book::{CAUTION, Run, describe};
use crate::live::state::State;
use crate::live::verdict::Summary;

pub fn panel(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    let Summary { word, figure, more, why, .. } = Summary::of(state);
    let first = Line::from(vec![
        Span::styled(format!(" {word} "), look.alert()),
        Span::raw(" "),
        Span::styled(figure, look.strong()),
    ]);
    let why = if why.is_empty() { why } else { format!("why: {why}") };
    let second = [more, why].into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join("; ");
    let text = Paragraph::new(vec![first, Line::raw(second)]).wrap(Wrap { trim: false });
    frame.render_widget(text.block(look.panel("Verdict")), area);
}

/// As it is printed after a replay, with what else has to be said.
pub fn page(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    let block = look.panel("Verdict in full");
    let inner = block.inner(area);
    frame.render_widget(block, area);
    if state.held.is_none() && state.ending.is_none() {
        let text = "no fix yet: no figure";
        return frame.render_widget(Paragraph::new(text).style(look.strong()), inner);
    }
    let run = Run { pipe: state.about.pipe, ..Run::default() };
    let said = describe(&run, &state.station(state.refusal.clone()));
    let width = usize::from(inner.width);
    // Its first line is the number, which it has none of before it is kept.
    let mut lines: Vec<Line<'_>> = said.lines().skip(1).flat_map(|line| wrapped(line, width)).collect();
    lines.push(Line::raw(""));
    let caution = CAUTION.split_whitespace().collect::<Vec<_>>().join(" ");
    lines.extend(
        textwrap::wrap(caution.as_str(), width).into_iter().map(|l| Line::styled(l, look.strong())),
    );
    let room = usize::from(inner.height);
    let first = usize::from(state.scroll).min(lines.len().saturating_sub(room));
    let shown: Vec<Line<'_>> = lines.iter().skip(first).take(room).cloned().collect();
    frame.render_widget(Paragraph::new(shown), inner);
    if first + room < lines.len() {
        let more = Line::styled(" page down: more ", look.alert());
        let (x, width) = (area.x + 2, more.width() as u16);
        let place = Rect { x, y: area.bottom().saturating_sub(1), width, height: 1 };
        frame.render_widget(more, place.intersection(area));
    }
}

/// What is too long goes on below where it began, behind the name of the row.
fn wrapped(line: &str, width: usize) -> Vec<Line<'static>> {
    let options = textwrap::Options::new(width).subsequent_indent(NAMES);
    textwrap::wrap(line, options).into_iter().map(|line| Line::raw(line.into_owned())).collect()
}

/// As wide as the names of rows.
const NAMES: &str = "             ";
