//! What the command prints and writes.

use std::fmt::Write as _;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::Failure;
pub use crate::book::CAUTION;
use crate::book::{Cover, Run, Station, Verdict, write_whole};
use crate::job::{Job, Settings, keep_run};
use crate::pictures::Picture;
use crate::sheet::{Brief, Options};
use crate::{capture, sheet, tolerant_toml, units};

/// A reader that goes away early (`| head`) is no failure of ours: the work goes on, and the exit status tells
/// how it ended.
pub fn print(text: &str) -> io::Result<()> {
    let mut out = io::stdout();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        printed => printed,
    }
}

pub fn json(value: &impl Serialize) -> Result<(), Failure> {
    let mut text = serde_json::to_string_pretty(value)?;
    text.push('\n');
    Ok(print(&text)?)
}

pub fn write(path: &Path, content: &[u8]) -> Result<(), Failure> {
    write_whole(path, content).map_err(|e| format!("{}: cannot be written: {e}", path.display()).into())
}

/// A drawing, as PNG if the name says so, else as SVG.
pub fn write_drawing(
    what: &'static str,
    file: &'static str,
    svg: String,
    path: &Path,
) -> Result<(), Failure> {
    let picture = Picture { file, svg };
    if path.extension().is_some_and(|end| end.eq_ignore_ascii_case("png")) {
        write(path, &picture.png()?)?;
    } else {
        write(path, picture.svg.as_bytes())?;
    }
    wrote(what, path);
    Ok(())
}

/// As PDF if asked for, or if the name says so.
pub fn write_sheet(brief: &Brief, options: &Options, path: &Path, pdf: bool) -> Result<(), Failure> {
    if pdf || path.extension().is_some_and(|end| end.eq_ignore_ascii_case("pdf")) {
        write(path, &sheet::pdf(brief, options)?)?;
    } else {
        write(path, sheet::html(brief, options)?.as_bytes())?;
    }
    wrote("sheet", path);
    Ok(())
}

pub fn wrote(what: &str, path: &Path) {
    eprintln!("{what:6} {}", path.display());
}

pub fn notices(notices: &[tolerant_toml::Notice]) {
    for notice in notices {
        eprintln!("notice: {notice}");
    }
}

pub fn capture_notices(notices: &[capture::Notice]) {
    for notice in notices {
        eprintln!("notice: {notice}");
    }
}

/// What to do with a run that was located.
#[derive(clap::Args)]
pub struct Delivery {
    /// Print the result as JSON
    #[arg(long)]
    pub json: bool,
    /// Keep the result in this job, which is begun if it is not there
    #[arg(long)]
    job: Option<PathBuf>,
    /// Draw the dig sheet; PDF if the name ends so
    #[arg(long)]
    sheet: Option<PathBuf>,
}

impl Delivery {
    /// `from` is the recording behind the run, where there is one.
    pub fn deliver(&self, run: &Run, from: Option<&Path>) -> Result<(), Failure> {
        tell(run, self.json)?;
        if let Some(path) = &self.job {
            keep(run, from, path)?;
        }
        if let Some(path) = &self.sheet {
            write_sheet(&Brief::from(run.clone()), &Options::default(), path, false)?;
        }
        Ok(())
    }
}

/// Keep a run in a job.
pub fn keep(run: &Run, from: Option<&Path>, path: &Path) -> Result<(), Failure> {
    let settings =
        Settings { title: run.title.clone(), site_note: run.site_note.clone(), ..Settings::default() };
    let mut job = Job::open_or_create(path, settings)?;
    let name = keep_run(&mut job, run, from)?;
    if name != run.title {
        eprintln!("notice: {}: kept as run {name:?}", path.display());
    }
    wrote("job", path);
    Ok(())
}

/// A run for a person, or as JSON.
pub fn tell(run: &Run, as_json: bool) -> Result<(), Failure> {
    if as_json {
        return json(run);
    }
    let mut text = String::new();
    writeln!(text, "{}", run.title)?;
    if !run.description.is_empty() {
        writeln!(text, "{}", run.description)?;
    }
    for station in &run.stations {
        text.push('\n');
        describe(&mut text, run, station)?;
    }
    writeln!(text, "\n{CAUTION}")?;
    Ok(print(&text)?)
}

fn describe(text: &mut String, run: &Run, station: &Station) -> std::fmt::Result {
    let word = match station.verdict {
        Verdict::Agree => "AGREE: independent methods agree",
        Verdict::Doubt => "DOUBT: figures with a widened range",
        Verdict::Refuse => "REFUSED: no figure may be given",
    };
    let trouble = if station.trouble_spot { "  (the trouble spot)" } else { "" };
    writeln!(text, "Station {}  {}{trouble}", station.number, station.name)?;
    let mut row = |name: &str, value: String| writeln!(text, "  {name:<10} {value}");
    row("verdict", word.to_owned())?;
    if let Some(d) = station.stated_depth_m() {
        row("depth", format!("{}  to the source, 95 %", units::with_range(d.value, d.low95, d.high95)))?;
        if let Some(m) = station.stated_shallow_bound_m() {
            let (m, feet) = (units::metres(m), units::feet_inches(m));
            row(
                "",
                format!("reckon with it from {m} / {feet} down; nothing says the ground above is free"),
            )?;
        }
        if let Cover::Between { low_m, high_m } = run.pipe.cover(&d) {
            let range = format!(
                "{} / {}",
                units::metres_range(low_m, high_m),
                units::feet_inches_range(low_m, high_m)
            );
            row("cover", format!("{range}  to the top of the pipe"))?;
        }
    }
    if let Some(p) = station.position.filter(|_| station.is_located()) {
        let lay = station.lay_deg.map_or(String::new(), |l| {
            format!("   lay {} ± {:.0}°", units::lay(l.value), (2.0 * l.sigma).max(1.0))
        });
        let radius = units::metres_up(p.radius95_m());
        row(
            "place",
            format!("{:.2} m east, {:.2} m north, within {radius} (95 %){lay}", p.east_m, p.north_m),
        )?;
    }
    for (n, method) in station.methods.iter().enumerate() {
        let name = if n == 0 { "methods" } else { "" };
        let value = match (&method.estimate, &method.refused) {
            (Some(e), _) if station.is_located() => format!("{:.3} m ± {:.3} m", e.value, 2.0 * e.sigma),
            (_, Some(why)) => format!("none: {why}"),
            _ => "withheld".to_owned(),
        };
        row(name, format!("{:<16} {value}", method.method))?;
    }
    let failed: Vec<&str> = station.checks.iter().filter(|c| !c.passed).map(|c| c.name.as_str()).collect();
    if !station.checks.is_empty() {
        let passed = station.checks.len() - failed.len();
        let tail =
            if failed.is_empty() { String::new() } else { format!("; failed: {}", failed.join(", ")) };
        row("checks", format!("{passed} of {} passed{tail}", station.checks.len()))?;
    }
    if let Some(tone) = station.tone {
        let (hz, offset, snr) = (tone.nominal_hz, hundredths(tone.offset_hz), tone.snr_db);
        row("tone", format!("{hz:.0} Hz, off by {offset:+.2} Hz, up to {snr:.0} dB above the noise"))?;
    }
    for reason in &station.reasons {
        row("reason", format!("{} {}", reason.sentence, reason.remedy))?;
    }
    if let Some(truth) = station.truth {
        let depth = format!("{:.2} m deep", truth.depth_to_source_m);
        let off = station.position.filter(|_| station.is_located()).map_or(String::new(), |p| {
            let off_m = (p.east_m - truth.east_m).hypot(p.north_m - truth.north_m);
            format!("; the mark is {:.0} mm off", 1000.0 * off_m)
        });
        row("truth", format!("{depth}{off}  (only a simulator knows)"))?;
    }
    Ok(())
}

/// Rounded, so that what is next to nothing has no sign of its own.
pub fn hundredths(value: f64) -> f64 {
    (100.0 * value).round() / 100.0 + 0.0
}
