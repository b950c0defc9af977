//! Plan files: which site, what varies, how often.

use std::collections::HashSet;
use std::io;
use std::path::Path;

use rand::Rng;
use serde::Deserialize;
use toml::{Table, Value};

use super::builtin::builtin;
use super::draw::{Draw, DrawFile, generator};
use super::tree;
use crate::site::{self, Site, Start, Station, default_walk};
use crate::tolerant_toml::{self, Notice, ParseError};

/// More trials than this are a slip of the pen.
const MAX_TRIALS: u64 = 10_000_000;
/// The keys that the draws of `[start]` go by.
const DISTANCE: &str = "start.distance_m";
const ASIDE: &str = "start.aside_deg";

/// What is wrong with a plan.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// A file cannot be read.
    #[error("{file}: cannot be read ({source}); built-in plans are listed by `nullwalk trials plans`")]
    Read {
        /// The file.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// The text is no TOML, or a value is of the wrong kind.
    #[error(transparent)]
    Parse(#[from] ParseError),
    /// The plan's site cannot be.
    #[error("{file}: site: {source}")]
    Site {
        /// The plan.
        file: String,
        /// What is wrong with it.
        source: Box<site::SiteError>,
    },
    /// An entry that cannot be.
    #[error("{file}: {place}: {problem}")]
    Entry {
        /// The plan.
        file: String,
        /// Which entry, or which trial.
        place: String,
        /// What is wrong, and the remedy.
        problem: String,
    },
}

#[derive(Debug, Deserialize)]
#[serde(default)]
struct PlanFile {
    title: String,
    description: String,
    site: Option<SiteFile>,
    trials: u64,
    seed: u64,
    set: Table,
    vary: Vec<DrawFile>,
    start: Option<StartFile>,
    kind: Vec<KindFile>,
}

impl Default for PlanFile {
    fn default() -> Self {
        Self {
            title: String::new(),
            description: String::new(),
            site: None,
            trials: 100,
            seed: 1,
            set: Table::new(),
            vary: Vec::new(),
            start: None,
            kind: Vec::new(),
        }
    }
}

/// A built-in name, a path, or the site itself.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum SiteFile {
    Named(String),
    Here(Table),
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct StartFile {
    distance_m: Option<DrawFile>,
    aside_deg: Option<DrawFile>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct KindFile {
    name: String,
    trials: Option<u64>,
    set: Table,
    vary: Vec<DrawFile>,
    start: Option<StartFile>,
}

/// A plan, read and checked.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The file's name, or the built-in's: errors carry it.
    pub file: String,
    /// Its text as it was read: two runs belong together when it is the same.
    pub text: String,
    /// The text of the site file it names, where it names one.
    pub site_text: Option<String>,
    /// A short name.
    pub title: String,
    /// What is to be learnt.
    pub description: String,
    /// The seed of all draws.
    pub seed: u64,
    /// What is tried, kind by kind.
    pub kinds: Vec<Kind>,
    base: Value,
}

/// One kind of trial.
#[derive(Debug, Clone)]
pub struct Kind {
    /// Its name; results are summarised by it.
    pub name: String,
    /// How many trials.
    pub trials: u64,
    steps: Vec<Step>,
    start: Option<PolarStart>,
}

/// A value to be put into the site.
#[derive(Debug, Clone)]
struct Step {
    key: String,
    draw: Draw,
    /// Where in the plan it stands, for errors.
    place: String,
    /// Whether it is worth a column of its own: what is merely set is not.
    varies: bool,
}

/// A start so far back along the lay of the first source.
#[derive(Debug, Clone)]
struct PolarStart {
    distance_m: Draw,
    aside_deg: Draw,
}

/// What one trial simulates.
#[derive(Debug, Clone)]
pub struct Scene {
    /// The site with everything drawn.
    pub site: Site,
    /// The seed of the simulation.
    pub seed: u64,
    /// What was drawn: keys with values, in the plan's order.
    pub drawn: Vec<(String, Value)>,
}

impl Plan {
    /// A plan by its built-in name or from a file, with notices of keys that nothing reads.
    ///
    /// # Errors
    /// Names the file, the entry in it, and what is wrong there.
    pub fn open(name: &str) -> Result<(Self, Vec<Notice>), PlanError> {
        if let Some(found) = builtin().iter().find(|b| b.name == name) {
            return Self::from_toml(found.toml, name, Path::new(""));
        }
        let text = read(name)?;
        Self::from_toml(&text, name, Path::new(name).parent().unwrap_or(Path::new("")))
    }

    /// A plan from its text. `file` is the name that errors carry; sites are looked for from `folder`.
    ///
    /// # Errors
    /// As [`Plan::open`].
    pub fn from_toml(text: &str, file: &str, folder: &Path) -> Result<(Self, Vec<Notice>), PlanError> {
        Self::with_site(text, file, |name| {
            let path = folder.join(name);
            (path.display().to_string(), std::fs::read_to_string(&path))
        })
    }

    /// A plan from its text; `find` gives the name and the text of the site file it names.
    ///
    /// # Errors
    /// As [`Plan::open`].
    pub fn with_site(
        text: &str,
        file: &str,
        find: impl FnOnce(&str) -> (String, io::Result<String>),
    ) -> Result<(Self, Vec<Notice>), PlanError> {
        let (plan, mut notices) = tolerant_toml::parse::<PlanFile>(text, file)?;
        let (base, site_text) = base(plan.site, file, find, &mut notices)?;
        let entry =
            |place: String, problem: String| PlanError::Entry { file: file.to_owned(), place, problem };
        let mut kinds = plan.kind;
        if kinds.is_empty() {
            kinds.push(KindFile { name: "all".to_owned(), ..KindFile::default() });
        }
        let common = steps(plan.set, plan.vary, "").map_err(|(place, problem)| entry(place, problem))?;
        let mut names = HashSet::new();
        let mut checked = Vec::new();
        for (n, kind) in kinds.into_iter().enumerate() {
            let place = format!("kind.{}", n + 1);
            let plain = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.');
            if kind.name.is_empty() || !kind.name.chars().all(plain) {
                let problem = "must be letters, digits, '-', '_' and '.' only, and not empty".to_owned();
                return Err(entry(format!("{place}.name"), problem));
            }
            if !names.insert(kind.name.clone()) {
                let problem = format!("`{}` is there already; give every kind its own name", kind.name);
                return Err(entry(format!("{place}.name"), problem));
            }
            let trials = kind.trials.unwrap_or(plan.trials);
            if !(1..=MAX_TRIALS).contains(&trials) {
                return Err(entry(
                    format!("{place}.trials"),
                    format!("= {trials}: must be 1 to {MAX_TRIALS}"),
                ));
            }
            let own = steps(kind.set, kind.vary, &format!("{place}.")).map_err(|(p, why)| entry(p, why))?;
            let steps = joined(&common, own).map_err(|(p, why)| entry(p, why))?;
            let start = kind.start.or_else(|| plan.start.clone());
            let start = start.map(polar_start).transpose().map_err(|(p, why)| entry(p, why))?;
            checked.push(Kind { name: kind.name, trials, steps, start });
        }
        let plan = Self {
            file: file.to_owned(),
            text: text.to_owned(),
            site_text,
            title: plan.title,
            description: plan.description,
            seed: plan.seed,
            kinds: checked,
            base,
        };
        // A wrong key is wrong in every trial: find it before the first hour is spent.
        plan.kinds.iter().try_for_each(|kind| plan.scene(kind, 0).map(|_| ()))?;
        Ok((plan, notices))
    }

    /// The keys that vary, each once: the columns of what was drawn.
    pub fn varied(&self) -> Vec<String> {
        let mut keys: Vec<String> = Vec::new();
        for kind in &self.kinds {
            let start: &[&str] = if kind.start.is_some() { &[DISTANCE, ASIDE] } else { &[] };
            let steps = kind.steps.iter().filter(|s| s.varies).map(|s| s.key.as_str());
            for key in steps.chain(start.iter().copied()) {
                if !keys.iter().any(|k| k == key) {
                    keys.push(key.to_owned());
                }
            }
        }
        keys
    }

    /// What trial `number` (counted from 0) of a kind simulates.
    ///
    /// # Errors
    /// When a key leads nowhere or a drawn value cannot be.
    pub fn scene(&self, kind: &Kind, number: u64) -> Result<Scene, PlanError> {
        let at = |place: &str, problem: String| PlanError::Entry {
            file: self.file.clone(),
            place: format!("{place} (kind {}, trial {number})", kind.name),
            problem,
        };
        let random = |key: &str| generator(self.seed, &kind.name, number, key);
        let mut tree = self.base.clone();
        let mut drawn = Vec::new();
        for Step { key, draw, place, varies } in &kind.steps {
            let value = draw
                .value(&mut random(key), |other| tree::number(&tree, other))
                .and_then(|value| tree::put(&mut tree, key, &value).map(|()| value))
                .map_err(|problem| at(place, problem))?;
            if *varies {
                drawn.push((key.clone(), value));
            }
        }
        let mut site: Site = tree.clone().try_into().map_err(|e: toml::de::Error| {
            at("the varied site", e.to_string().trim_end().replace('\n', " "))
        })?;
        // What a site does not know, it does not give back.
        let known = Value::try_from(&site).map_err(|e| at("the varied site", e.to_string()))?;
        for step in &kind.steps {
            if tree::get(&known, &step.key).is_none() {
                let beside = tree::neighbours(&known, &step.key);
                return Err(at(&step.place, format!("a site has no key `{}`; {beside}", step.key)));
            }
        }
        if let Some(start) = &kind.start {
            let mut number_at = |key: &str, draw: &Draw| {
                let value = draw
                    .value(&mut random(key), |other| tree::number(&tree, other))
                    .map_err(|problem| at(key, problem))?;
                drawn.push((key.to_owned(), value.clone()));
                value_number(&value).ok_or_else(|| at(key, format!("{value} is no number")))
            };
            let distance_m = number_at(DISTANCE, &start.distance_m)?;
            let aside_deg = number_at(ASIDE, &start.aside_deg)?;
            place_start(&mut site, distance_m, aside_deg).ok_or_else(|| {
                at(
                    "start",
                    "there is no source to stand back from; add one, or leave [start] out".to_owned(),
                )
            })?;
        }
        site.validate().map_err(|e| at("the varied site", e.to_string()))?;
        Ok(Scene { site, seed: random("seed of the simulation").next_u64(), drawn })
    }
}

/// The technician so far back along the lay of the first source, and so far aside as seen from it.
fn place_start(site: &mut Site, distance_m: f64, aside_deg: f64) -> Option<()> {
    let sonde = site.station.first().and_then(|here| site.sources(here).first().copied())?;
    let (east, north) = (sonde.lay_deg + 180.0 + aside_deg).to_radians().sin_cos();
    let start = &mut site.station.first_mut()?.start;
    *start = Start {
        east_m: sonde.east_m + distance_m * east,
        north_m: sonde.north_m + distance_m * north,
        ..*start
    };
    Some(())
}

fn value_number(value: &Value) -> Option<f64> {
    match value {
        Value::Float(x) => Some(*x),
        Value::Integer(n) => Some(*n as f64),
        _ => None,
    }
}

fn read(file: &str) -> Result<String, PlanError> {
    std::fs::read_to_string(file).map_err(|source| PlanError::Read { file: file.to_owned(), source })
}

/// The complete tree of the plan's site, defaults written out so that every key is there to be found, and the
/// text of the file it came from.
fn base(
    site: Option<SiteFile>,
    file: &str,
    find: impl FnOnce(&str) -> (String, io::Result<String>),
    notices: &mut Vec<Notice>,
) -> Result<(Value, Option<String>), PlanError> {
    let wrong = |e| PlanError::Site { file: file.to_owned(), source: Box::new(e) };
    let (mut site, text) = match site {
        None => (Site::default(), None),
        Some(SiteFile::Here(table)) => {
            let text = table.to_string();
            let (site, found) = Site::from_toml(&text, "[site]").map_err(wrong)?;
            notices.extend(found);
            (site, None)
        }
        Some(SiteFile::Named(name)) => match site::builtin().iter().find(|b| b.name == name) {
            Some(found) => (found.site().map_err(wrong)?, None),
            None => {
                let (named, found) = find(&name);
                let text = found.map_err(|source| {
                    let names: Vec<&str> = site::builtin().iter().map(|b| b.name).collect();
                    let problem = format!(
                        "`{named}` cannot be read ({source}), and no built-in site is called so; built in are {}",
                        names.join(", ")
                    );
                    PlanError::Entry { file: file.to_owned(), place: "site".to_owned(), problem }
                })?;
                let (site, found) = Site::from_toml(&text, &named).map_err(wrong)?;
                notices.extend(found);
                (site, Some(text))
            }
        },
    };
    if site.station.is_empty() {
        site.station.push(Station::default());
    }
    if site.walk.is_empty() {
        site.walk = default_walk();
    }
    let tree = Value::try_from(&site).map_err(|e| PlanError::Entry {
        file: file.to_owned(),
        place: "site".to_owned(),
        problem: e.to_string(),
    })?;
    Ok((tree, text))
}

/// What is set, then what varies.
fn steps(set: Table, vary: Vec<DrawFile>, within: &str) -> Result<Vec<Step>, (String, String)> {
    let set = tree::leaves(&set).into_iter().map(|(key, value)| Step {
        place: format!("{within}set.{key}"),
        key,
        draw: Draw::constant(value),
        varies: false,
    });
    let mut steps: Vec<Step> = set.collect();
    for (n, file) in vary.into_iter().enumerate() {
        let place = format!("{within}vary.{}", n + 1);
        let key = file.key.clone();
        if key.is_empty() {
            return Err((place, "needs a key, as in key = \"source.1.depth_m\"".to_owned()));
        }
        let draw = Draw::new(file).map_err(|problem| (place.clone(), problem))?;
        // What varies takes the place of what is merely set.
        steps.retain(|step| step.key != key || step.varies);
        if steps.iter().any(|step| step.key == key) {
            return Err((place, format!("`{key}` varies already; give every key once")));
        }
        steps.push(Step { key, draw, place, varies: true });
    }
    Ok(steps)
}

/// The steps common to all kinds, with a kind's own in place of those that have the same key, and of those for parts
/// of what a kind gives as a whole.
fn joined(common: &[Step], own: Vec<Step>) -> Result<Vec<Step>, (String, String)> {
    let mut steps = common.to_vec();
    for step in own {
        let part = |key: &str| key.strip_prefix(&step.key).is_some_and(|rest| rest.starts_with('.'));
        steps.retain(|s| !part(&s.key));
        match steps.iter_mut().find(|s| s.key == step.key) {
            Some(slot) => *slot = step,
            None => steps.push(step),
        }
    }
    for (n, step) in steps.iter().enumerate() {
        let later = |key: &str| steps.iter().skip(n).any(|s| s.key == key);
        if let Some(key) = step.draw.needs().find(|key| later(key)) {
            let problem = format!("needs the value of `{key}`, which is drawn later; move it above");
            return Err((step.place.clone(), problem));
        }
    }
    Ok(steps)
}

fn polar_start(file: StartFile) -> Result<PolarStart, (String, String)> {
    let draw = |file: Option<DrawFile>, key: &str, default: f64| {
        file.map_or_else(
            || Ok(Draw::constant(Value::Float(default))),
            |file| Draw::new(file).map_err(|problem| (key.to_owned(), problem)),
        )
    };
    Ok(PolarStart {
        distance_m: draw(file.distance_m, DISTANCE, 4.5)?,
        aside_deg: draw(file.aside_deg, ASIDE, 0.0)?,
    })
}
