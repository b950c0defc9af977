//! The plan for a person.

use std::fmt::Write as _;

use nullwalk_core::tuning::{IMAGE_LOSS_DB, Unworkable};

use super::{Harmonic, Lowest, Row};

/// Why a plan cannot work, with its numbers.
pub fn reason(why: &Unworkable) -> String {
    match why {
        Unworkable::Parameter(error) => error.to_string(),
        Unworkable::Folds { lands_hz } => format!(
            "above half the sampling rate, folds to {lands_hz:.0} Hz: sample faster, or undersample behind a band-pass"
        ),
        Unworkable::NearZero { lands_hz } => {
            format!("lands at {lands_hz:.0} Hz, below 50 Hz: choose another sampling rate or oscillator")
        }
        Unworkable::NearNyquist { lands_hz } => format!(
            "lands at {lands_hz:.0} Hz, within 10 Hz of half the sampling rate: choose another sampling rate or oscillator"
        ),
        Unworkable::MixedTooHigh { difference_hz } => format!(
            "mixed to {difference_hz:.0} Hz, above half the sampling rate: move the oscillator nearer to the tone"
        ),
        Unworkable::OutsideBand { loss_db } => {
            format!("the filters take {loss_db:.1} dB off the tone itself: move their corners")
        }
        Unworkable::Image(image) => format!(
            "{:.0} Hz lands on the same place, and of the {IMAGE_LOSS_DB:.0} dB it should lose against the tone it loses \
             {:.0}: filter more sharply",
            image.hz, image.loss_db
        ),
        Unworkable::Harmonic(n) => format!(
            "{:.0} Hz, harmonic {} of {:.0} Hz, stands {:.1} Hz from {}: choose another tone or sampling rate",
            n.hz,
            n.order,
            n.grid.nominal_hz(),
            n.off_hz.abs(),
            if n.loss_db == 0.0 { "the tone" } else { "an image of the tone" }
        ),
    }
}

/// The table, and what the noise allows.
pub fn text(rows: &[Row], lowest: Option<&Lowest>) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write_rows(&mut text, rows);
    if let Some(lowest) = lowest {
        let _ = write_lowest(&mut text, lowest);
    }
    text
}

fn write_rows(text: &mut String, rows: &[Row]) -> std::fmt::Result {
    writeln!(
        text,
        "   tone Hz   lands Hz   image Hz (taken off)    nearest of 50 Hz          nearest of 60 Hz"
    )?;
    for row in rows {
        let Some(usable) = &row.usable else {
            writeln!(text, "{:>10}   REFUSED: {}", row.tone_hz, row.refused.as_deref().unwrap_or(""))?;
            suggest(text, row)?;
            continue;
        };
        let sides = usable.neighbours.iter().map(|n| format!("{:<26}", beside(n))).collect::<String>();
        let mirror = if usable.mirrored { '*' } else { ' ' };
        writeln!(
            text,
            "{:>10} {:>10.1}{mirror} {:>9.0} ({:.0} dB)       {}",
            row.tone_hz,
            usable.lands_hz,
            usable.image_hz,
            usable.image_loss_db,
            sides.trim_end()
        )?;
        suggest(text, row)?;
    }
    writeln!(text)?;
    writeln!(
        text,
        "Beside a harmonic: how far it is from what is listened to, and the share of all grid frequencies within"
    )?;
    writeln!(text, "1 % of nominal at which the window lets one through.")?;
    if rows.iter().any(|row| row.usable.as_ref().is_some_and(|usable| usable.mirrored)) {
        writeln!(text, "* mirrored: a higher carrier lands lower.")?;
    }
    Ok(())
}

fn beside(n: &Harmonic) -> String {
    let through = match n.share_percent {
        share if share > 0.0 => format!("{share:.0} %"),
        _ => "clear".to_owned(),
    };
    format!("{:.0} {:+.0} Hz, {through}", n.hz, n.off_hz)
}

fn suggest(text: &mut String, row: &Row) -> std::fmt::Result {
    let tone = row.cleaner_tone_hz.map(|hz| format!("{hz} Hz"));
    let rate = row.cleaner_rate_hz.map(|hz| format!("{hz} samples a second"));
    let offers: Vec<_> = [tone, rate].into_iter().flatten().collect();
    if offers.is_empty() { Ok(()) } else { writeln!(text, "{:>13}cleaner: {}", "", offers.join(", or ")) }
}

fn write_lowest(text: &mut String, lowest: &Lowest) -> std::fmt::Result {
    writeln!(
        text,
        "\n   tone Hz      noise   a field of {:.3} nT stands above it by",
        1e9 * lowest.signal_t
    )?;
    for heard in &lowest.tones {
        writeln!(text, "{:>10} {:>7.1} pT   {:.1} dB", heard.tone_hz, 1e12 * heard.sigma_t, heard.snr_db)?;
    }
    match (lowest.lowest_hz, lowest.best_hz) {
        (Some(hz), _) => writeln!(text, "lowest with at least {} dB: {hz} Hz", lowest.wanted_snr_db),
        (None, Some(hz)) => {
            writeln!(text, "none reaches {} dB; nearest to it: {hz} Hz", lowest.wanted_snr_db)
        }
        (None, None) => writeln!(
            text,
            "no noise was measured at any usable tone: record for some seconds, at this rate"
        ),
    }
}
