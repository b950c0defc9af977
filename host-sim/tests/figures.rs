//! The figures in the book are those that the program draws today.

use std::fs;
use std::path::{Path, PathBuf};

use nullwalk::figures::figures;

/// Last digits of coordinates may differ from one mathematical library to the next, pixels.
const TOLERANCE_PX: f64 = 0.5;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/src/figures")
}

/// Numbers apart from the text between them.
fn split(svg: &str) -> (Vec<f64>, String) {
    let is_number = |c: char| c.is_ascii_digit() || c == '.' || c == '-';
    let (mut numbers, mut text) = (Vec::new(), String::new());
    for piece in svg.split_inclusive(|c| !is_number(c)) {
        let number = piece.trim_end_matches(|c| !is_number(c));
        match number.parse() {
            Ok(value) => {
                numbers.push(value);
                text.push('#');
                text.push_str(&piece[number.len()..]);
            }
            Err(_) => text.push_str(piece),
        }
    }
    (numbers, text)
}

#[test]
fn the_books_figures_are_up_to_date() {
    for figure in figures().unwrap() {
        let path = folder().join(figure.file);
        let remedy = format!("{}: run `cargo run --release -- figures docs/src/figures`", path.display());
        let kept = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{remedy} ({e})"));
        let (kept_numbers, kept_text) = split(&kept);
        let (numbers, text) = split(&figure.svg);
        assert!(text == kept_text, "its text differs; {remedy}");
        let apart = numbers.iter().zip(&kept_numbers).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(apart <= TOLERANCE_PX, "{apart} px off; {remedy}");
    }
}

#[test]
fn every_figure_is_well_formed_and_shows_something() {
    for figure in figures().unwrap() {
        let document = roxmltree::Document::parse(&figure.svg).unwrap();
        let curves = document.descendants().filter(|n| n.has_tag_name("polyline"));
        let points = curves.filter_map(|c| c.attribute("points")).map(|p| p.split(' ').count() / 2);
        assert!(points.max() > Some(50), "{}", figure.file);
        assert!(document.descendants().any(|n| n.has_tag_name("title")), "{}", figure.file);
        assert!(!figure.svg.contains("NaN") && !figure.svg.contains("inf"), "{}", figure.file);
    }
}

#[test]
fn every_figure_file_is_drawn_by_the_program() {
    let drawn: Vec<&str> = figures().unwrap().iter().map(|f| f.file).collect();
    for entry in fs::read_dir(folder()).unwrap() {
        let name = entry.unwrap().file_name();
        // Screens of the handset are drawn, and compared, by the handset.
        if name.to_string_lossy().starts_with("handset-") {
            continue;
        }
        assert!(drawn.iter().any(|d| name == **d), "{name:?} is drawn by nothing");
    }
}
