//! A calibration in words.

use std::fmt;

use super::Calibration;

impl fmt::Display for Calibration {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}\n", self.array.calibration.note)?;
        writeln!(f, "coil               channel   gain             phase            leans by")?;
        for c in &self.coils {
            writeln!(
                f,
                "{:<18} {:>7}   {:.4} ± {:.4}  {:>+6.2}° ± {:.2}°   {:.2}° ± {:.2}°",
                c.name,
                c.channel,
                c.gain.value,
                c.gain.sigma,
                c.phase_deg.value,
                c.phase_deg.sigma,
                c.lean_deg.value,
                c.lean_deg.sigma
            )?;
        }
        writeln!(f, "\nattitude                  signal/noise   residuals (1: as thought)")?;
        for a in &self.attitudes {
            writeln!(f, "{:<25} {:>12.0}   {:.2}", a.name, a.signal_to_noise, a.strain)?;
        }
        let calibration = &self.array.calibration;
        let jackknife = self.from_jackknife.map_or_else(
            || "no recording can be spared, so none was left out to try".to_owned(),
            |sigma| format!("{:.2} % from leaving one out", 100.0 * sigma),
        );
        writeln!(
            f,
            "\nratio of the nodes: ± {:.2} % in the worst direction of the field\n  ({:.2} % from the residuals, \
             {jackknife})",
            100.0 * calibration.node_ratio_sigma,
            100.0 * self.from_residuals
        )?;
        let source = if self.scaled { "from the known field" } else { "as it was: no field was known" };
        writeln!(f, "common scale: ± {:.1} %, {source}", 100.0 * calibration.scale_sigma)?;
        for notice in &self.notices {
            writeln!(f, "notice: {notice}")?;
        }
        Ok(())
    }
}
