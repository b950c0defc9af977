//! A handset's serial link: what it says, as it says it.

use std::error::Error;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, TryRecvError};
use std::thread;

use nullwalk_core::array::CommonPhase;
use nullwalk_core::locate::Guidance;
use nullwalk_core::record::{Header, Hop, Record};
use nullwalk_core::verdict::{Fix, Reason, Reasons, Verdict};
use nullwalk_core::words;

use super::{Feed, Next};
use crate::fieldbook::{self, FieldBookError, Followed};
use crate::live::update::{Ellipse, Update};

/// Records that may wait while the view is paused: an hour of them.
const WAITING: usize = 100_000;

enum Message {
    Record(Box<Record>),
    End(Result<Followed, FieldBookError>),
}

/// A link that is being followed.
pub struct Link {
    messages: Receiver<Message>,
    rate_hz: f64,
    header: Option<Header>,
    phase: CommonPhase,
    hop: Option<Hop>,
    fix: Option<Fix>,
    guidance: Option<Guidance>,
}

impl Link {
    /// Follow `port` on a thread of its own. Everything that comes goes to `log` as well. Until a header comes, time is
    /// counted at `rate_hz`.
    pub fn new(
        mut port: impl Read + Send + 'static,
        mut log: Option<(PathBuf, Box<dyn Write + Send>)>,
        rate_hz: f64,
    ) -> Self {
        let (sender, messages) = mpsc::sync_channel(WAITING);
        // Whoever looked on may have gone: what comes is logged all the same until the program ends.
        thread::spawn(move || {
            let log = log.as_mut().map(|(file, log)| (Path::new(file), log.as_mut() as &mut dyn Write));
            let ended = fieldbook::follow(&mut port, log, |record, _| {
                let _ = sender.send(Message::Record(Box::new(record.clone())));
            });
            let _ = sender.send(Message::End(ended));
        });
        let phase = CommonPhase::default();
        Self { messages, rate_hz, header: None, phase, hop: None, fix: None, guidance: None }
    }

    fn take(&mut self, record: Record) -> Option<Next> {
        match record {
            Record::Header(header) => {
                self.rate_hz = f64::from(header.rate_hz);
                (self.phase, self.hop, self.fix) = (CommonPhase::default(), None, None);
                self.header = Some(header.clone());
                return Some(Next::Began(Box::new(header)));
            }
            Record::Hop(hop) => self.hop = Some(hop),
            Record::Fix(fix) => self.fix = Some(fix),
            Record::Guidance(guidance) => {
                let update = self.update(&guidance);
                self.guidance = Some(guidance);
                return Some(Next::Update(Box::new(update)));
            }
            Record::Station(station) => {
                let more = match &station.found {
                    Ok(fix) if fix.judgement.verdict == Verdict::Refuse => words::STATION_WITHOUT_FIGURE,
                    Ok(_) => words::STATION_FIXED,
                    Err(_) => words::STATION_WITHOUT_FIX,
                };
                return Some(Next::News(format!("on the handset: Station {} {more}", station.number)));
            }
            Record::Note(note) => return Some(Next::News(format!("note: {}", note.text))),
            Record::Fault(fault) => {
                let channel = fault.channel.map_or(String::new(), |channel| format!(" {channel}"));
                let (what, remedy) = (words::fault(fault.kind), words::remedy(fault.kind));
                return Some(Next::News(format!("{what}{channel}: {remedy}")));
            }
        }
        None
    }

    /// A hop comes before the guidance that follows from it, a fix after; neither may be that of another instant.
    fn update(&mut self, guidance: &Guidance) -> Update {
        let hop = self.hop.take().filter(|hop| hop.phasors.centre == guidance.at);
        let mut update = Update {
            time_s: guidance.at as f64 / self.rate_hz,
            guidance: guidance.clone(),
            fix: self.fix.take(),
            mark: guidance.mark.map(Ellipse::of_place),
            nodes_nt: Vec::new(),
            mast: hop.map(|hop| hop.mast).unwrap_or_default(),
            rung: hop.map(|hop| hop.rung),
            peak: None,
            marks: hop.map(|hop| hop.phasors.marks).unwrap_or_default(),
            bridged: hop.map_or(0.0, |hop| hop.phasors.bridged),
        };
        if let (Some(header), Some(hop)) = (&self.header, hop) {
            let glimpse = header.array.glimpse(header.tone_hz, &hop.phasors, &mut self.phase, hop.mast);
            update.nodes_nt = glimpse.nodes.iter().map(|node| (node.field_t * 1e9).to_array()).collect();
        }
        update
    }
}

impl Feed for Link {
    fn next(&mut self) -> Result<Next, Box<dyn Error>> {
        loop {
            match self.messages.try_recv() {
                Ok(Message::Record(record)) => {
                    if let Some(next) = self.take(*record) {
                        return Ok(next);
                    }
                }
                Ok(Message::End(ended)) => {
                    let Followed { records, lost, damaged, .. } = ended?;
                    return Ok(Next::End(format!(
                        "the link ended: {records} records, {lost} lost, {damaged} damaged"
                    )));
                }
                Err(TryRecvError::Empty) => return Ok(Next::Wait),
                Err(TryRecvError::Disconnected) => return Ok(Next::End("the link ended".to_owned())),
            }
        }
    }

    fn refusal(&self) -> Reasons {
        let mut reasons = Reasons::default();
        if let Some(trouble) = self.guidance.as_ref().and_then(|guidance| guidance.trouble) {
            reasons.add(trouble);
        }
        reasons.add(Reason::NotSettled);
        reasons
    }
}
