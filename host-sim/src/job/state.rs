//! What a job amounts to when its entries are read in their order.

use std::collections::BTreeMap;

use super::EntryId;
use super::content::{
    Content, Note, OtherLine, Photo, Point, RunCard, Settings, Source, StationEntry, Sweep, Tie,
};

/// What stands in the job, corrected, without what was withdrawn.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct State {
    pub(super) entries: BTreeMap<EntryId, Content>,
    /// Entries of kinds that this program does not know.
    pub unknown: usize,
}

impl State {
    /// What holds for the whole job.
    pub fn settings(&self) -> Settings {
        let found =
            self.entries.values().find_map(|c| if let Content::Settings(s) = c { Some(s) } else { None });
        found.cloned().unwrap_or_default()
    }

    /// Any entry.
    pub fn get(&self, id: EntryId) -> Option<&Content> {
        self.entries.get(&id)
    }

    /// All entries that count.
    pub fn entries(&self) -> impl Iterator<Item = (EntryId, &Content)> {
        self.entries.iter().map(|(id, content)| (*id, content))
    }

    /// The runs.
    pub fn runs(&self) -> impl Iterator<Item = (EntryId, &RunCard)> {
        self.entries().filter_map(|(id, c)| if let Content::Run(it) = c { Some((id, it)) } else { None })
    }

    /// The stations.
    pub fn stations(&self) -> impl Iterator<Item = (EntryId, &StationEntry)> {
        self.entries()
            .filter_map(|(id, c)| if let Content::Station(it) = c { Some((id, &**it)) } else { None })
    }

    /// The permanent points.
    pub fn points(&self) -> impl Iterator<Item = (EntryId, &Point)> {
        self.entries().filter_map(|(id, c)| if let Content::Point(it) = c { Some((id, it)) } else { None })
    }

    /// The ties.
    pub fn ties(&self) -> impl Iterator<Item = (EntryId, &Tie)> {
        self.entries().filter_map(|(id, c)| if let Content::Tie(it) = c { Some((id, it)) } else { None })
    }

    /// The files that something was taken from.
    pub fn sources(&self) -> impl Iterator<Item = (EntryId, &Source)> {
        self.entries().filter_map(|(id, c)| if let Content::Source(it) = c { Some((id, it)) } else { None })
    }

    /// The notes.
    pub fn notes(&self) -> impl Iterator<Item = (EntryId, &Note)> {
        self.entries().filter_map(|(id, c)| if let Content::Note(it) = c { Some((id, it)) } else { None })
    }

    /// The photos.
    pub fn photos(&self) -> impl Iterator<Item = (EntryId, &Photo)> {
        self.entries().filter_map(|(id, c)| if let Content::Photo(it) = c { Some((id, it)) } else { None })
    }

    /// The searches over areas.
    pub fn sweeps(&self) -> impl Iterator<Item = (EntryId, &Sweep)> {
        self.entries().filter_map(|(id, c)| if let Content::Sweep(it) = c { Some((id, it)) } else { None })
    }

    /// The other lines on the site.
    pub fn lines(&self) -> impl Iterator<Item = (EntryId, &OtherLine)> {
        self.entries().filter_map(|(id, c)| if let Content::Line(it) = c { Some((id, it)) } else { None })
    }

    /// The run of this name.
    pub fn run_named(&self, name: &str) -> Option<EntryId> {
        self.runs().find(|(_, run)| run.name == name).map(|(id, _)| id)
    }

    /// The point of this name.
    pub fn point_named(&self, name: &str) -> Option<EntryId> {
        self.points().find(|(_, point)| point.name == name).map(|(id, _)| id)
    }
}
