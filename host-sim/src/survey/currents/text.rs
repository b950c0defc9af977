//! The books in words.

use std::fmt::{self, Display, Formatter};

use super::Books;
use crate::survey::text::figure;

impl Display for Books {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        for (n, run) in self.runs.iter().enumerate() {
            if n > 0 {
                writeln!(f)?;
            }
            let name = if run.name.is_empty() { "Run".to_owned() } else { format!("Run {}", run.name) };
            match run.loss_per_m.zip(run.loss_sigma_per_m) {
                Some((loss, sigma)) => writeln!(
                    f,
                    "{name}: loses {:.2} ± {:.2} % a metre (95 %); a tenth is left after {}",
                    100.0 * loss,
                    196.0 * sigma,
                    if loss > 1.96 * sigma {
                        format!("{:.0} m", std::f64::consts::LN_10 / loss)
                    } else {
                        "no length that this run tells".to_owned()
                    }
                )?,
                None => writeln!(f, "{name}: too few fixes with a signal to tell a loss")?,
            }
            writeln!(
                f,
                "  {:>8}  {:>10}  {:>9}  {:>9}  {:>7}  name",
                "at", "current", "± 95 %", "expected", "depth"
            )?;
            for (fix, expected) in run.fixes.iter().zip(&run.expected_ma) {
                let expected = if expected.is_finite() { figure(*expected) } else { "-".to_owned() };
                let depth = fix.depth_m.map_or_else(|| "-".to_owned(), |depth| format!("{depth:.2} m"));
                writeln!(
                    f,
                    "  {:>6.1} m  {:>7} mA  {:>6} mA  {expected:>6} mA  {depth:>7}  {}",
                    fix.at_m,
                    figure(fix.current_ma),
                    figure(1.96 * fix.sigma_ma()),
                    fix.title()
                )?;
            }
            for step in &run.steps {
                let change = step.change.zip(step.change_sigma).map_or(String::new(), |(change, sigma)| {
                    format!(" {:+.0} ± {:.0} %:", 100.0 * change, 196.0 * sigma)
                });
                writeln!(f, "  {} to {} m:{change} {}", step.from_m, step.to_m, step.flag.sentence())?;
            }
        }
        writeln!(
            f,
            "\nA smooth loss does not prove that this is the line that was meant, nor that no other lies near. Nothing here \
             is permission to dig: follow local codes and licensed practice."
        )
    }
}
