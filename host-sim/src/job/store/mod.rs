//! The file of a job: an SQLite database with one table that only ever grows.

mod entry;
mod format;
mod memory;
mod rescue;
mod rows;
mod steps;

use std::fs::File;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::Timestamp;
use rusqlite::{Connection, ErrorCode, OpenFlags, Transaction, TransactionBehavior};

pub use entry::{Entry, EntryId};

use self::format::{APPLICATION_ID, VERSION, check_magic, recognise, version};
use self::memory::Memory;
use self::rows::{read_after, select};
use self::steps::take_steps;
use super::content::{Content, Settings};
use super::draft::{Draft, Refusal};
use super::error::JobError;
use super::state::State;

/// How long another program may write before we give up.
const PATIENCE: Duration = Duration::from_secs(10);

/// An open job.
#[derive(Debug)]
pub struct Job {
    path: PathBuf,
    db: Connection,
    memory: Memory,
    /// Who enters what comes next.
    pub by: String,
    /// The clock; another one for tests.
    pub clock: fn() -> Timestamp,
}

impl Job {
    /// Whether a file looks like a job.
    pub fn is_one(path: &Path) -> bool {
        check_magic(path).is_ok()
    }

    /// Begin a job.
    ///
    /// # Errors
    /// When there is something of that name already, or the file system refuses.
    pub fn create(path: &Path, settings: Settings) -> Result<Self, JobError> {
        let mut job = Self::make(path)?;
        let (now, by) = (job.now(), job.by.clone());
        job.begin(|write| {
            let draft = Draft::New(Content::Settings(settings));
            State::default().enter(1, &draft).map_err(|r| refused(path, r))?;
            let first = in_words(1, now, by, &draft).map_err(JobError::database(path))?;
            first.insert(write, "").map_err(JobError::database(path))?;
            Ok(())
        })?;
        Ok(job)
    }

    /// The empty file of a job.
    fn make(path: &Path) -> Result<Self, JobError> {
        if path.metadata().is_ok_and(|m| m.is_dir() || m.len() > 0) {
            return Err(JobError::Exists { path: path.to_owned() });
        }
        // The file is made by the file system, whose message is the better one.
        File::options().append(true).create(true).open(path).map_err(JobError::io(path, "be made"))?;
        Self::connect(path, false)
    }

    /// Open a job, to read and to add.
    ///
    /// # Errors
    /// When it is not there, is no job, is damaged, or of a later version.
    pub fn open(path: &Path) -> Result<Self, JobError> {
        check_magic(path)?;
        let mut job = Self::connect(path, false).or_else(|_| Self::connect(path, true))?;
        recognise(&job.db, path)?;
        job.migrate()?;
        job.refresh()?;
        Ok(job)
    }

    /// Open a job, or begin it where there is none.
    ///
    /// # Errors
    /// As [`Job::open`] and [`Job::create`].
    pub fn open_or_create(path: &Path, settings: Settings) -> Result<Self, JobError> {
        match path.metadata() {
            Ok(found) if found.is_dir() || found.len() > 0 => Self::open(path),
            _ => Self::create(path, settings),
        }
    }

    fn connect(path: &Path, read_only: bool) -> Result<Self, JobError> {
        // An absolute path: SQLite gives names such as `:memory:` a meaning of their own.
        let absolute = std::path::absolute(path).map_err(JobError::io(path, "be found"))?;
        let mode =
            if read_only { OpenFlags::SQLITE_OPEN_READ_ONLY } else { OpenFlags::SQLITE_OPEN_READ_WRITE };
        let error = JobError::database(path);
        let db = Connection::open_with_flags(absolute, mode | OpenFlags::SQLITE_OPEN_NO_MUTEX)
            .map_err(&error)?;
        db.busy_timeout(PATIENCE).map_err(&error)?;
        // What is committed is on the disk, and so is the word in the folder that the journal is gone.
        db.pragma_update(None, "synchronous", "EXTRA").map_err(&error)?;
        let memory = Memory::default();
        Ok(Self { path: path.to_owned(), db, memory, by: String::new(), clock: Timestamp::now })
    }

    /// Tables and first entries in one transaction: there is a whole job, or none.
    fn begin(
        &mut self,
        fill: impl FnOnce(&Transaction<'_>) -> Result<(), JobError>,
    ) -> Result<(), JobError> {
        let error = JobError::database(&self.path);
        let write = begin_write(&self.db).map_err(self.writing())?;
        let tables: i64 =
            write.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0)).map_err(&error)?;
        if tables > 0 {
            return Err(JobError::Exists { path: self.path.clone() });
        }
        write.pragma_update(None, "application_id", APPLICATION_ID).map_err(&error)?;
        take_steps(&write, 0).map_err(&error)?;
        fill(&write)?;
        write.commit().map_err(&error)?;
        self.refresh()
    }

    /// Bring an older file up to date. Nothing in it is changed; what is new is added.
    fn migrate(&self) -> Result<(), JobError> {
        let error = JobError::database(&self.path);
        if version(&self.db).map_err(&error)? == VERSION || !self.is_writable() {
            return Ok(());
        }
        let write = begin_write(&self.db).map_err(self.writing())?;
        // Another program may have been quicker.
        let from = version(&write).map_err(&error)?;
        take_steps(&write, from).map_err(&error)?;
        write.commit().map_err(&error)
    }

    /// Read what was entered since, by this program or another.
    ///
    /// # Errors
    /// When the file cannot be read, or an entry is not as it was written.
    pub fn refresh(&mut self) -> Result<(), JobError> {
        let news = read_after(&self.db, self.memory.read_to).map_err(JobError::database(&self.path))?;
        news.iter().try_for_each(|entry| self.memory.take(&self.path, entry))
    }

    /// Enter all of `drafts`, or none. Each gets the next number.
    ///
    /// # Errors
    /// When one of them may not be entered, or the file cannot be written to. Nothing is entered then.
    pub fn append(&mut self, drafts: &[Draft]) -> Result<Range<EntryId>, JobError> {
        self.append_with(|_, _| Ok::<_, JobError>(drafts.to_vec()))
    }

    /// Enter what `make` makes of the job as it stands while nobody else can add to it. `make` is told the number that
    /// the first entry will have.
    ///
    /// # Errors
    /// As [`Job::append`], or what `make` says.
    pub fn append_with<E: From<JobError>>(
        &mut self,
        make: impl FnOnce(&State, EntryId) -> Result<Vec<Draft>, E>,
    ) -> Result<Range<EntryId>, E> {
        let entered = self.try_append(make);
        if entered.is_err() {
            // What stood before the one that may not be is taken out of memory, as the file never had it.
            self.memory = Memory::default();
            self.refresh()?;
        }
        entered
    }

    fn try_append<E: From<JobError>>(
        &mut self,
        make: impl FnOnce(&State, EntryId) -> Result<Vec<Draft>, E>,
    ) -> Result<Range<EntryId>, E> {
        let (error, writing, at) = (JobError::database(&self.path), self.writing(), self.now());
        let write = begin_write(&self.db).map_err(&writing)?;
        let memory = &mut self.memory;
        for entry in read_after(&write, memory.read_to).map_err(&error)? {
            memory.take(&self.path, &entry)?;
        }
        let first = memory.read_to + 1;
        let mut next = first;
        for draft in make(&memory.state, first)? {
            memory.state.enter(next, &draft).map_err(|r| refused(&self.path, r))?;
            let entry = in_words(next, at.clone(), self.by.clone(), &draft).map_err(&error)?;
            memory.last_seal = entry.insert(&write, &memory.last_seal).map_err(&writing)?;
            memory.note_time(next, &at);
            memory.read_to = next;
            next += 1;
        }
        write.commit().map_err(&writing)?;
        Ok(first..next)
    }

    /// As [`JobError::database`], where something is to be written.
    fn writing(&self) -> impl Fn(rusqlite::Error) -> JobError + use<> {
        let (path, error) = (self.path.clone(), JobError::database(&self.path));
        move |source| match source.sqlite_error_code() {
            // The journal cannot be made beside the file.
            Some(ErrorCode::CannotOpen) => JobError::ReadOnly { path: path.clone() },
            _ => error(source),
        }
    }

    fn now(&self) -> String {
        format!("{:.3}", (self.clock)())
    }

    /// Every entry there ever was, in order.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn history(&self) -> Result<Vec<Entry>, JobError> {
        read_after(&self.db, 0).map_err(JobError::database(&self.path))
    }

    /// What was ever said of an entry: itself, and what changed it.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn history_of(&self, id: EntryId) -> Result<Vec<Entry>, JobError> {
        self.some_history("WHERE id = ?1 OR of = ?2", [id, id])
    }

    /// The entries from one number to another.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn history_between(&self, first: EntryId, last: EntryId) -> Result<Vec<Entry>, JobError> {
        self.some_history("WHERE id BETWEEN ?1 AND ?2", [first, last])
    }

    fn some_history(&self, which: &str, numbers: [EntryId; 2]) -> Result<Vec<Entry>, JobError> {
        select(&self.db, which, numbers).map_err(JobError::database(&self.path))
    }

    /// Number of the last entry that was read.
    pub fn last(&self) -> EntryId {
        self.memory.read_to
    }

    /// What the job amounts to.
    pub fn state(&self) -> &State {
        &self.memory.state
    }

    /// What the reader of the job should know about the file.
    pub fn notices(&self) -> Vec<String> {
        let mut notices = self.memory.notices.clone();
        let unknown = self.memory.state.unknown;
        if unknown > 0 {
            notices.push(format!(
                "{unknown} entries are of a kind that only a newer nullwalk knows; they are kept and not shown"
            ));
        }
        notices
    }

    /// Where the job is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether the file can be added to.
    pub fn is_writable(&self) -> bool {
        !self.db.is_readonly("main").unwrap_or(true)
    }
}

fn refused(path: &Path, refusal: Refusal) -> JobError {
    JobError::refused(path, refusal.place, refusal.what)
}

fn begin_write(db: &Connection) -> rusqlite::Result<Transaction<'_>> {
    Transaction::new_unchecked(db, TransactionBehavior::Immediate)
}

fn in_words(id: EntryId, at: String, by: String, draft: &Draft) -> rusqlite::Result<Entry> {
    Entry::of(id, at, by, draft).map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))
}
