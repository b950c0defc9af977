//! A sweep in words.

use std::fmt::{self, Display, Formatter};

use super::{DigBox, Found, Patch, Phase, Sweep};
use crate::units;

/// Noise so much above what was said is told of.
const LOUD: f64 = 1.05;

impl Display for Sweep {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let [east, north, wide, high] = self.box_m;
        writeln!(
            f,
            "Sweep of {wide} m x {high} m from {east} m east, {north} m north, {:.0} Hz",
            self.tone_hz
        )?;
        writeln!(
            f,
            "{} passes, {} looks; {:.0} % of the box is within 0.5 m of one; false alarms: {} in 100 sweeps",
            self.passes,
            self.looks,
            100.0 * self.walked_share,
            100.0 * self.false_alarm
        )?;
        writeln!(f)?;
        if self.lines.is_empty() {
            writeln!(f, "No line found.")?;
        }
        for line in &self.lines {
            tell(f, line)?;
        }
        let (current_ma, depth_m) = self.swept_for;
        writeln!(
            f,
            "\nWhat would have been noticed: {current_ma} mA (peak) {depth_m} m down, in any lay, with 95 %"
        )?;
        if self.unswept.is_empty() {
            writeln!(f, "  everywhere in the box")?;
        } else {
            writeln!(f, "  everywhere in the box, but not in")?;
        }
        for patch in &self.unswept {
            writeln!(f, "  {}", patch.words())?;
        }
        writeln!(f)?;
        for caution in &self.cautions {
            writeln!(f, "- {caution}")?;
        }
        Ok(())
    }
}

impl Patch {
    /// Where it is and how large.
    pub fn words(&self) -> String {
        format!(
            "{}, {:.1} m x {:.1} m from {:.1} m east, {:.1} m north",
            self.place, self.width_m, self.height_m, self.west_m, self.south_m
        )
    }
}

fn tell(f: &mut Formatter<'_>, line: &Found) -> fmt::Result {
    let chance = if line.log_chance > 12.0 {
        "below 1e-12".to_owned()
    } else {
        format!("about {}", one_figure(line.log_chance))
    };
    writeln!(f, "Line {}", line.letter)?;
    let mut row = |name: &str, value: &str| writeln!(f, "  {name:<8} {value}");
    row(
        "place",
        &format!(
            "{:.2} m east, {:.2} m north, ± {} across (95 %); lay {} ± {:.0}°",
            line.east_m,
            line.north_m,
            units::metres_up(1.96 * line.place_sigma_m),
            units::lay(line.lay_deg),
            (1.96 * line.lay_sigma_deg).max(1.0)
        ),
    )?;
    match line.depth_m {
        Some(d) => row(
            "depth",
            &format!("{}  to its middle, 95 %", units::with_range(d.value, d.low95, d.high95)),
        )?,
        None => row("depth", "not determined by this walk")?,
    }
    let current = &line.current_ma;
    let phase = line.phase_deg.filter(|_| line.letter != 'A');
    let phase = phase.map_or(String::new(), |deg| format!("; {deg:+.0}° against line A"));
    row(
        "current",
        &format!(
            "{} mA peak ({} to {}){phase}",
            figure(current.value),
            figure(current.low95),
            figure(current.high95)
        ),
    )?;
    let missed = if line.missed_on > 0 { format!(", missed on {}", line.missed_on) } else { String::new() };
    row("seen", &format!("on {} passes{missed}; by noise alone: {chance}", line.seen_on))?;
    for caution in &line.cautions {
        row("caution", caution.sentence())?;
    }
    Ok(())
}

/// Ten to minus so much, as 3e-5.
fn one_figure(minus_log: f64) -> String {
    format!("{:.0e}", 10_f64.powf(-minus_log))
}

/// Three significant figures.
pub fn figure(value: f64) -> String {
    if value <= 0.0 {
        return "0".to_owned();
    }
    let decimals = (2 - value.log10().floor() as i32).clamp(0, 4) as usize;
    format!("{value:.decimals$}")
}

/// What to bear in mind.
pub fn cautions(sweep: &Sweep, dig: &DigBox) -> Vec<String> {
    let mut cautions = vec![
        "Nothing detected is no proof of nothing there, and no permission to dig. A line without load or without the \
         tone, one whose currents balance, one for direct current, plastic, clay and glass make no field that is heard \
         here."
            .to_owned(),
        "The limits are those of one long straight line with current in it. A short piece, a pair of conductors, or \
         a line beside a stronger one needs more."
            .to_owned(),
    ];
    if sweep.loudness > LOUD {
        cautions.push(format!(
            "The noise was {:.1} times what the captures say: thresholds and limits are set by what was heard. If a \
             source that is no line is near (a transformer, the transmitter itself), its field counts as noise.",
            sweep.loudness
        ));
    }
    if sweep.phase == Phase::Free && sweep.lines.is_empty() {
        cautions.push(
            "Each look's phase was taken as unknown. A receiver with a reference of the transmitter sees weaker lines: \
             --phase common."
                .to_owned(),
        );
    }
    for line in sweep.lines.iter().filter(|line| !dig.is_crossed(&line.wire)) {
        cautions.push(format!("Line {} passes outside the box.", line.letter));
    }
    if !sweep.lines.is_empty() {
        cautions.push(
            "Lines are drawn straight through what was walked; nothing says how they go on. Depth is to the conductor's \
             middle, and never a margin."
                .to_owned(),
        );
    }
    cautions.push(
        "Follow local codes and licensed practice, have all utilities notified and marked, switch on large loads and \
         sweep again for live power, and expose with safe means."
            .to_owned(),
    );
    cautions
}
