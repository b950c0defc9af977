//! What records say, in a line each.

use std::fmt::Write as _;

use nullwalk_core::locate::{Guidance, Offset, Phase, Sweep};
use nullwalk_core::record::{Header, Record, Station};
use nullwalk_core::verdict::{Fix, Judgement, Verdict};

use crate::units;

/// What a record says, in one line; nothing for a hop.
pub fn line(record: &Record) -> Option<String> {
    Some(match record {
        Record::Header(header) => of_header(header),
        Record::Hop(_) => return None,
        Record::Fix(fix) => format!("fix: {}", of_fix(fix)),
        Record::Station(station) => of_station(station),
        Record::Note(note) => format!("note: {}", note.text),
        Record::Fault(fault) => {
            let channel = fault.channel.map_or(String::new(), |channel| format!(" (channel {channel})"));
            format!("fault: {}{channel}, {} in all", fault.kind.sentence(), fault.count)
        }
        Record::Guidance(guidance) => of_guidance(guidance),
    })
}

fn of_header(header: &Header) -> String {
    let mut text = format!(
        "{}, {} Hz at {} samples a second, {} channels, started by: {}",
        header.build,
        header.tone_hz,
        header.rate_hz,
        header.channels,
        header.reset.name()
    );
    if !header.last_words.is_empty() {
        // Writing to a string does not fail.
        let _ = write!(text, "; before that: {}", header.last_words);
    }
    text
}

fn of_station(station: &Station) -> String {
    let found = match &station.found {
        Ok(fix) => of_fix(fix),
        Err(reasons) => {
            let why: Vec<&str> = reasons.as_slice().iter().map(|reason| reason.sentence()).collect();
            format!("REFUSED {}", why.join(" "))
        }
    };
    format!("station {} {}: {found}", station.number, station.name)
}

fn of_fix(fix: &Fix) -> String {
    let Judgement { verdict, depth, range, reasons, .. } = &fix.judgement;
    let word = match verdict {
        Verdict::Agree => "AGREE",
        Verdict::Doubt => "DOUBT",
        Verdict::Refuse => "REFUSED",
    };
    let figures = depth.zip(*range).filter(|_| *verdict != Verdict::Refuse).map(|(depth, range)| {
        let [depth, low, high] = [depth.depth_m, range.low_m, range.high_m].map(f64::from);
        format!("{} to the source, 95 %", units::with_range(depth, low, high))
    });
    let why = reasons.as_slice().iter().map(|reason| reason.sentence().to_owned());
    [word.to_owned()].into_iter().chain(figures).chain(why).collect::<Vec<_>>().join("  ")
}

fn of_guidance(guidance: &Guidance) -> String {
    let phase = match guidance.phase {
        Phase::Listen => "LISTEN ",
        Phase::Home => "HOME   ",
        Phase::Bracket => "BRACKET",
        Phase::Settle => "SETTLE ",
    };
    let mut parts = vec![format!("{phase} signal {:.0} dB", guidance.snr_db)];
    let side = |value: f32, more: &'static str, less: &'static str| if value < 0.0 { less } else { more };
    if let Some(turn) = guidance.turn_rad {
        parts.push(format!("turn {:.0}° {}", turn.abs().to_degrees(), side(turn, "right", "left")));
    }
    if let Some(Offset { way_m: way, sigma_m }) = guidance.offset {
        let (ahead, aside) = (side(way.x, "forward", "back"), side(way.y, "left", "right"));
        parts.push(format!("{:.2} m {ahead}, {:.2} m {aside}, ± {sigma_m:.2} m", way.x.abs(), way.y.abs()));
    }
    if guidance.past_source {
        parts.push("the source is behind".to_owned());
    }
    if let Some(mark) = guidance.mark {
        let crossed = if guidance.crossed { "crossed" } else { "not crossed yet" };
        parts.push(format!("mark at {:.2} m east, {:.2} m north ({crossed})", mark.east_m, mark.north_m));
    }
    match guidance.sweep {
        Some(Sweep::OneBearing(rad)) => parts.push(format!("bearing {:.0}°", rad.to_degrees())),
        Some(Sweep::TwoBearings(rad)) => {
            parts.push(format!("bearing {:.0}° or the opposite", rad.to_degrees()));
        }
        Some(Sweep::HiddenByGain) => parts.push("no bearing: take the gain down".to_owned()),
        Some(Sweep::NoBearing) => parts.push("no bearing".to_owned()),
        None => {}
    }
    if let Some(trouble) = guidance.trouble {
        parts.push(format!("{} {}", trouble.sentence(), trouble.remedy()));
    }
    parts.join("  ")
}
