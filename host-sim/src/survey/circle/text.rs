//! A circle in words.

use std::fmt::{self, Display, Formatter};

use super::{Circle, Role, TARGET_DEG};
use crate::survey::text::figure;
use crate::units;

impl Display for Circle {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let [east, north] = self.centre_m;
        writeln!(
            f,
            "Circle of {} around {east} m east, {north} m north, {:.0} Hz",
            units::metres(self.radius_m),
            self.tone_hz
        )?;
        if self.lines.is_empty() {
            writeln!(f, "\nNo line found.")?;
        }
        for line in &self.lines {
            let (bearing, depth, current) = (line.bearing_deg, line.depth_m, line.current_ma);
            writeln!(
                f,
                "\nLine {}  leaves at {} ± {:.0}°: {}",
                line.letter,
                units::bearing(bearing.value),
                (bearing.high95 - bearing.value).max(1.0),
                line.role.words()
            )?;
            writeln!(f, "  depth    {}", units::with_range(depth.value, depth.low95, depth.high95))?;
            writeln!(
                f,
                "  current  {} mA peak ({} to {}), {:.0} % of all; {:+.0}° against the target",
                figure(current.value),
                figure(current.low95),
                figure(current.high95),
                100.0 * line.share,
                line.phase_deg
            )?;
        }
        writeln!(f)?;
        if !self.lines.is_empty() {
            write!(f, "Sum outwards: {} mA", figure(self.outward_ma))?;
            match self.sent_ma {
                Some(sent) => writeln!(f, " of {} mA sent", figure(sent))?,
                None => writeln!(f)?,
            }
        }
        if let Some(moment) = self.coil_a_m2 {
            writeln!(f, "The transmitter's own coil is seen: {} A m2", figure(moment))?;
        }
        for caution in &self.cautions {
            writeln!(f, "- {caution}")?;
        }
        Ok(())
    }
}

pub(super) fn cautions(circle: &Circle, target_missed: bool) -> Vec<String> {
    let mut cautions = Vec::new();
    if circle.is_too_near() && circle.lines.is_empty() {
        cautions.push(
            "Only the transmitter's own field was seen: it covers whatever lines there are. Walk a larger circle, or \
             connect the transmitter instead of inducing."
                .to_owned(),
        );
    } else if circle.is_too_near() {
        cautions.push(format!(
            "Too near the transmitter: its coil's own field is {:.1} times the weakest line's, and errors of it pass for \
             lines. Walk a circle of {:.0} m and more, or connect the transmitter instead of inducing.",
            circle.coil_over_line,
            circle.clear_radius_m.ceil()
        ));
    }
    if target_missed {
        cautions.push(format!(
            "No line leaves within {TARGET_DEG:.0}° of the bearing given for the target; the largest current is taken for it."
        ));
    }
    if circle.lines.iter().any(|line| line.role == Role::Returns) {
        cautions.push(
            "Current comes back on a line: it is bonded to the target further out, or carries the ground's return. Beside \
             it the target's place is pushed away and its depth read too small."
                .to_owned(),
        );
    }
    if circle.lines.iter().any(|line| line.role == Role::Shares) {
        cautions.push(
            "Another line carries current in step: beside it the target's place is drawn over and its depth read too great, \
             the dangerous way. Break the bond, move the ground stake, or take a lower tone."
                .to_owned(),
        );
    }
    if let Some(sent_ma) = circle.sent_ma
        && circle.outward_ma < 0.7 * sent_ma
    {
        cautions.push(format!(
            "Of {sent_ma} mA sent, {:.0} % leaves on the lines that were found: the rest stays in the ground near the \
             transmitter, or leaves on a line that was not seen.",
            100.0 * circle.outward_ma / sent_ma
        ));
    }
    cautions.push(
        "Lines that carry none of this tone are not seen. The largest current is not always on the line that you mean. \
         Nothing here is permission to dig: follow local codes and licensed practice."
            .to_owned(),
    );
    cautions
}
