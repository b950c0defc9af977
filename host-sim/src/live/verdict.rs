//! The verdict in words, as far as there is one.

use nullwalk_core::verdict::{Reason, Verdict};
use nullwalk_core::words;

use super::state::State;
use crate::units;

/// The verdict in few words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// The verdict, or that there is none yet.
    pub word: &'static str,
    /// The range of the depth, or that there is no figure.
    pub figure: String,
    /// What else is known of it.
    pub more: String,
    /// Reasons as headings.
    pub why: String,
    /// Whether a depth stands there.
    pub has_depth: bool,
}

impl Summary {
    /// Of what is on the screen.
    pub fn of(state: &State) -> Self {
        let Some(held) = &state.held else { return Self::without_fix(state) };
        let judgement = &held.fix.judgement;
        let range = judgement.range.filter(|_| judgement.verdict != Verdict::Refuse);
        let (mut more, mut figure) = (Vec::new(), "no figure".to_owned());
        if let Some(range) = range {
            let [low, high] = [range.low_m, range.high_m].map(f64::from);
            figure = format!(
                "{} / {} to the source, 95 %",
                units::metres_range(low, high),
                units::feet_inches_range(low, high)
            );
            if let Some(bound) = judgement.shallow_m {
                more.push(format!("shallow {}", units::metres(bound.into())));
            }
        }
        more.push(format!("at {:.1} s", held.time_s));
        Self {
            word: words::verdict_word(judgement.verdict),
            figure,
            more: more.join(", "),
            why: headings(judgement.reasons.as_slice()),
            has_depth: range.is_some(),
        }
    }

    fn without_fix(state: &State) -> Self {
        let over = state.ending.is_some();
        let trouble = state.now.as_ref().and_then(|now| now.guidance.trouble);
        let why = if over {
            headings(state.refusal.as_slice())
        } else {
            trouble.map_or(String::new(), |trouble| words::reason_word(trouble).to_owned())
        };
        Self {
            word: if over { words::verdict_word(Verdict::Refuse) } else { "no fix yet" },
            figure: "no figure".to_owned(),
            more: if over { "it ended without a fix".to_owned() } else { String::new() },
            why,
            has_depth: false,
        }
    }

    /// What has to stand on the screen with it.
    pub fn caution(&self) -> &'static str {
        if self.has_depth { words::CAUTION_DEPTH } else { words::CAUTION_NOTHING }
    }
}

fn headings(reasons: &[Reason]) -> String {
    reasons.iter().map(|reason| words::reason_word(*reason)).collect::<Vec<_>>().join(", ")
}
