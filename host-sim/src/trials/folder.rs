//! The folder of a run: the plan, the site it names, and the rows as they come in.

use std::collections::{BTreeMap, HashSet};
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::plan::{Plan, PlanError};
use super::rows::{Row, RowError, columns};

const ROWS: &str = "rows.csv";
const PLAN: &str = "plan.toml";
const SITE: &str = "site.toml";

/// What is wrong with a folder of rows.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The operating system refused.
    #[error("{file}: cannot {action}: {source}; check the path, its permissions and the disk")]
    Io {
        /// The file or folder.
        file: PathBuf,
        /// What was tried.
        action: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// The folder belongs to something else.
    #[error("{file}: is not that of this plan; give another folder, or the plan that is there")]
    OtherPlan {
        /// The file that differs.
        file: PathBuf,
    },
    /// A merge needs a folder of its own.
    #[error("{folder}: holds rows already; merge into a folder that is not there yet")]
    NotEmpty {
        /// The folder.
        folder: PathBuf,
    },
    /// Somebody else writes there.
    #[error("{file}: another run is writing here; wait for it, or give another folder")]
    Busy {
        /// The file.
        file: PathBuf,
    },
    /// The plan beside the rows cannot be read.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// The header is not that of the plan.
    #[error("{file}: the columns are not those that this program writes for the plan; start a new folder")]
    Columns {
        /// The file.
        file: PathBuf,
    },
    /// A row that cannot be read.
    #[error("{file}, line {line}: {source}; remove the line and run the plan again to fill the gap")]
    Row {
        /// The file.
        file: PathBuf,
        /// The line, counted from 1.
        line: u64,
        /// What is wrong with it.
        source: RowError,
    },
    /// The file is no CSV.
    #[error("{file}: {source}; remove the line and run the plan again to fill the gap")]
    Csv {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        source: csv::Error,
    },
}

fn io_error(file: &Path, action: &'static str) -> impl FnOnce(io::Error) -> FolderError {
    move |source| FolderError::Io { file: file.to_owned(), action, source }
}

/// A folder open for more rows.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    file: File,
}

impl Folder {
    /// The folder of a plan, made where it is missing, with the trials that are in it already. What a crash or a
    /// power cut left of a last line is dropped.
    ///
    /// # Errors
    /// When it holds the rows of another plan, or cannot be read or written.
    pub fn open(path: &Path, plan: &Plan) -> Result<(Self, HashSet<(String, u64)>), FolderError> {
        std::fs::create_dir_all(path).map_err(io_error(path, "make the folder"))?;
        keep(&path.join(PLAN), &plan.text)?;
        if let Some(text) = &plan.site_text {
            keep(&path.join(SITE), text)?;
        }
        let name = path.join(ROWS);
        let opened = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&name);
        let mut file = opened.map_err(io_error(&name, "open"))?;
        file.try_lock().map_err(|e| match e {
            std::fs::TryLockError::WouldBlock => FolderError::Busy { file: name.clone() },
            std::fs::TryLockError::Error(e) => io_error(&name, "lock")(e),
        })?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(io_error(&name, "read"))?;
        let whole = whole_lines(&bytes);
        let rows = parse(whole, plan, &name)?;
        file.set_len(whole.len() as u64).map_err(io_error(&name, "shorten"))?;
        file.seek(SeekFrom::End(0)).map_err(io_error(&name, "read"))?;
        let mut folder = Self { path: name, file };
        if whole.is_empty() {
            folder.append(&columns(&plan.varied()))?;
        }
        Ok((folder, rows.into_iter().map(|row| (row.kind, row.trial)).collect()))
    }

    /// Add a line, in one piece: after a crash it is there or it is not, or it is the cut last one.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn append(&mut self, fields: &[String]) -> Result<(), FolderError> {
        let line = line(fields, &self.path)?;
        self.file.write_all(&line).map_err(io_error(&self.path, "write"))
    }
}

/// Write a text where there is none; where there is one it must be the same.
fn keep(file: &Path, text: &str) -> Result<(), FolderError> {
    match std::fs::read(file) {
        Ok(found) if found == text.as_bytes() => Ok(()),
        Ok(_) => Err(FolderError::OtherPlan { file: file.to_owned() }),
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            crate::book::write_whole(file, text.as_bytes()).map_err(io_error(file, "write"))
        }
        Err(e) => Err(io_error(file, "read")(e)),
    }
}

fn line(fields: &[String], file: &Path) -> Result<Vec<u8>, FolderError> {
    let wrong = |source| FolderError::Csv { file: file.to_owned(), source };
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(fields).map_err(wrong)?;
    writer.into_inner().map_err(|e| io_error(file, "write")(e.into_error()))
}

/// All but a last line that does not end.
fn whole_lines(bytes: &[u8]) -> &[u8] {
    let end = bytes.iter().rposition(|&b| b == b'\n').map_or(0, |last| last + 1);
    bytes.get(..end).unwrap_or_default()
}

fn parse(bytes: &[u8], plan: &Plan, file: &Path) -> Result<Vec<Row>, FolderError> {
    let wrong = |source| FolderError::Csv { file: file.to_owned(), source };
    let mut reader = csv::Reader::from_reader(bytes);
    let varied = plan.varied();
    let columns = columns(&varied);
    if !bytes.is_empty() && !reader.headers().map_err(wrong)?.iter().eq(&columns) {
        return Err(FolderError::Columns { file: file.to_owned() });
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(wrong)?;
        let line = record.position().map_or(0, csv::Position::line);
        let row = Row::parse(record.iter(), &columns, varied.len());
        rows.push(row.map_err(|source| FolderError::Row { file: file.to_owned(), line, source })?);
    }
    Ok(rows)
}

/// The plan of a folder, and its rows by kind and number.
///
/// # Errors
/// When there is none, or a row cannot be read.
pub fn read(path: &Path) -> Result<(Plan, Vec<Row>), FolderError> {
    let name = path.join(PLAN);
    let text = std::fs::read_to_string(&name).map_err(io_error(&name, "read"))?;
    let plan = kept_plan(path, &text, &name)?;
    let name = path.join(ROWS);
    let bytes = std::fs::read(&name).map_err(io_error(&name, "read"))?;
    let mut rows = parse(whole_lines(&bytes), &plan, &name)?;
    sort(&mut rows, &plan);
    Ok((plan, rows))
}

/// The plan that was copied beside the rows, with the site that was copied with it.
fn kept_plan(path: &Path, text: &str, name: &Path) -> Result<Plan, FolderError> {
    let site = path.join(SITE);
    let find = |_: &str| (site.display().to_string(), std::fs::read_to_string(&site));
    let (plan, _) = Plan::with_site(text, &name.display().to_string(), find)?;
    Ok(plan)
}

fn sort(rows: &mut [Row], plan: &Plan) {
    let order: BTreeMap<&str, usize> =
        plan.kinds.iter().enumerate().map(|(n, kind)| (kind.name.as_str(), n)).collect();
    rows.sort_by_key(|row| (order.get(row.kind.as_str()).copied(), row.trial));
}

/// What came of a merge.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Merged {
    /// Trials in the merged folder.
    pub trials: usize,
    /// Trials that came more than once, and agreed.
    pub repeated: usize,
    /// Trials that came more than once and differ: kind and number. The first stays.
    pub at_odds: Vec<(String, u64)>,
    /// Trials of the plan that no folder has.
    pub missing: u64,
}

/// Merge the rows of several folders of one plan into a folder that must not be there yet.
///
/// # Errors
/// When the plans differ, or something cannot be read or written.
pub fn merge(out: &Path, folders: &[PathBuf]) -> Result<Merged, FolderError> {
    let mut plan: Option<Plan> = None;
    let mut rows: Vec<Row> = Vec::new();
    for folder in folders {
        let (its, found) = read(folder)?;
        if plan.as_ref().is_some_and(|p| p.text != its.text || p.site_text != its.site_text) {
            return Err(FolderError::OtherPlan { file: folder.join(PLAN) });
        }
        plan.get_or_insert(its);
        rows.extend(found);
    }
    let Some(plan) = plan else {
        return Ok(Merged::default());
    };
    let (mut target, had) = Folder::open(out, &plan)?;
    if !had.is_empty() {
        return Err(FolderError::NotEmpty { folder: out.to_owned() });
    }
    // The sort keeps the folders' order among rows of one trial.
    sort(&mut rows, &plan);
    let mut merged = Merged::default();
    let mut last: Option<&Row> = None;
    for row in &rows {
        match last.filter(|l| (&l.kind, l.trial) == (&row.kind, row.trial)) {
            None => {
                target.append(&row.fields())?;
                merged.trials += 1;
                last = Some(row);
            }
            Some(same) if same.agrees_with(row) => merged.repeated += 1,
            Some(_) => merged.at_odds.push((row.kind.clone(), row.trial)),
        }
    }
    merged.missing = plan.kinds.iter().map(|k| k.trials).sum::<u64>().saturating_sub(merged.trials as u64);
    Ok(merged)
}
