//! Pages filled with what was set.

use super::piled::{Item, Part, Piled};

/// Fill pages of this height. `head` sets the heading row of a table again.
pub fn fill(parts: Vec<Part>, mut head: impl FnMut(usize) -> Piled, high: f64) -> Vec<Vec<Item>> {
    let mut pages: Vec<Vec<Item>> = vec![Vec::new()];
    let mut y = 0.0;
    let needs: Vec<f64> = parts.iter().map(|p| p.above + p.piled.height).collect();
    let leads: Vec<bool> = parts.iter().map(|p| p.leads).collect();
    for (k, part) in parts.into_iter().enumerate() {
        // With all that it must not be parted from.
        let mut need = 0.0;
        for n in k..needs.len() {
            need += needs.get(n).copied().unwrap_or(0.0);
            if !leads.get(n).copied().unwrap_or(false) {
                break;
            }
        }
        let fresh = pages.last().is_none_or(Vec::is_empty);
        if !fresh && (part.new_page || y + need > high) {
            pages.push(Vec::new());
            y = 0.0;
        }
        let fresh = pages.last().is_none_or(Vec::is_empty);
        if fresh {
            if let Some(which) = part.head {
                y = put(&mut pages, head(which), 0.0, high);
            }
        } else {
            y += part.above;
        }
        y = put(&mut pages, part.piled, y, high);
    }
    pages
}

/// Put items on the last page from `y` down, and on as many more as they take. Gives where they end.
fn put(pages: &mut Vec<Vec<Item>>, mut piled: Piled, mut y: f64, high: f64) -> f64 {
    // What fits stays in the order in which it is read.
    let fits = y + piled.height <= high + 1e-6;
    if !fits {
        piled.items.sort_by(|a, b| a.top.total_cmp(&b.top));
    }
    let (mut gone, height) = (0.0, piled.height);
    for mut item in piled.items {
        // What is higher than a page is parted between its lines.
        if !fits && y + item.bottom - gone > high + 1e-6 && (y > 0.0 || item.top > gone) {
            gone = item.top;
            y = 0.0;
            pages.push(Vec::new());
        }
        item.top += y - gone;
        item.bottom += y - gone;
        if let Some(page) = pages.last_mut() {
            page.push(item);
        }
    }
    y + height - gone
}
