//! The list of jobs.

use std::sync::Arc;

use axum::extract::State;
use axum::response::IntoResponse as _;
use maud::html;

use super::address::address;
use super::page::{counted, page};
use super::shelf::Tally;
use super::{Answer, Desk, Volume, aside};

/// What is known of a job without opening it.
struct Card {
    title: String,
    runs: usize,
    tally: Tally,
}

pub async fn show(State(office): Desk) -> Answer {
    let listed = aside(move || {
        let volumes = office.shelf.volumes();
        let glance = |v: Arc<Volume>| {
            let card = office.shelf.glance(&v, |opened| Card {
                title: opened.job.state().settings().title,
                runs: opened.tallies.len(),
                tally: opened.tally(),
            });
            (v, card)
        };
        Ok(volumes.into_iter().map(glance).collect::<Vec<_>>())
    })
    .await?;
    let content = html! {
        h1 { "Jobs" }
        @if listed.is_empty() {
            p.none { "There is no job here. Begin one with " code { "nullwalk job new" } ", or keep a locate with " code { "--job" } "." }
        }
        ul.cards {
            @for (volume, card) in &listed {
                li {
                    @let title = card.as_ref().map(|c| c.title.as_str()).filter(|title| !title.is_empty());
                    a href=(address(volume)) { (title.unwrap_or(&volume.name)) }
                    p.also { (volume.path.display()) }
                    @match card {
                        Some(card) => p { (counted(card.runs, "run")) ", " (counted(card.tally.stations(), "station")) ": " (outcomes(card.tally)) },
                        None => p.also { "Not read yet" },
                    }
                }
            }
        }
    };
    Ok(page("Jobs", &[], &content).into_response())
}

/// How stations came out, in words.
pub fn outcomes(tally: Tally) -> String {
    let words = ["agree", "in doubt", "refused or marked by hand"];
    let told: Vec<String> = tally
        .verdicts
        .iter()
        .zip(words)
        .filter(|(n, _)| **n > 0)
        .map(|(n, word)| format!("{n} {word}"))
        .collect();
    if told.is_empty() {
        "none; that does not mean that nothing is there".to_owned()
    } else {
        told.join(", ")
    }
}
