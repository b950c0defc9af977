//! A station in words.

use std::fmt::{self, Write as _};

use super::{Cover, Run, Station, Verdict};
use crate::units;

/// A station of a run for a person, in lines. Whoever shows it shows [`CAUTION`](super::CAUTION) with it.
pub fn describe(run: &Run, station: &Station) -> String {
    let mut text = String::new();
    // Writing to a string does not fail.
    let _ = write(&mut text, run, station);
    text
}

fn write(text: &mut String, run: &Run, station: &Station) -> fmt::Result {
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
        let [east, north] = [p.east_m, p.north_m].map(units::hundredths);
        row("place", format!("{east:.2} m east, {north:.2} m north, within {radius} (95 %){lay}"))?;
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
        let (hz, offset, snr) = (tone.nominal_hz, units::hundredths(tone.offset_hz), tone.snr_db);
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
