//! What all pages have in common: frame, words of caution, tables of pages.

use axum::response::Html;
use maud::{Markup, html};

use crate::book::{CAUTION, Station, Verdict};
use crate::units::{feet_inches_range, metres_range};
use crate::web_page::document;

/// Rows on a page.
pub const ROWS: usize = 100;

/// A page. `trail` are the pages above it, with their addresses.
pub fn page(title: &str, trail: &[(&str, String)], content: &Markup) -> Html<String> {
    let links = html! {
        link rel="stylesheet" href="/style.css";
        link rel="icon" href="/icon.svg" type="image/svg+xml";
    };
    let body = html! {
        a.skip href="#content" { "Skip to the content" }
        header {
            nav aria-label="Where you are" {
                ol {
                    li { a href="/" { "Jobs" } }
                    @for (name, address) in trail { li { a href=(address) { (name) } } }
                }
            }
        }
        main #content tabindex="-1" { (content) }
        footer { p { "nullwalk " (env!("CARGO_PKG_VERSION")) ", on this machine. Nothing is sent anywhere." } }
    };
    Html(document(&format!("{title} · nullwalk"), &links, &body))
}

/// What stands above all figures.
pub fn caution() -> Markup {
    html! {
        aside.caution aria-label="Caution" {
            p { strong { "Never permission to dig." } }
            p { (CAUTION) }
        }
    }
}

/// What stands above what was simulated.
pub fn simulated() -> Markup {
    html! { p.simulated { strong { "Simulated." } " No such pipe exists. For learning and testing only." } }
}

/// A verdict with its word; the frame tells it too.
pub fn verdict(verdict: Verdict) -> Markup {
    let word = verdict.word();
    html! { span class={ "verdict " (word.to_lowercase()) } { (word) } }
}

/// The depth that may be shown, with its range.
pub fn depth(station: &Station) -> Markup {
    match station.stated_depth_m() {
        Some(d) => html! {
            b { (metres_range(d.low95, d.high95)) } " " span.also.line { (feet_inches_range(d.low95, d.high95)) }
        },
        None => html! { span.none { "Not stated" } },
    }
}

/// So many of something.
pub fn counted(count: usize, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

/// How many pages so many rows take.
pub fn pages(rows: usize) -> usize {
    rows.div_ceil(ROWS).max(1)
}

/// The way to other pages of a table. `address` takes the number of one.
pub fn leaf_through(what: &str, at: usize, rows: usize, address: impl Fn(usize) -> String) -> Markup {
    let last = pages(rows);
    html! {
        @if last > 1 {
            nav.leaves aria-label={ "Pages of " (what) } {
                @if at > 1 { a rel="prev" href=(address(at - 1)) { "Earlier" } }
                span { "Page " (at) " of " (last) ", " (rows) " " (what) }
                @if at < last { a rel="next" href=(address(at + 1)) { "Later" } }
            }
        }
    }
}

/// Links to what can be had, as a list.
pub fn shelf(label: &str, links: &[(String, &str)]) -> Markup {
    html! {
        nav.shelf aria-label=(label) {
            ul { @for (address, words) in links { li { a href=(address) { (words) } } } }
        }
    }
}
