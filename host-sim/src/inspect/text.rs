//! The report as text, in 100 columns.

use std::fmt;

use super::lines::{Line, LineKind};
use super::spectrum::Unit;
use super::{FieldReport, Report, SamplesReport, Spectrum, amplitude_db, power_db};
use crate::capture::Notice;

/// Columns of the text.
const COLUMNS: usize = 100;
/// Columns of a plot.
const PLOT_COLUMNS: usize = 84;
/// Rows of a plot.
const PLOT_ROWS: usize = 8;
/// Height of one row, dB; the text has eight steps in each.
const ROW_DB: f64 = 10.0;
/// Lines listed in text; a machine gets more.
const LISTED: usize = 10;
/// Rung changes listed in text.
const LISTED_SPANS: usize = 6;
/// The plot around the tone reaches this far to either side, hertz.
const TONE_PLOT_HZ: f64 = 20.0;
/// The full plot begins here, hertz.
const LOWEST_PLOT_HZ: f64 = 20.0;

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Samples(report) => report.fmt(f),
            Self::Field(report) => report.fmt(f),
        }
    }
}

impl fmt::Display for FieldReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.path.display())?;
        writeln!(
            f,
            "phasors: {} rows, {:.2} a second, {:.1} s, {} with a mast reading",
            self.rows, self.rate_hz, self.duration_s, self.mast_readings
        )?;
        for (node, peak_t) in ["lower", "upper"].iter().zip(&self.peak_t) {
            writeln!(f, "{node} node: at most {}", picotesla(peak_t * 1e12))?;
        }
        writeln!(f, "sigma of a component: {}", picotesla(self.sigma_t * 1e12))?;
        notices(f, &self.notices)
    }
}

impl fmt::Display for SamplesReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.heading(f)?;
        self.channel_table(f)?;
        self.rung_table(f)?;
        self.gap_list(f)?;
        if let Some(spectrum) = &self.spectrum {
            self.tone_and_mains(f, spectrum)?;
            self.line_table(f, spectrum.unit)?;
            self.plots(f, spectrum)?;
        } else {
            writeln!(f, "\nno spectrum: no stretch of steady gain is long enough")?;
        }
        for suspicion in &self.suspicions {
            remark(f, "suspicious", suspicion)?;
        }
        notices(f, &self.notices)
    }
}

impl SamplesReport {
    fn heading(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let signal = &self.description.signal;
        let made = &self.description.made;
        writeln!(f, "{}", self.path.display())?;
        for (what, text) in [("made by", &made.by), ("note", &made.note)] {
            if !text.is_empty() {
                writeln!(f, "{what}: {text}")?;
            }
        }
        writeln!(
            f,
            "{} channels, {} Hz, {:.2} s, {} frames, {} mast readings, tone {} Hz",
            signal.channels,
            signal.sample_rate_hz,
            self.duration_s,
            self.frames,
            self.mast_readings,
            signal.tone_hz
        )
    }

    fn channel_table(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "\nchannel  coil     offset        rms        peak  rms dBFS  peak dBFS  to rail dB  clipped"
        )?;
        for c in &self.channels {
            writeln!(
                f,
                "{:>7}  {:<8}{:>7.0} {:>10.0}  {:>10}  {:>8.1}  {:>9.1}  {:>10.1}  {:>7}{}",
                c.channel,
                c.coil,
                c.offset_counts,
                c.rms_counts,
                c.peak_counts,
                c.rms_dbfs,
                c.peak_dbfs,
                c.headroom_db,
                c.clipped,
                if c.dead { "  dead" } else { "" }
            )?;
        }
        Ok(())
    }

    fn rung_table(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "\nrung     gain     time s        peak  to rail dB  clipped")?;
        for r in &self.rungs {
            writeln!(
                f,
                "{:>4} {:>8} {:>10.2}  {:>10}  {:>10.1}  {:>7}",
                r.rung, r.gain, r.time_s, r.peak_counts, r.headroom_db, r.clipped
            )?;
        }
        if self.rung_spans.len() > 1 {
            let listed = self.rung_spans.iter().take(LISTED_SPANS);
            let spans: String = listed.map(|s| format!("{} from {:.2} s; ", s.rung, s.from_s)).collect();
            let changes = self.rung_spans.len() - 1;
            wrapped(f, &format!("rung over time: {spans}{changes} changes"))?;
        }
        Ok(())
    }

    fn gap_list(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(first) = self.gaps.first() else {
            return writeln!(f, "no samples lost");
        };
        let lost: u64 = self.gaps.iter().map(|gap| gap.frames).sum();
        let at_s = first.at_s;
        writeln!(f, "{lost} frames lost in {} gaps, the first at {at_s:.3} s", self.gaps.len())
    }

    fn tone_and_mains(&self, f: &mut fmt::Formatter<'_>, spectrum: &Spectrum) -> fmt::Result {
        match &self.tone {
            None => writeln!(
                f,
                "\ntone     none within 3 Hz of {} Hz that stands out of the noise",
                self.description.signal.tone_hz
            )?,
            Some(tone) => {
                let nodes: String = (spectrum.traces.iter().zip(&tone.levels).take(2))
                    .map(|(trace, level)| format!(" {} {}", trace.label, amplitude(*level, spectrum.unit)))
                    .collect();
                writeln!(f)?;
                wrapped(
                    f,
                    &format!(
                        "tone     {:.2} Hz ({:+.2}), {:.1} dB above the noise in {:.2} Hz;{nodes}",
                        tone.hz, tone.offset_hz, tone.above_floor_db, spectrum.bin_hz
                    ),
                )?;
            }
        }
        let Some(mains) = &self.mains else {
            return writeln!(f, "mains    no comb of 50 or 60 Hz");
        };
        let seen: Vec<String> = mains.harmonics.iter().take(20).map(u32::to_string).collect();
        writeln!(f, "mains    {:.3} Hz, harmonics {}", mains.hz, seen.join(" "))?;
        if let Some(k) = mains.beside_tone {
            writeln!(f, "         harmonic {k} at {:.2} Hz is beside the tone", f64::from(k) * mains.hz)?;
        }
        Ok(())
    }

    fn line_table(&self, f: &mut fmt::Formatter<'_>, unit: Unit) -> fmt::Result {
        writeln!(f, "\nstrongest lines, all channels together")?;
        for line in self.lines.iter().take(LISTED) {
            writeln!(
                f,
                "{:>9.2} Hz  {:>14}  {:>5.1} dB above the noise  {}",
                line.hz,
                amplitude(line.level, unit),
                line.above_floor_db,
                kind(line)
            )?;
        }
        Ok(())
    }

    fn plots(&self, f: &mut fmt::Formatter<'_>, spectrum: &Spectrum) -> fmt::Result {
        let total = spectrum.total();
        let half_hz = spectrum.bin_hz * (total.len().saturating_sub(1)) as f64;
        let tone_hz = self.description.signal.tone_hz;
        let near = Axis { from_hz: tone_hz - TONE_PLOT_HZ, to_hz: tone_hz + TONE_PLOT_HZ, log: false };
        let full = Axis { from_hz: LOWEST_PLOT_HZ.min(half_hz / 2.0), to_hz: half_hz, log: true };
        for (title, axis) in [("around the tone", near), ("up to half the sample rate", full)] {
            writeln!(f, "\n{} {title}", spectrum.unit.label())?;
            self.plot(f, &total, spectrum.bin_hz, axis)?;
        }
        writeln!(f, "T: the tone; digits: harmonics of the mains, + from the tenth on")
    }

    fn plot(&self, f: &mut fmt::Formatter<'_>, total: &[f64], bin_hz: f64, axis: Axis) -> fmt::Result {
        // The largest bin of each column, or the nearest one where bins are wider than columns.
        let columns: Vec<f64> = (0..PLOT_COLUMNS)
            .map(|column| {
                let bin = |hz: f64| (hz / bin_hz).round().max(1.0) as usize;
                let (first, end) = (bin(axis.hz(column as f64)), bin(axis.hz(column as f64 + 1.0)));
                let bins = total.get(first..end.max(first + 1)).unwrap_or(&[]);
                power_db(bins.iter().copied().fold(1e-20, f64::max))
            })
            .collect();
        let top = columns.iter().copied().fold(f64::MIN, f64::max);
        let top = ROW_DB * (top / ROW_DB).ceil();
        for row in 1..=PLOT_ROWS {
            let base = top - ROW_DB * row as f64;
            let bars: String = columns.iter().map(|db| bar((db - base) / ROW_DB)).collect();
            writeln!(f, "{:>6.0} |{}", base, bars.trim_end())?;
        }
        writeln!(f, "       +{}", self.marks(axis).trim_end())?;
        let middle_hz = axis.hz(PLOT_COLUMNS as f64 / 2.0);
        let third = PLOT_COLUMNS / 3;
        writeln!(
            f,
            "        {:<third$}{:^third$}{:>third$}",
            format!("{:.0} Hz", axis.from_hz),
            format!("{middle_hz:.0} Hz"),
            format!("{:.0} Hz", axis.to_hz)
        )
    }

    /// The row under a plot: where the tone and the harmonics of the mains are.
    fn marks(&self, axis: Axis) -> String {
        let mut marks = vec!['-'; PLOT_COLUMNS];
        let mut mark = |hz: f64, sign| {
            if let Some(cell) = axis.column(hz).and_then(|column| marks.get_mut(column)) {
                *cell = sign;
            }
        };
        if let Some(mains) = &self.mains {
            for &k in &mains.harmonics {
                mark(f64::from(k) * mains.hz, char::from_digit(k, 10).unwrap_or('+'));
            }
        }
        mark(self.tone.as_ref().map_or(self.description.signal.tone_hz, |tone| tone.hz), 'T');
        marks.into_iter().collect()
    }
}

/// The frequency axis of a plot.
#[derive(Clone, Copy)]
struct Axis {
    from_hz: f64,
    to_hz: f64,
    log: bool,
}

impl Axis {
    /// Frequency at the left edge of a column.
    fn hz(self, column: f64) -> f64 {
        let part = column / PLOT_COLUMNS as f64;
        if self.log {
            self.from_hz * (self.to_hz / self.from_hz).powf(part)
        } else {
            self.from_hz + (self.to_hz - self.from_hz) * part
        }
    }

    /// The column a frequency falls in.
    fn column(self, hz: f64) -> Option<usize> {
        let part = if self.log {
            (hz / self.from_hz).ln() / (self.to_hz / self.from_hz).ln()
        } else {
            (hz - self.from_hz) / (self.to_hz - self.from_hz)
        };
        (0.0..1.0).contains(&part).then_some((part * PLOT_COLUMNS as f64) as usize)
    }
}

/// How much of one row of a column is filled.
fn bar(part: f64) -> char {
    const STEPS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    STEPS.get((part.clamp(0.0, 1.0) * 8.0).round() as usize).copied().unwrap_or(' ')
}

fn kind(line: &Line) -> String {
    match line.kind {
        LineKind::Tone => "tone".to_owned(),
        LineKind::Mains(k) => format!("mains, harmonic {k}"),
        LineKind::Other => String::new(),
    }
}

fn amplitude(level: f64, unit: Unit) -> String {
    match unit {
        Unit::Picotesla => picotesla(level),
        Unit::Counts => format!("{:.1} dB counts", amplitude_db(level)),
    }
}

/// Three digits in a readable unit.
fn picotesla(level: f64) -> String {
    let (scaled, unit) = match level {
        l if l >= 1e6 => (l / 1e6, "uT"),
        l if l >= 1e3 => (l / 1e3, "nT"),
        l => (l, "pT"),
    };
    let decimals = if scaled >= 100.0 {
        0
    } else if scaled >= 10.0 {
        1
    } else {
        2
    };
    format!("{scaled:.decimals$} {unit}")
}

fn notices(f: &mut fmt::Formatter<'_>, notices: &[Notice]) -> fmt::Result {
    notices.iter().try_for_each(|notice| remark(f, "notice", notice))
}

fn remark(f: &mut fmt::Formatter<'_>, kind: &str, text: &dyn fmt::Display) -> fmt::Result {
    wrapped(f, &format!("{kind}: {text}"))
}

fn wrapped(f: &mut fmt::Formatter<'_>, text: &str) -> fmt::Result {
    let lines = textwrap::Options::new(COLUMNS).subsequent_indent("    ").break_words(false);
    writeln!(f, "{}", textwrap::fill(text, lines))
}
