//! The stations in words and figures.

use super::block::{Block, Column, Para, Role, Row, Table, theirs};
use super::brief::Brief;
use super::options::{Options, both};
use crate::book::{Check, Cover, Estimate, MethodResult, Run, SitePosition, Station, Verdict};
use crate::units::{lay, metres_range};

/// One row for each station.
pub fn table(brief: &Brief, options: &Options) -> Block {
    let run = &brief.run;
    let column = |head, width_mm| Column { head, width_mm };
    let columns = vec![
        column("Station", 16.0),
        column("Place, 95 % circle", 32.0),
        column("Lay, tolerance zone", 28.0),
        column("Depth to source, 95 %", 34.0),
        column("Depth of cover", 28.0),
        column("Methods, 95 %, metric", 42.0),
    ];
    let row = |station: &Station| Row {
        cells: vec![
            number(station),
            place(station, options),
            zone(run, station, options),
            depth(station, options),
            cover(run, station, options),
            methods(station),
        ],
        detail: detail(station, options),
    };
    if run.stations.is_empty() {
        return Block::Para(Para::new(Role::Note, "There is none."));
    }
    Block::Table(Table { columns, rows: run.stations.iter().map(row).collect() })
}

fn cell(words: &str) -> Para {
    Para::new(Role::Cell, words)
}

fn also(words: &str) -> Para {
    Para::new(Role::Also, words)
}

fn none(words: &str) -> Para {
    Para::new(Role::Cell, "").bold(words)
}

fn number(station: &Station) -> Vec<Para> {
    let mut paras = vec![
        Para::new(Role::Big, &station.number.to_string()),
        Para::new(Role::Verdict(station.verdict), station.verdict.word()),
    ];
    if station.trouble_spot {
        paras.push(Para::new(Role::Also, "").bold("Trouble spot"));
    }
    paras
}

fn place(station: &Station, options: &Options) -> Vec<Para> {
    let Some(p) = &station.position else {
        return if station.is_located() {
            vec![cell("No position; go by the mark on the ground.")]
        } else {
            vec![none("Not stated"), also("Reasons below")]
        };
    };
    let mut paras = Vec::new();
    if !station.is_located() {
        paras.push(cell("Tried at"));
    }
    let [first, second] = coordinates(p, options);
    paras.extend([cell(&first), also(&second)]);
    if station.is_located() {
        // What is doubted is as a rule what the circle takes for granted.
        let doubt = station.verdict == Verdict::Doubt;
        let within = if doubt { "not surer than" } else { "within" };
        paras.push(also(&format!("{within} {}", both(&options.units.up(p.radius95_m())))));
        if doubt {
            paras.push(also("In doubt: reasons below"));
        }
    }
    paras
}

/// Site coordinates with the side of the origin they lie on, as the plan letters them.
fn coordinates(p: &SitePosition, options: &Options) -> [String; 2] {
    let east = if p.east_m < 0.0 { "W" } else { "E" };
    let north = if p.north_m < 0.0 { "S" } else { "N" };
    let [e, n] = [p.east_m, p.north_m].map(|m| options.units.length(m.abs()));
    [0, 1].map(|k| format!("{} {east}, {} {north}", e[k], n[k]))
}

fn zone(run: &Run, station: &Station, options: &Options) -> Vec<Para> {
    if !station.is_located() {
        return vec![none("Not stated")];
    }
    let mut paras = vec![match &station.lay_deg {
        Some(direction) => {
            cell(&lay(direction.value)).soft(&format!(" ± {}°", (1.96 * direction.sigma).ceil()))
        }
        None => cell("Lay not known"),
    }];
    if let Some(p) = &station.position {
        paras.push(cell(&both(&options.units.up(run.tolerance_zone.half_width_m(&run.pipe, p)))));
        let mut words = String::new();
        if run.tolerance_zone.width_m(&run.pipe).is_none() {
            words.push_str("and half the pipe’s width ");
        }
        words.push_str("each side");
        if station.verdict == Verdict::Doubt {
            words.push_str(", at least");
        }
        paras.push(also(&words));
    }
    paras
}

fn depth(station: &Station, options: &Options) -> Vec<Para> {
    let Some(d) = station.stated_depth_m() else {
        return vec![none("Not stated"), also("Reasons below")];
    };
    let [first, second] = options.units.range(d.low95, d.high95);
    let mut paras = vec![
        Para::new(Role::Main, &first),
        Para::new(Role::Main, &second),
        also(&format!("best {}", both(&options.units.length(d.value)))),
    ];
    if let Some(m) = station.stated_shallow_bound_m() {
        let [first, second] = options.units.length(m).map(|words| unbroken(&words));
        paras.push(also(&format!("reckon with it from {first} / {second} down")));
    }
    if station.verdict == Verdict::Doubt {
        paras.push(also("In doubt: reasons below"));
    }
    paras
}

fn cover(run: &Run, station: &Station, options: &Options) -> Vec<Para> {
    let Some(d) = station.stated_depth_m() else {
        return vec![none("Not stated")];
    };
    match run.pipe.cover(&d) {
        Cover::Between { low_m, high_m } => {
            options.units.range(low_m, high_m).map(|words| cell(&words)).to_vec()
        }
        Cover::SizeUnknown => vec![cell("Not stated: bore or wall is not known.")],
        Cover::Impossible => {
            vec![cell("Not stated: the pipe’s size does not fit this depth. Check the bore and the wall.")]
        }
    }
}

fn methods(station: &Station) -> Vec<Para> {
    if station.methods.is_empty() {
        return vec![none("None recorded")];
    }
    station.methods.iter().map(|method| answer(station, method)).collect()
}

/// A method's own answer; behind a refused station it is kept back with the rest.
fn answer(station: &Station, method: &MethodResult) -> Para {
    let shown: Option<Estimate> = method.estimate.filter(|_| station.is_located());
    let para = Para::new(Role::Also, "").said(&method.method).add(": ");
    match (shown, &method.refused) {
        (Some(e), _) => {
            // In feet and inches they would not fit on a line, and nobody digs by one method.
            para.add(&unbroken(&metres_range(e.low95, e.high95)))
        }
        (None, Some(why)) => para.add("none: ").said(why),
        (None, None) => para.add("not stated"),
    }
}

fn detail(station: &Station, options: &Options) -> Vec<Para> {
    let (passed, failed): (Vec<_>, Vec<_>) = station.checks.iter().partition(|c| c.passed);
    let mut paras = Vec::new();
    for reason in &station.reasons {
        paras.push(
            Para::new(Role::Cell, "").bold(&theirs(&reason.sentence)).bold(" Next: ").said(&reason.remedy),
        );
    }
    if !failed.is_empty() {
        paras.push(Para::new(Role::Cell, "").bold("Failed: ").add(&joined(&failed)));
    }
    let mut rest = Para::new(Role::Also, "");
    if !station.name.trim().is_empty() {
        rest = rest.said(&station.name).add(". ");
    }
    rest = match (passed.len(), failed.len()) {
        (0, _) => rest,
        (1, 0) => rest.add("The one check passed. "),
        (all, 0) => rest.add(&format!("All {all} checks passed. ")),
        (some, _) => rest.add(&format!("{some} other checks passed. ")),
    };
    if station.checks.is_empty() {
        rest = rest.add("No check was recorded. ");
    }
    paras.push(heard(rest, station, options));
    if station.is_located() {
        paras.push(
            Para::new(Role::Also, "When exposed: top of pipe ")
                .blank(17.0)
                .add(" below the surface, ")
                .blank(17.0)
                .add(" off the mark; on ")
                .blank(17.0)
                .add(" by ")
                .blank(24.0),
        );
    }
    paras
}

fn joined(checks: &[&Check]) -> String {
    let said = |check: &&Check| {
        let (name, detail) = (theirs(&check.name), theirs(&check.detail));
        if detail.is_empty() { name } else { format!("{name} ({})", unbroken(&detail)) }
    };
    let all: Vec<String> = checks.iter().map(said).collect();
    format!("{}.", all.join("; "))
}

/// Two decimals with a sign; a zero is never negative.
fn signed(value: f64) -> String {
    format!("{:+.2}", (value * 100.0).round() / 100.0 + 0.0)
}

/// Words that no line end parts, but after a comma; long ones may be parted anywhere.
fn unbroken(words: &str) -> String {
    const LONG: usize = 40;
    if words.chars().count() > LONG {
        return words.to_owned();
    }
    words.replace(' ', "\u{a0}").replace(",\u{a0}", ", ")
}

/// The tone, the recording behind the station, and for a simulated one the truth.
fn heard(para: Para, station: &Station, options: &Options) -> Para {
    let mut para = match &station.tone {
        Some(tone) => para.add(&format!(
            "Tone {:.0} Hz, carrier {} Hz off, {:.0} dB above the noise.",
            tone.nominal_hz,
            signed(tone.offset_hz),
            tone.snr_db
        )),
        None => para.add("No tone was recorded."),
    };
    if !station.capture.trim().is_empty() {
        para = para.add(" Capture ").said(&station.capture).add(".");
    }
    if let Some(t) = station.truth.filter(|_| station.is_located()) {
        let at = SitePosition { east_m: t.east_m, north_m: t.north_m, sigma_m: 0.0 };
        let [place, _] = coordinates(&at, options);
        let [depth, _] = options.units.length(t.depth_to_source_m);
        para = para.add(" ").bold("Simulated truth:").add(&format!(
            " {}, depth to source {}.",
            unbroken(&place),
            unbroken(&depth)
        ));
    }
    para
}
