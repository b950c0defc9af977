//! The book holds together: links lead somewhere, every chapter is in the contents, nothing is left to do.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// All Markdown files of a folder and of those in it.
fn chapters(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let found = entries.flat_map(|path| {
        let is_chapter = path.extension().is_some_and(|e| e == "md");
        if path.is_dir() { chapters(&path) } else { is_chapter.then_some(path).into_iter().collect() }
    });
    found.collect()
}

fn pages() -> Vec<PathBuf> {
    let mut pages = chapters(&root().join("docs/src"));
    pages.extend(["README.md", "DEVELOPERS.md"].map(|name| root().join(name)));
    pages
}

/// The text without its fenced code.
fn prose(page: &Path) -> String {
    let text = fs::read_to_string(page).unwrap();
    text.split("```").step_by(2).collect()
}

/// Targets of all links and pictures, with what stands before each `](` checked to be a bracket's end.
fn links(prose: &str) -> Vec<String> {
    prose.split("](").skip(1).filter_map(|rest| rest.split_once(')')).map(|(to, _)| to.to_owned()).collect()
}

/// The names under which a page's headings can be linked to: lower case, spaces as hyphens, no other signs.
fn anchors(page: &Path) -> BTreeSet<String> {
    let text = prose(page);
    let headings =
        text.lines().filter(|line| line.starts_with('#')).map(|line| line.trim_start_matches('#'));
    let name = |heading: &str| -> String {
        let kept = heading.trim().chars().filter(|c| c.is_alphanumeric() || " -_".contains(*c));
        kept.map(|c| if c == ' ' { '-' } else { c.to_ascii_lowercase() }).collect()
    };
    headings.map(name).collect()
}

#[test]
fn every_link_leads_somewhere() {
    let mut checked = 0;
    for page in pages() {
        for link in links(&prose(&page)).iter().filter(|link| !link.starts_with("http")) {
            let (file, anchor) = link.split_once('#').unwrap_or((link, ""));
            let target = if file.is_empty() { page.clone() } else { page.with_file_name(file) };
            assert!(target.exists(), "{}: {link} leads to no file", page.display());
            if !anchor.is_empty() {
                let known = anchors(&target);
                assert!(
                    known.contains(anchor),
                    "{}: {link}: no such heading; there are {known:?}",
                    page.display()
                );
            }
            checked += 1;
        }
    }
    assert!(checked > 50, "only {checked} links were seen: the search for them is broken");
}

#[test]
fn every_chapter_and_picture_is_used() {
    let source = root().join("docs/src");
    let linked: BTreeSet<PathBuf> = pages()
        .iter()
        .flat_map(|page| links(&prose(page)).into_iter().map(|link| page.with_file_name(link)))
        .filter_map(|path| path.canonicalize().ok())
        .collect();
    let contents: BTreeSet<PathBuf> = links(&prose(&source.join("SUMMARY.md")))
        .iter()
        .map(|link| source.join(link).canonicalize().unwrap())
        .collect();
    for page in chapters(&source).iter().filter(|page| !page.ends_with("SUMMARY.md")) {
        assert!(
            contents.contains(&page.canonicalize().unwrap()),
            "{} is not in SUMMARY.md",
            page.display()
        );
    }
    for picture in fs::read_dir(source.join("figures")).unwrap().map(|entry| entry.unwrap().path()) {
        assert!(
            linked.contains(&picture.canonicalize().unwrap()),
            "{} is shown nowhere",
            picture.display()
        );
    }
}

#[test]
fn nothing_is_left_to_do() {
    for page in pages() {
        let text = fs::read_to_string(&page).unwrap();
        assert!(!text.contains("TODO"), "{} still has something to do", page.display());
        let in_conflict =
            text.lines().any(|line| line.starts_with("<<<<<<<") || line.starts_with(">>>>>>>"));
        assert!(!in_conflict, "{} holds an unfinished merge", page.display());
    }
}

/// Where the book's builder is installed, it has nothing to complain of.
#[test]
fn the_book_builds_without_warnings() {
    let rendered = tempfile::tempdir().unwrap();
    let mut build = Command::new("mdbook");
    let Ok(built) =
        build.arg("build").arg(root().join("docs")).arg("--dest-dir").arg(rendered.path()).output()
    else {
        println!("mdbook is not installed: the book was not built");
        return;
    };
    let said = String::from_utf8_lossy(&built.stderr);
    assert!(built.status.success() && !said.contains("WARN") && !said.contains("ERROR"), "{said}");
}
