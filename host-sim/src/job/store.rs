//! The file of a job: an SQLite database with one table that only ever grows.

use std::fs::File;
use std::io::Read as _;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::Timestamp;
use rusqlite::{Connection, ErrorCode, OpenFlags, Transaction, TransactionBehavior, params};
use sha2::{Digest as _, Sha256};

use super::content::{Content, Settings};
use super::error::JobError;
use super::import::hex;
use super::state::{Draft, Refusal, State};

/// Number of an entry.
pub type EntryId = i64;

/// What stands in the file's header, so that it is told from other databases: `NWJB`.
const APPLICATION_ID: i32 = 0x4e57_4a42;
/// Version of the file that is written.
const VERSION: i64 = 2;
/// The version from which on entries have seals.
const SEALED: i64 = 2;
/// How long another program may write before we give up.
const PATIENCE: Duration = Duration::from_secs(10);
/// Kind of an entry that could not be rescued.
const LOST: &str = "lost";
/// A damaged file is given up after so many numbers in a row without an entry.
const LONGEST_HOLE: usize = 1000;
const MAGIC: &[u8] = b"SQLite format 3\0";

/// What makes a database a job, version by version. A new file goes through all of them, as an old one through those it
/// has not seen.
const STEPS: [&str; VERSION as usize] = [include_str!("version-1.sql"), include_str!("version-2.sql")];

/// An entry as it stands in the history.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Entry {
    /// Its number.
    pub id: EntryId,
    /// When it was entered, by the clock of the machine.
    pub at: String,
    /// Who entered it.
    pub by: String,
    /// What kind it is.
    pub kind: String,
    /// Which entry it changes.
    pub of: Option<EntryId>,
    /// Why.
    pub reason: String,
    /// What it says, as JSON.
    pub body: String,
    /// SHA-256 over all this and the seal of the entry before it.
    pub seal: Option<String>,
}

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

/// What was read of the file.
#[derive(Debug, Clone, Default)]
struct Memory {
    state: State,
    /// Number of the last entry that was read.
    read_to: EntryId,
    last_at: String,
    last_seal: String,
    notices: Vec<String>,
}

impl Job {
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
        job.recognise()?;
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

    /// Whether this is a job, and one that this program understands.
    fn recognise(&self) -> Result<(), JobError> {
        let error = JobError::database(&self.path);
        let application: i64 =
            self.db.pragma_query_value(None, "application_id", |row| row.get(0)).map_err(&error)?;
        let version = version(&self.db).map_err(&error)?;
        let path = self.path.clone();
        match application {
            0 if version == 0 => Err(JobError::Foreign {
                path,
                what: "is empty, or a database of another program".to_owned(),
            }),
            _ if application != i64::from(APPLICATION_ID) => {
                Err(JobError::Foreign { path, what: "is a database of another program".to_owned() })
            }
            _ if version > VERSION => Err(JobError::Newer { path, version, known: VERSION }),
            _ => Ok(()),
        }
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

    /// Save what is whole in a damaged job into a new one. What is not becomes an entry that says so, since later ones go
    /// by its number. Gives how many entries were saved, and the numbers of those that were not.
    ///
    /// # Errors
    /// When nothing can be read at all, or the new job cannot be written.
    pub fn rescue(from: &Path, to: &Path) -> Result<(usize, Vec<EntryId>), JobError> {
        check_magic(from)?;
        let damaged = Self::connect(from, false).or_else(|_| Self::connect(from, true))?;
        let entries = read_singly(&damaged.db);
        if entries.iter().flatten().next().is_none() {
            return Err(JobError::Foreign {
                path: from.to_owned(),
                what: "holds no entry that can be read".to_owned(),
            });
        }
        let mut lost = Vec::new();
        let mut saved = Self::make(to)?;
        saved.begin(|write| {
            let error = JobError::database(to);
            let (mut memory, mut before) = (Memory::default(), Some(String::new()));
            for (id, entry) in (1..).zip(entries) {
                let written = entry.as_ref().and_then(|e| e.seal.clone());
                let whole = entry.filter(|e| {
                    before.as_ref().zip(written.as_ref()).is_none_or(|(b, w)| e.seal_after(b) == *w)
                });
                before = written;
                let chain = memory.last_seal.clone();
                let unsealed = whole.map(|entry| Entry { seal: None, ..entry });
                let kept = unsealed.filter(|entry| memory.take(to, entry).is_ok());
                let entry = match kept {
                    Some(entry) => entry,
                    None => {
                        lost.push(id);
                        let (at, kind, body) = (memory.last_at.clone(), LOST.to_owned(), "{}".to_owned());
                        let entry = Entry { id, at, kind, body, ..Entry::default() };
                        memory.take(to, &entry)?;
                        entry
                    }
                };
                entry.insert(write, &chain).map_err(&error)?;
            }
            Ok(())
        })?;
        let kept = usize::try_from(saved.memory.read_to).unwrap_or(0) - lost.len();
        Ok((kept, lost))
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
        let order =
            format!("SELECT id, at, by, kind, of, reason, body, NULL FROM entry {which} ORDER BY id");
        let read =
            || self.db.prepare_cached(&order)?.query_map(numbers, entry_of)?.collect::<Result<_, _>>();
        read().map_err(JobError::database(&self.path))
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

impl Memory {
    fn take(&mut self, path: &Path, entry: &Entry) -> Result<(), JobError> {
        let id = entry.id;
        if id != self.read_to + 1 {
            return Err(JobError::damaged(path, self.read_to + 1, "is missing"));
        }
        let seal = entry.seal_after(&self.last_seal);
        if entry.seal.as_ref().is_some_and(|written| *written != seal) {
            return Err(JobError::damaged(path, id, "is not as it was written"));
        }
        let unread = |e: serde_json::Error| JobError::damaged(path, id, &format!("cannot be read: {e}"));
        match entry.draft().map_err(unread)? {
            Some(draft) => self.state.enter(id, &draft).map_err(|r| {
                JobError::damaged(path, id, &format!("cannot stand: {}: {}", r.place, r.what))
            })?,
            None if entry.kind == LOST => {
                self.notices.push(format!("entry {id} was lost when this job was rescued"))
            }
            None => self.state.unknown += 1,
        }
        self.note_time(id, &entry.at);
        self.read_to = id;
        self.last_seal = seal;
        Ok(())
    }

    /// Times are compared as text: they are all of one form.
    fn note_time(&mut self, id: EntryId, at: &str) {
        if *at < *self.last_at {
            self.notices.push(format!(
                "entry {id} was made at {at}, and the one before it at {}: a clock was set back or two machines differ; \
                 the order of the entries holds, their times do not",
                self.last_at
            ));
        }
        at.clone_into(&mut self.last_at);
    }
}

impl Entry {
    /// What it enters; `None` for a kind that this program does not know.
    fn draft(&self) -> serde_json::Result<Option<Draft>> {
        let reason = self.reason.clone();
        Ok(match (self.kind.as_str(), self.of) {
            ("correction", Some(of)) => {
                Some(Draft::Correction { of, reason, patch: serde_json::from_str(&self.body)? })
            }
            ("withdrawal", Some(of)) => Some(Draft::Withdrawal { of, reason }),
            _ => Content::from_text(&self.kind, &self.body)?.map(Draft::New),
        })
    }
}

impl Entry {
    /// Each part with its length, so that no two entries are the same bytes.
    fn seal_after(&self, before: &str) -> String {
        let (id, of) = (self.id.to_string(), self.of.map_or(String::new(), |of| of.to_string()));
        let mut hash = Sha256::new();
        for part in [before, &id, &self.at, &self.by, &self.kind, &of, &self.reason, &self.body] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part);
        }
        hex(&hash.finalize())
    }

    /// Write it with its seal, and give that.
    fn insert(&self, write: &Transaction<'_>, before: &str) -> rusqlite::Result<String> {
        let seal = self.seal_after(before);
        let mut insert = write.prepare_cached(
            "INSERT INTO entry (id, at, by, kind, of, reason, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
        )?;
        insert.execute(params![self.id, self.at, self.by, self.kind, self.of, self.reason, self.body])?;
        write_seal(write, self.id, &seal)?;
        Ok(seal)
    }
}

fn write_seal(write: &Transaction<'_>, id: EntryId, seal: &str) -> rusqlite::Result<()> {
    write.prepare_cached("INSERT INTO seal (id, sha256) VALUES (?, ?)")?.execute(params![id, seal])?;
    Ok(())
}

fn refused(path: &Path, refusal: Refusal) -> JobError {
    JobError::refused(path, refusal.place, refusal.what)
}

fn check_magic(path: &Path) -> Result<(), JobError> {
    let mut head = [0; MAGIC.len()];
    let mut file = match File::open(path) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            return Err(JobError::Missing { path: path.to_owned() });
        }
        opened => opened.map_err(JobError::io(path, "be opened"))?,
    };
    let foreign = |what: &str| Err(JobError::Foreign { path: path.to_owned(), what: what.to_owned() });
    if path.is_dir() {
        return foreign("is a folder and not a job");
    }
    match file.read_exact(&mut head) {
        Ok(()) if head == MAGIC => Ok(()),
        Ok(()) => foreign("is not a job"),
        Err(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            foreign("is too short for a job; its making was interrupted, or it is something else")
        }
        Err(e) => Err(JobError::io(path, "be read")(e)),
    }
}

fn begin_write(db: &Connection) -> rusqlite::Result<Transaction<'_>> {
    Transaction::new_unchecked(db, TransactionBehavior::Immediate)
}

fn version(db: &Connection) -> rusqlite::Result<i64> {
    db.pragma_query_value(None, "user_version", |row| row.get(0))
}

fn take_steps(write: &Transaction<'_>, from: i64) -> rusqlite::Result<()> {
    for step in STEPS.iter().skip(usize::try_from(from).unwrap_or(0)) {
        write.execute_batch(step)?;
    }
    if from < SEALED {
        let mut before = String::new();
        for entry in select_after(write, 0, false)? {
            before = entry.seal_after(&before);
            write_seal(write, entry.id, &before)?;
        }
    }
    write.pragma_update(None, "user_version", VERSION)
}

/// The entries after this one. What was counted and is not there stands for itself as an error.
fn read_after(db: &Connection, id: EntryId) -> rusqlite::Result<Vec<Entry>> {
    // One look at the file, even while others write.
    let _look = db.is_autocommit().then(|| db.unchecked_transaction()).transpose()?;
    let entries = select_after(db, id, version(db)? >= SEALED)?;
    let counted: EntryId =
        db.query_row("SELECT seq FROM sqlite_sequence WHERE name = 'entry'", [], |row| row.get(0))?;
    if entries.last().map_or(id, |last| last.id) < counted {
        let corrupt = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_CORRUPT);
        return Err(rusqlite::Error::SqliteFailure(
            corrupt,
            Some("the last entries are missing".to_owned()),
        ));
    }
    Ok(entries)
}

fn select_after(db: &Connection, id: EntryId, sealed: bool) -> rusqlite::Result<Vec<Entry>> {
    let mut select = db.prepare_cached(if sealed {
        "SELECT id, at, by, kind, of, reason, body, coalesce(sha256, '') FROM entry LEFT JOIN seal USING (id)
         WHERE id > ? ORDER BY id"
    } else {
        "SELECT id, at, by, kind, of, reason, body, NULL FROM entry WHERE id > ? ORDER BY id"
    })?;
    let rows = select.query_map([id], entry_of)?;
    rows.collect()
}

fn entry_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Entry> {
    Ok(Entry {
        id: row.get(0)?,
        at: row.get(1)?,
        by: row.get(2)?,
        kind: row.get(3)?,
        of: row.get(4)?,
        reason: row.get(5)?,
        body: row.get(6)?,
        seal: row.get(7)?,
    })
}

/// Every entry that a damaged file still gives, by its number less one.
fn read_singly(db: &Connection) -> Vec<Option<Entry>> {
    let one = |id: EntryId| {
        let sealed = "SELECT id, at, by, kind, of, reason, body, (SELECT sha256 FROM seal WHERE seal.id = entry.id) \
                      FROM entry WHERE id = ?";
        let unsealed = "SELECT id, at, by, kind, of, reason, body, NULL FROM entry WHERE id = ?";
        let read = |order| db.query_row(order, [id], entry_of);
        // Where the seals cannot be read, or the file has none, the entry may be whole.
        read(sealed).or_else(|_| read(unsealed)).ok()
    };
    let mut entries: Vec<Option<Entry>> = Vec::new();
    let mut hole = 0;
    while hole < LONGEST_HOLE {
        let entry = one(entries.len() as EntryId + 1);
        hole = if entry.is_some() { 0 } else { hole + 1 };
        entries.push(entry);
    }
    entries.truncate(entries.len() - LONGEST_HOLE);
    entries
}

fn in_words(id: EntryId, at: String, by: String, draft: &Draft) -> rusqlite::Result<Entry> {
    let wordless = |e: serde_json::Error| rusqlite::Error::ToSqlConversionFailure(Box::new(e));
    let (kind, of, reason, body) = match draft {
        Draft::New(content) => {
            (content.kind(), None, "", content.to_value().map_err(wordless)?.to_string())
        }
        Draft::Correction { of, reason, patch } => {
            ("correction", Some(*of), reason.as_str(), patch.to_string())
        }
        Draft::Withdrawal { of, reason } => ("withdrawal", Some(*of), reason.as_str(), "{}".to_owned()),
    };
    let (kind, reason) = (kind.to_owned(), reason.to_owned());
    Ok(Entry { id, at, by, kind, of, reason, body, seal: None })
}
