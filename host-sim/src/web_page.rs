//! The frame of every page for a browser.

use maud::{DOCTYPE, Markup, html};

/// A whole page; `head` is what its head holds beside the title.
pub fn document(title: &str, head: &Markup, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                (head)
            }
            body { (body) }
        }
    };
    page.into_string()
}
