//! What a sheet says, and in which order.

use super::block::{Block, Column, Content, Para, Role, Row, Table, theirs};
use super::brief::{Brief, TieLine};
use super::options::{Options, both};
use super::{cautions, legend, plan, profile, table};
use crate::book::{Run, Verdict};
use crate::job::{OtherLine, Sweep};

/// Longest title that is a heading and no paragraph.
const LONGEST_TITLE: usize = 120;
/// More remarks on the run as a whole than this are counted and not told.
const MOST_FLAGS: usize = 12;

/// With a plan no taller than `plan_mm`.
pub fn content(brief: &Brief, options: &Options, plan_mm: f64) -> Content {
    let run = &brief.run;
    let title = title(run);
    let mut blocks = header(brief, options);
    blocks.push(cautions::notice(brief));
    blocks.push(Block::Heading("Plan".to_owned()));
    blocks.push(plan::plan(brief, options, plan_mm));
    blocks.push(Block::Heading("Profile: depth to source".to_owned()));
    blocks.push(profile::profile(brief, options));
    blocks.extend(legend::legend(brief));
    blocks.push(colophon(run));
    blocks.push(Block::NewPage);
    let simulated = if run.is_simulated() { " (simulated)" } else { "" };
    blocks.push(Block::Heading(format!("Stations: {title}{simulated}")));
    blocks.push(table::table(brief, options));
    blocks.extend(ties(brief, options));
    blocks.extend(as_a_whole(brief, options));
    blocks.extend(searched(&brief.sweeps, options));
    blocks.extend(other_lines(&brief.others));
    blocks.extend(not_on_record(brief));
    blocks.extend(cautions::cautions(brief, options));
    blocks.push(signatures());
    let simulated = if run.is_simulated() { "Simulated. " } else { "" };
    let foot = format!("{simulated}Never permission to dig. Notify first, expose by safe means.");
    Content { title, foot, blocks }
}

fn title(run: &Run) -> String {
    let title = crate::letters::shortened(run.title.trim(), LONGEST_TITLE);
    if title.is_empty() { "Untitled run".to_owned() } else { title }
}

fn header(brief: &Brief, options: &Options) -> Vec<Block> {
    let run = &brief.run;
    let mut blocks = Vec::new();
    if run.is_simulated() {
        let words = Para::new(Role::Body, "")
            .bold("Simulated.")
            .add(" No such pipe exists. For learning and testing only; not to be used on site.");
        blocks.push(Block::Framed { broken: true, paras: vec![words] });
    }
    let about = [&brief.job, &run.recorded].map(|words| theirs(words));
    let mut kicker = "Dig sheet".to_owned();
    for words in about.iter().filter(|words| !words.is_empty() && **words != title(run)) {
        kicker.push_str(" · ");
        kicker.push_str(words);
    }
    blocks.push(Block::Para(Para::new(Role::Kicker, &kicker)));
    blocks.push(Block::Para(Para::new(Role::Title, &title(run))));
    if !run.description.trim().is_empty() {
        blocks.push(Block::Para(Para::new(Role::Lead, "").said(&run.description)));
    }
    blocks.push(Block::Para(Para::new(Role::Summary, &summary(run))));
    if !run.site_note.trim().is_empty() {
        blocks.push(Block::Para(Para::new(Role::Body, "").bold("Site: ").said(&run.site_note)));
    }
    blocks.push(Block::Para(Para::new(Role::Body, "").bold("Pipe: ").add(&pipe(brief, options))));
    blocks.push(made(run));
    blocks
}

/// How many stations, how they came out, and where the trouble lies.
fn summary(run: &Run) -> String {
    let count = |verdict| run.stations.iter().filter(|s| s.verdict == verdict).count();
    let outcomes = [(Verdict::Agree, "agree"), (Verdict::Doubt, "in doubt"), (Verdict::Refuse, "refused")];
    let outcomes: Vec<String> = outcomes
        .into_iter()
        .map(|(verdict, words)| (count(verdict), words))
        .filter(|(n, _)| *n > 0)
        .map(|(n, words)| format!("{n} {words}{}", if (n, words) == (1, "agree") { "s" } else { "" }))
        .collect();
    let stations = match run.stations.len() {
        0 => return "No station was recorded. That does not mean that nothing is there.".to_owned(),
        1 => "1 station".to_owned(),
        n => format!("{n} stations"),
    };
    let trouble: Vec<String> =
        run.stations.iter().filter(|s| s.trouble_spot).map(|s| s.number.to_string()).collect();
    let trouble = match trouble.as_slice() {
        [] => String::new(),
        spots => format!(" Trouble spot at station {}.", spots.join(" and ")),
    };
    format!("{stations}: {}.{trouble}", outcomes.join(", "))
}

fn pipe(brief: &Brief, options: &Options) -> String {
    let run = &brief.run;
    let size = |name: &str, value: Option<f64>| match value {
        Some(v) => {
            let inches = format!("{:.1} in", v / 0.0254);
            let [first, second] = match options.units {
                super::Units::Metric => [format!("{:.0} mm", v * 1000.0), inches],
                super::Units::Feet => [inches, format!("{:.0} mm", v * 1000.0)],
            };
            format!("{name} {first} / {second}")
        }
        None => format!("{name} not known"),
    };
    let width = match run.tolerance_zone.width_m(&run.pipe) {
        Some(w) => both(&options.units.up(w)),
        None => "not known".to_owned(),
    };
    format!(
        "{}, {}; {}, {}, {}; facility width {width}.",
        brief.utility.word(),
        brief.utility.letter(),
        size("bore", run.pipe.bore_m),
        size("wall", run.pipe.wall_m),
        size("beacon", run.pipe.beacon_diameter_m),
    )
}

fn cell(words: &str) -> Vec<Para> {
    vec![Para::new(Role::Cell, "").said(words)]
}

fn ties(brief: &Brief, options: &Options) -> Vec<Block> {
    if brief.ties.is_empty() {
        return Vec::new();
    }
    let heading = Block::Heading("Ties to permanent points".to_owned());
    let columns = vec![
        Column { head: "Station", width_mm: 16.0 },
        Column { head: "Level distances to points", width_mm: 164.0 },
    ];
    let row = |lines: &[TieLine]| {
        let mut para = Para::new(Role::Cell, "");
        for (k, tie) in lines.iter().enumerate() {
            let how = if tie.taped { "taped" } else { "computed" };
            para = para.add(if k > 0 { "; " } else { "" }).said(&tie.point).add(": ");
            para = para.bold(&both(&options.units.length(tie.distance_m))).soft(&format!(" ({how})"));
        }
        let number = lines.first().map_or(String::new(), |tie| tie.station.to_string());
        Row { cells: vec![cell(&number), vec![para]], detail: Vec::new() }
    };
    let rows = brief.ties.chunk_by(|a, b| a.station == b.station).map(row).collect();
    let mut points: Vec<&TieLine> = Vec::new();
    for tie in &brief.ties {
        if !points.iter().any(|known| known.point == tie.point) {
            points.push(tie);
        }
    }
    let mut para = Para::new(Role::Also, "Points: ");
    for (k, tie) in points.iter().enumerate() {
        para = para.add(if k > 0 { "; " } else { "" }).said(&tie.point);
        if !tie.description.trim().is_empty() {
            para = para.add(", ").said(&tie.description);
        }
    }
    vec![heading, Block::Table(Table { columns, rows }), Block::Para(para.add("."))]
}

/// What is to be said of the line and not of one station.
fn as_a_whole(brief: &Brief, options: &Options) -> Vec<Block> {
    let mut paras = Vec::new();
    for trouble in &brief.trouble {
        let [a, b] = trouble.between;
        let between =
            if a == b { format!("at station {a}") } else { format!("between stations {a} and {b}") };
        let along = trouble.chainage_m;
        let mut words = format!(
            "{between}, {} along the run from the first station (95 %: {}), by {}; {} aside of the line at most.",
            both(&options.units.length(along.value)),
            both(&options.units.range(along.low95, along.high95)),
            trouble.by,
            both(&options.units.up(trouble.aside95_m)),
        );
        words.push_str(&match trouble.depth_m {
            Some(d) => {
                format!(" Depth to source there {}, 95 %.", both(&options.units.range(d.low95, d.high95)))
            }
            None => " No depth is stated there.".to_owned(),
        });
        paras.push(Para::new(Role::Body, "").bold("Trouble spot: ").add(&words));
    }
    let more = brief.flags.len().saturating_sub(MOST_FLAGS);
    for flag in brief.flags.iter().take(MOST_FLAGS) {
        paras.push(Para::new(Role::Body, "").bold("Look at: ").said(flag));
    }
    if more > 0 {
        let words = format!("{more} more remarks are told by `nullwalk job run`.");
        paras.push(Para::new(Role::Note, &words));
    }
    if paras.is_empty() {
        return Vec::new();
    }
    let heading = Block::Heading("The run as a whole".to_owned());
    std::iter::once(heading).chain(paras.into_iter().map(Block::Para)).collect()
}

fn searched(sweeps: &[Sweep], options: &Options) -> Vec<Block> {
    if sweeps.is_empty() {
        return Vec::new();
    }
    let mut blocks = vec![Block::Heading("What was searched, and how deep that sees".to_owned())];
    for sweep in sweeps {
        let mut para = Para::new(Role::Body, "")
            .bold("Searched: ")
            .said(&sweep.area)
            .add(", ")
            .said(&sweep.method)
            .add(". ");
        para = match sweep.sees_to_m {
            Some(m) => para
                .bold("Sees ")
                .said(&sweep.source)
                .add(&format!(" down to {}, and nothing below.", both(&options.units.length(m)))),
            None => para.bold("How deep that sees is not on record: nothing follows from finding nothing."),
        };
        para = if sweep.found.trim().is_empty() {
            para.add(" What was found is not on record.")
        } else {
            para.bold(" Found: ").said(&sweep.found).add(".")
        };
        blocks.push(Block::Para(para));
    }
    blocks
}

fn other_lines(others: &[OtherLine]) -> Vec<Block> {
    if others.is_empty() {
        return Vec::new();
    }
    let mut blocks = vec![Block::Heading("Other lines, and what was expected and not found".to_owned())];
    let columns = vec![
        Column { head: "Letter, kind", width_mm: 34.0 },
        Column { head: "Line", width_mm: 62.0 },
        Column { head: "Known by", width_mm: 46.0 },
        Column { head: "Found", width_mm: 38.0 },
    ];
    let row = |line: &OtherLine| {
        let found = if !line.found {
            vec![Para::new(Role::Main, "Not found: it may still be there")]
        } else if line.path.is_empty() {
            cell("yes; its place was not measured")
        } else {
            cell("yes; on the plan")
        };
        let kind = format!("{}, {}", line.utility.letter(), line.utility.word());
        Row { cells: vec![cell(&kind), cell(&line.name), cell(&line.known_by), found], detail: Vec::new() }
    };
    // What was not found comes first: it is what may be hit.
    let (found, missed): (Vec<_>, Vec<_>) = others.iter().partition(|line| line.found);
    blocks.push(Block::Table(Table { columns, rows: missed.into_iter().chain(found).map(row).collect() }));
    blocks
}

/// What nobody entered, said in so many words.
fn not_on_record(brief: &Brief) -> Vec<Block> {
    let missing = [
        (
            brief.ties.is_empty(),
            "No ties to permanent points.",
            " If the paint goes, so does the place: tape each mark to two fixed points.",
        ),
        (
            brief.sweeps.is_empty(),
            "No search of the area.",
            " This sheet tells of one line only; whatever else lies here was not looked for.",
        ),
        (
            brief.others.is_empty(),
            "No other lines, and none that was expected and not found.",
            " That means that nobody entered any, not that none is there.",
        ),
    ];
    let missing: Vec<Para> = missing
        .into_iter()
        .filter(|(is, ..)| *is)
        .map(|(_, what, means)| Para::new(Role::Body, "").bold(what).add(means))
        .collect();
    if missing.is_empty() {
        return Vec::new();
    }
    let heading = Block::Heading("Not on record".to_owned());
    std::iter::once(heading).chain(missing.into_iter().map(Block::Para)).collect()
}

fn made(run: &Run) -> Block {
    let para = Para::new(Role::Body, "")
        .bold("Located by ")
        .known_or_blank(&run.made.by, 34.0)
        .add(" on ")
        .known_or_blank(&run.recorded, 26.0)
        .add(" with instrument ")
        .known_or_blank(&run.made.instrument, 30.0)
        .add(", last calibrated ")
        .known_or_blank(&run.made.calibrated, 26.0)
        .add(".");
    Block::Para(para)
}

fn colophon(run: &Run) -> Block {
    let simulated = if run.is_simulated() { "Simulated. " } else { "" };
    let words = format!(
        "Positions count from the site’s origin. Ranges are rounded outwards. {simulated}Drawn by nullwalk {}.",
        env!("CARGO_PKG_VERSION")
    );
    Block::Para(Para::new(Role::Also, &words))
}

fn signatures() -> Block {
    let line = |who: &str| {
        Para::new(Role::Body, who).blank(58.0).add(" name ").blank(40.0).add(" date ").blank(24.0)
    };
    let handed = "Handed over with the marks on the ground as drawn. A signature is no permission to dig.";
    let paras = vec![Para::new(Role::Also, handed), line("Located by "), line("Taken over by ")];
    Block::Framed { broken: false, paras }
}
