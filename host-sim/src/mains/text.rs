//! Both for a person.

use std::fmt;

use super::{ChangeRow, LoadTest, Report};

/// Most lines that the frequency over time takes.
const LINES: usize = 20;

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(grid_hz) = self.grid_hz else {
            writeln!(f, "no grid in {:.1} s", self.duration_s)?;
            return writeln!(f, "{}", self.finding);
        };
        let known = 100.0 * self.known_share;
        writeln!(f, "grid     {grid_hz} Hz, known in {known:.0} % of {:.1} s", self.duration_s)?;
        let hz = || self.track.iter().map(|point| point.hz);
        if let Some(last) = self.track.last() {
            let mean = hz().sum::<f64>() / self.track.len() as f64;
            let (least, most) = (hz().fold(f64::MAX, f64::min), hz().fold(f64::MIN, f64::max));
            writeln!(
                f,
                "         mean {mean:.4} Hz, from {least:.4} to {most:.4} Hz, each over two seconds"
            )?;
            writeln!(f, "\n    time s          Hz   ± mHz (95 %, noise alone)")?;
            let step = self.track.len().div_ceil(LINES);
            let lines = self.track.iter().step_by(step.max(1));
            for point in lines.chain((step > 1).then_some(last)) {
                writeln!(f, "{:>10.1} {:>11.4}   {:.1}", point.time_s, point.hz, 1.96e3 * point.sigma_hz)?;
            }
        }
        writeln!(f, "\nharmonic   heard   above noise   volts at the coil (peak), channel by channel")?;
        for row in &self.harmonics {
            let mark = if self.strongest == Some(row.order) { '*' } else { ' ' };
            if row.heard_share > 0.0 {
                let volts: Vec<_> = row.amplitude_v.iter().map(|v| format!("{v:.2e}")).collect();
                let heard = 100.0 * row.heard_share;
                writeln!(
                    f,
                    "{:>7}{mark}  {heard:>4.0} %   {:>8.1} dB   {}",
                    row.order,
                    row.snr_db,
                    volts.join(" ")
                )?;
            } else {
                writeln!(f, "{:>7}      0 %", row.order)?;
            }
        }
        if self.strongest.is_some() {
            writeln!(f, "* the one to locate on")?;
        }
        if self.clipped {
            writeln!(f, "samples touched the rail: some of these harmonics may be made by the recorder")?;
        }
        writeln!(f, "\n{}", self.finding)
    }
}

impl fmt::Display for LoadTest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "load test, the record before against the one during")?;
        writeln!(f, "harmonic   chance alone   change over its uncertainty, channel by channel")?;
        for row in &self.changes {
            let sizes: Vec<_> = ratios(row).map(|ratio| format!("{ratio:.1}")).collect();
            let fields: Vec<_> = row.change_t.iter().map(|t| format!("{:.2}", 1e9 * t)).collect();
            let chance =
                if row.chance < 1e-9 { "below 1e-9".to_owned() } else { format!("{:.1e}", row.chance) };
            write!(f, "{:>7}    {chance:>12}   {}", row.order, sizes.join(" "))?;
            if fields.is_empty() {
                writeln!(f)?
            } else {
                writeln!(f, "   nodes: {} nT", fields.join(", "))?
            }
        }
        match self.changed {
            Some(order) => writeln!(
                f,
                "CHANGED: most surely harmonic {order}. What changed is the field of the cable that feeds the load."
            ),
            None => writeln!(
                f,
                "Nothing is known to have changed. That does not prove that no cable is there: switch on a larger load, stand \
                 elsewhere, and compare again."
            ),
        }
    }
}

/// Size of the change on each channel, in standard deviations of one of its parts.
fn ratios(row: &ChangeRow) -> impl Iterator<Item = f32> {
    row.change_v.iter().zip(&row.sigma_v).map(|([re, im], sigma)| re.hypot(*im) / sigma)
}
