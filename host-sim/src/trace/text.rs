//! A traced line in words.

use std::fmt::{self, Display, Write as _};

use super::Trace;
use crate::book::Verdict;
use crate::units;

impl Display for Trace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = String::new();
        writeln!(text, "Line {}  {}", self.number, self.name)?;
        let mut row = |name: &str, value: &str| writeln!(text, "  {name:<10} {value}");
        row("verdict", self.word())?;
        self.depth(&mut row)?;
        self.place(&mut row)?;
        self.methods(&mut row)?;
        row("heard", &self.heard())?;
        for reason in &self.reasons {
            row("reason", &format!("{} {}", reason.sentence, reason.remedy))?;
        }
        if let Some(danger) = self.danger().filter(|_| self.is_located()) {
            row("danger", danger)?;
        }
        if let Some(truth) = self.truth {
            let off = self.place.filter(|_| self.is_located()).map_or(String::new(), |_| {
                format!("; the mark is {:.0} mm off it", 1000.0 * truth.aside_m)
            });
            row("truth", &format!("{:.2} m deep{off}  (only a simulator knows)", truth.depth_m))?;
        }
        f.write_str(&text)
    }
}

type Row<'a> = dyn FnMut(&str, &str) -> fmt::Result + 'a;

impl Trace {
    fn word(&self) -> &'static str {
        match (self.verdict, self.listened.mains && self.listened.order.is_none()) {
            (Verdict::Agree, _) => "AGREE: independent methods agree",
            (Verdict::Doubt, _) => "DOUBT: figures with a widened range",
            (Verdict::Refuse, true) => "NOTHING HEARD, which proves nothing",
            (Verdict::Refuse, false) => "REFUSED: no figure may be given",
        }
    }

    fn depth(&self, row: &mut Row<'_>) -> fmt::Result {
        let Some(d) = self.depth_m else { return Ok(()) };
        let range = units::with_range(d.value, d.low95, d.high95);
        row("depth", &format!("{range}  to the current's middle, 95 %"))?;
        if let Some(m) = self.shallow_bound_m {
            let (m, feet) = (units::metres(m), units::feet_inches(m));
            row(
                "",
                &format!("reckon with it from {m} / {feet} down; nothing says the ground above is free"),
            )?;
        }
        Ok(())
    }

    fn place(&self, row: &mut Row<'_>) -> fmt::Result {
        if !self.is_located() {
            return Ok(());
        }
        if let Some(p) = self.place {
            let across = units::metres_up(1.96 * p.sigma_m);
            let lay = self.lay_deg.map_or(String::new(), |l| {
                format!("   lay {} ± {:.0}°", units::lay(l.value), (2.0 * l.sigma).max(1.0))
            });
            let crossed = match self.crossings {
                0 => "no lane crosses it".to_owned(),
                1 => "1 lane crosses it".to_owned(),
                n => format!("{n} lanes cross it"),
            };
            let (east, north) = (hundredths(p.east_m), hundredths(p.north_m));
            row(
                "place",
                &format!(
                    "{east:.2} m east, {north:.2} m north, within {across} across (95 %){lay}; {crossed}"
                ),
            )?;
        }
        if let Some(c) = self.current {
            let unit =
                |a: f64| if c.peak_a < 1.0 { format!("{:.3} mA", 1e3 * a) } else { format!("{a:.3} A") };
            let slope = self.slope_deg.map_or(String::new(), |s| {
                format!("   slope {:+.1} ± {:.1}°", tenths(s.value), 2.0 * s.sigma)
            });
            row(
                "current",
                &format!(
                    "{} peak, {} rms, ± {}{slope}",
                    unit(c.peak_a),
                    unit(c.rms_a),
                    unit(2.0 * c.sigma_a)
                ),
            )?;
        }
        if let Some(s) = self.second {
            row(
                "beside it",
                &format!(
                    "a second line {} away, {} deep, with {:.0} % of the current, {:+.0}° ahead; reckoned with it, the first \
                     is {} deep",
                    units::metres(s.aside_m),
                    units::metres(s.depth_m.value),
                    100.0 * s.share,
                    s.phase_deg,
                    units::metres(s.first_depth_m.value),
                ),
            )?;
        }
        Ok(())
    }

    fn methods(&self, row: &mut Row<'_>) -> fmt::Result {
        if self.methods.iter().all(|method| method.estimate.is_none()) {
            return Ok(());
        }
        for (n, method) in self.methods.iter().enumerate() {
            let name = if n == 0 { "methods" } else { "" };
            let value = match (&method.estimate, &method.refused) {
                (Some(e), _) if self.is_located() => format!("{:.3} m ± {:.3} m", e.value, 2.0 * e.sigma),
                (Some(_), _) => "withheld".to_owned(),
                (None, why) => format!("none: {}", why.as_deref().unwrap_or("not measured")),
            };
            row(name, &format!("{:<16} {value}", method.method))?;
        }
        Ok(())
    }

    fn heard(&self) -> String {
        let l = &self.listened;
        let what = match (l.mains, l.order, l.grid_hz) {
            (false, ..) => format!("{:.0} Hz", l.frequency_hz),
            (true, Some(1), Some(grid)) => format!("mains at {grid:.2} Hz"),
            (true, Some(order), Some(grid)) => {
                format!("mains at {grid:.2} Hz, by harmonic {order} at {:.2} Hz", l.frequency_hz)
            }
            (true, ..) => "mains: no grid".to_owned(),
        };
        let snr = l.snr_db.map_or(String::new(), |db| format!(", up to {db:.0} dB above the noise"));
        let left_out = if l.left_out > 0 { format!(", {} left out", l.left_out) } else { String::new() };
        format!("{what}{snr}; {} looks{left_out} in {:.0} s; soil {}", l.looks, l.duration_s, self.soil)
    }
}

/// A current with three digits.
pub fn amperes(a: f64) -> String {
    let (value, unit) = if a.abs() < 0.9995 { (1e3 * a, "mA") } else { (a, "A") };
    let decimals = (2.0 - value.abs().max(1e-3).log10().floor()).clamp(0.0, 3.0) as usize;
    format!("{value:.decimals$} {unit}")
}

/// Rounded, so that what is next to nothing has no sign of its own.
fn hundredths(value: f64) -> f64 {
    (100.0 * value).round() / 100.0 + 0.0
}

fn tenths(value: f64) -> f64 {
    (10.0 * value).round() / 10.0 + 0.0
}
