//! The jobs that are shown: found by name, opened once, kept in memory.
//!
//! A job is known here by its file's name only. What a visitor asks for is looked up and never made a path of.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::book::Verdict;
use crate::job::{EntryId, Job, JobError, Places, Refusal};

/// So many jobs are held in memory; the one longest not looked at goes first.
const MOST_OPEN: usize = 8;
/// So many jobs of a folder are listed.
const MOST_LISTED: usize = 1000;
/// How the name of a job's file ends, in a folder.
const ENDING: &str = "job";

/// All jobs that are shown.
pub struct Shelf {
    /// Files and folders, as they were named.
    given: Vec<PathBuf>,
    volumes: Mutex<BTreeMap<String, Arc<Volume>>>,
    clock: AtomicU64,
}

/// One job.
pub struct Volume {
    /// Its name on the page.
    pub name: String,
    /// Its file.
    pub path: PathBuf,
    /// The same, by the one name that it has for all.
    whole: PathBuf,
    // Whatever opens the file does so with this in hand: closing a file gives up the locks that this process has on it.
    open: Mutex<Option<Opened>>,
    used: AtomicU64,
}

/// A job in memory, with what takes a while to work out.
pub struct Opened {
    /// The job.
    pub job: Job,
    /// Where everything is, or why that is not known.
    pub places: Result<Places, Refusal>,
    /// Stations by verdict, and trouble spots, of each run.
    pub tallies: BTreeMap<EntryId, Tally>,
    /// The last entry when these were worked out.
    until: EntryId,
    file: Option<(u64, u64)>,
}

/// How the stations of a run came out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// Stations that agree, are in doubt, were refused.
    pub verdicts: [usize; 3],
    /// Trouble spots.
    pub trouble: usize,
}

impl Tally {
    /// All of them.
    pub fn stations(&self) -> usize {
        self.verdicts.iter().sum()
    }

    /// Both together.
    pub fn and(self, other: Self) -> Self {
        let [a, d, r] = self.verdicts;
        let [b, e, s] = other.verdicts;
        Self { verdicts: [a + b, d + e, r + s], trouble: self.trouble + other.trouble }
    }
}

/// A lock that someone panicked with is still a lock: what it guards is checked or read anew.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shelf {
    /// Of these files and folders.
    pub fn new(given: Vec<PathBuf>) -> Self {
        Self { given, volumes: Mutex::default(), clock: AtomicU64::new(0) }
    }

    /// All jobs by name. Folders are looked into each time, and not into folders within.
    pub fn volumes(&self) -> Vec<Arc<Volume>> {
        let mut known = lock(&self.volumes);
        for file in self.given.iter().flat_map(|given| files(given)) {
            let whole = fs::canonicalize(&file).unwrap_or_else(|_| file.clone());
            if known.values().any(|v| v.path == file || v.whole == whole) {
                continue;
            }
            let base = file.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
            let mut names = (1..).map(|n| if n == 1 { base.clone() } else { format!("{base} ({n})") });
            let Some(name) = names.find(|name| !known.contains_key(name)) else { continue };
            let (open, used) = (Mutex::default(), AtomicU64::new(0));
            known.insert(name.clone(), Arc::new(Volume { name, path: file, whole, open, used }));
        }
        // One that was taken away from its folder goes; one that was named stays, and its page says what is wrong.
        known.retain(|_, v| self.given.contains(&v.path) || v.path.exists());
        known.values().cloned().collect()
    }

    /// The job of this name.
    pub fn find(&self, name: &str) -> Option<Arc<Volume>> {
        let known = lock(&self.volumes).get(name).cloned();
        known.or_else(|| self.volumes().into_iter().find(|v| v.name == name))
    }

    /// Do something with a job as it is now.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn with<T>(&self, volume: &Volume, act: impl FnOnce(&mut Opened) -> T) -> Result<T, JobError> {
        volume.used.store(self.clock.fetch_add(1, Ordering::Relaxed), Ordering::Relaxed);
        let mut open = lock(&volume.open);
        let current = open.take().filter(|opened| opened.file == identity(&volume.path));
        let fresh = current.is_none();
        let mut opened = match current {
            Some(opened) => opened,
            None => Opened::open(&volume.path)?,
        };
        // What cannot be read on is opened anew the next time.
        opened.refresh()?;
        let done = act(&mut opened);
        *open = Some(opened);
        drop(open);
        if fresh {
            self.thin_out(volume);
        }
        Ok(done)
    }

    /// How a job stands, if that is known without opening it.
    pub fn glance<T>(&self, volume: &Volume, look: impl FnOnce(&Opened) -> T) -> Option<T> {
        let mut open = volume.open.try_lock().ok()?;
        let opened = open.as_mut().filter(|opened| opened.file == identity(&volume.path))?;
        opened.refresh().ok()?;
        Some(look(opened))
    }

    /// Open what will most likely be asked for.
    pub fn warm(&self) {
        for volume in self.volumes().iter().take(MOST_OPEN) {
            // What is wrong with a job is told on its page.
            let _ = self.with(volume, |_| ());
        }
    }

    fn thin_out(&self, but: &Volume) {
        let mut open: Vec<_> = lock(&self.volumes).values().cloned().collect();
        open.retain(|v| v.open.try_lock().is_ok_and(|o| o.is_some()) && v.path != but.path);
        open.sort_by_key(|v| v.used.load(Ordering::Relaxed));
        let spare = (open.len() + 1).saturating_sub(MOST_OPEN);
        for volume in open.iter().take(spare) {
            if let Ok(mut open) = volume.open.try_lock() {
                *open = None;
            }
        }
    }
}

impl Opened {
    fn open(path: &Path) -> Result<Self, JobError> {
        let file = identity(path);
        let job = Job::open(path)?;
        Ok(Self { job, places: Ok(Places::default()), tallies: BTreeMap::new(), until: 0, file })
    }

    fn refresh(&mut self) -> Result<(), JobError> {
        self.job.refresh()?;
        if self.until == self.job.last() {
            return Ok(());
        }
        let state = self.job.state();
        self.places = state.places();
        self.tallies = state.runs().map(|(id, _)| (id, Tally::default())).collect();
        for (_, station) in state.stations() {
            let Some(tally) = self.tallies.get_mut(&station.run) else { continue };
            let [agree, doubt, refuse] = &mut tally.verdicts;
            match station.found.verdict {
                Verdict::Agree => *agree += 1,
                Verdict::Doubt => *doubt += 1,
                Verdict::Refuse => *refuse += 1,
            }
            tally.trouble += usize::from(station.found.trouble_spot);
        }
        self.until = self.job.last();
        Ok(())
    }

    /// Everything together.
    pub fn tally(&self) -> Tally {
        self.tallies.values().fold(Tally::default(), |sum, t| sum.and(*t))
    }
}

/// A file itself, or those of a folder that look like jobs.
fn files(given: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(given) else { return vec![given.to_owned()] };
    let mut files: Vec<PathBuf> = entries
        .filter_map(Result::ok)
        // A link may lead out of the folder.
        .filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()))
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|end| end == ENDING))
        .collect();
    files.sort();
    files.truncate(MOST_LISTED);
    files
}

/// What tells a file from another one that was put in its place.
#[cfg(unix)]
fn identity(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt as _;
    fs::metadata(path).ok().map(|found| (found.dev(), found.ino()))
}

/// An open file cannot be replaced here.
#[cfg(not(unix))]
fn identity(path: &Path) -> Option<(u64, u64)> {
    fs::metadata(path).ok().map(|_| (0, 0))
}
