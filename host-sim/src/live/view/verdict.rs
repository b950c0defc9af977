//! The verdict: in few words, and in full.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span, Text};
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
    // Its first line is the number, which it has none of before it is kept.
    let lines: Vec<&str> = said.lines().skip(1).collect();
    let mut text = Text::raw(lines.join("\n"));
    text.push_line("");
    text.extend(Text::styled(CAUTION, look.strong()));
    frame.render_widget(Paragraph::new(text).wrap(Wrap { trim: false }), inner);
}
