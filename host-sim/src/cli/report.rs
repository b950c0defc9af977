//! What the command prints and writes.

use std::fmt::{Display, Write as _};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::{Done, Failure};
pub use crate::book::CAUTION;
use crate::book::{Run, describe, write_whole};
use crate::job::{Job, Settings, keep_run};
use crate::pictures::Picture;
use crate::sheet::{Brief, Options};
use crate::{capture, sheet, tolerant_toml};

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

/// A new folder, if it is not there.
pub fn make_folder(folder: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|e| {
        format!("{}: cannot be made: {e}; name a folder elsewhere, or check permissions", folder.display())
            .into()
    })
}

pub fn write(path: &Path, content: &[u8]) -> Result<(), Failure> {
    write_whole(path, content).map_err(|e| {
        format!("{}: cannot be written: {e}; check the folder and its permissions", path.display()).into()
    })
}

/// What was found: as JSON, or as its own text.
pub fn show(found: &(impl Serialize + Display), as_json: bool) -> Result<(), Failure> {
    if as_json {
        json(found)?;
    } else {
        print(&found.to_string())?;
    }
    Ok(())
}

/// A drawing of its own, as SVG.
pub fn write_svg(path: &Path, svg: &str) -> Result<(), Failure> {
    write(path, svg.as_bytes())?;
    wrote("drawing", path);
    Ok(())
}

/// What comes with the program, each by name, summary and text: the list of them, or the text of the one of this name.
pub fn builtin(all: &[[&str; 3]], name: Option<&str>, no_such: &str) -> Result<Done, Failure> {
    let Some(name) = name else {
        let width = all.iter().map(|[name, ..]| name.len()).max().unwrap_or(0);
        let list: String =
            all.iter().map(|[name, summary, _]| format!("{name:width$}  {summary}\n")).collect();
        print(&list)?;
        return Ok(Done::WORK);
    };
    let [.., text] =
        all.iter().find(|[found, ..]| *found == name).ok_or_else(|| format!("{name}: {no_such}"))?;
    print(text)?;
    Ok(Done::WORK)
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
    let mut job = Job::open_or_create(path, Settings::of(run))?;
    let name = keep_run(&mut job, run, from)?;
    if name != run.title {
        eprintln!("notice: {}: kept as run {name:?}", path.display());
    }
    wrote("job", path);
    Ok(())
}

/// A run for machines: where a depth goes, the caution goes.
#[derive(Serialize)]
struct Told<'a> {
    #[serde(flatten)]
    run: &'a Run,
    caution: &'a str,
}

/// A run for a person, or as JSON.
pub fn tell(run: &Run, as_json: bool) -> Result<(), Failure> {
    if as_json {
        return json(&Told { run, caution: CAUTION });
    }
    let mut text = String::new();
    writeln!(text, "{}", run.title)?;
    if !run.description.is_empty() {
        writeln!(text, "{}", run.description)?;
    }
    for station in &run.stations {
        write!(text, "\n{}", describe(run, station))?;
    }
    writeln!(text, "\n{CAUTION}")?;
    Ok(print(&text)?)
}
