//! Every entry there ever was, the last first.

use axum::extract::{Path, Query, State};
use axum::response::IntoResponse as _;
use maud::{Markup, html};

use super::address::address;
use super::job_page::{Leaf, name};
use super::page::{ROWS, caution, leaf_through, page};
use super::{Answer, Desk, of_job};
use crate::job::Entry;

pub async fn show(State(office): Desk, Path(job): Path<String>, Query(leaf): Query<Leaf>) -> Answer {
    of_job(office, job, move |_, volume, opened| {
        let home = address(volume);
        let rows = usize::try_from(opened.job.last()).unwrap_or_default();
        let at = leaf.at(rows);
        let newest = opened.job.last() - ((at - 1) * ROWS) as i64;
        let mut entries = opened.job.history_between(newest - ROWS as i64 + 1, newest)?;
        entries.reverse();
        let content = html! {
            h1 { "History" }
            p { "Nothing is ever taken away: what was wrong is corrected by a later entry, with its reason." }
            (caution())
            (table(&entries))
            (leaf_through("entries", at, rows, |n| format!("{home}/history?page={n}")))
        };
        let trail = [(&*name(volume, opened), home.clone())];
        Ok(page("History", &trail, &content).into_response())
    })
    .await
}

/// Entries as a table.
pub fn table(entries: &[Entry]) -> Markup {
    html! {
        table {
            thead { tr { th scope="col" { "Entry" } th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "By" } th scope="col" { "Why" } } }
            tbody {
                @for entry in entries {
                    tr #{ "entry-" (entry.id) } {
                        th scope="row" { (entry.id) }
                        td data-label="When" { (entry.at) }
                        td data-label="What" {
                            (entry.kind)
                            @if let Some(of) = entry.of { " of entry " (of) }
                            // A station is long; a change is told in full.
                            @if entry.kind == "correction" { " " code { (entry.body) } }
                        }
                        td data-label="By" { @if entry.by.is_empty() { span.also { "not said" } } @else { (entry.by) } }
                        td data-label="Why" { (entry.reason) }
                    }
                }
            }
        }
    }
}
