//! Bookkeeping of the current along a run: how much is lost on the way, where it steps, and what that means.

mod draw;
mod fix;
mod ledger;
mod run;
mod step;
mod table;
mod tees;
mod text;

use std::collections::BTreeMap;

use serde::Serialize;

pub use draw::svg;
pub use fix::Fix;
pub use step::{Flag, Step};
pub use table::open;

/// A run with its books kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Run {
    /// Its name.
    pub name: String,
    /// Its fixes in order.
    pub fixes: Vec<Fix>,
    /// The current that loss and steps expect at each, milliamperes.
    pub expected_ma: Vec<f64>,
    /// Share of the current that is lost in a metre.
    pub loss_per_m: Option<f64>,
    /// Standard uncertainty of that.
    pub loss_sigma_per_m: Option<f64>,
    /// Weighted squares of what is left, and degrees of freedom.
    pub chi_square: f64,
    /// The latter.
    pub freedom: usize,
    /// Where it steps, and other things worth saying.
    pub steps: Vec<Step>,
}

/// All runs of a table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Books {
    /// The main run first.
    pub runs: Vec<Run>,
}

impl Books {
    /// Whether nothing stands in doubt.
    pub fn is_clear(&self) -> bool {
        self.runs.iter().all(|run| run.steps.is_empty())
    }
}

/// Keep the books of fixes.
pub fn keep(fixes: Vec<Fix>) -> Books {
    let mut order: Vec<String> = Vec::new();
    let mut runs: BTreeMap<String, Vec<Fix>> = BTreeMap::new();
    for fix in fixes {
        if !order.contains(&fix.run) {
            order.push(fix.run.clone());
        }
        runs.entry(fix.run.clone()).or_default().push(fix);
    }
    let mut kept: Vec<Run> = order
        .into_iter()
        .filter_map(|name| runs.remove(&name).map(|fixes| run::kept(name, fixes)))
        .collect();
    let sums = tees::sums(&kept);
    if let Some(main) = kept.first_mut() {
        main.steps.extend(sums);
        main.steps.sort_by(|a, b| a.from_m.total_cmp(&b.from_m));
    }
    Books { runs: kept }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fix(at_m: f64, current_ma: f64) -> Fix {
        Fix {
            name: String::new(),
            run: String::new(),
            at_m,
            current_ma,
            sigma_ma: Some(0.02 * current_ma),
            phase_deg: Some(10.0),
            phase_sigma_deg: Some(3.0),
            depth_m: Some(1.0),
            depth_sigma_m: Some(0.02),
            leaves_at_m: None,
        }
    }

    /// A run of 20 fixes, 5 m apart, that loses 1 % a metre; the noise is made of digits of pi.
    fn smooth() -> Vec<Fix> {
        let digits = [3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8, 9, 7, 9, 3, 2, 3, 8, 4];
        let noise = |n: usize| 0.02 * (f64::from(digits[n]) - 4.85) / 2.6;
        (0..20).map(|n| fix(5.0 * n as f64, 50.0 * (-0.05 * n as f64).exp() * (1.0 + noise(n)))).collect()
    }

    #[test]
    fn a_smooth_loss_is_found_and_nothing_is_flagged() {
        let books = keep(smooth());
        let run = &books.runs[0];
        let (loss, sigma) = (run.loss_per_m.unwrap(), run.loss_sigma_per_m.unwrap());
        assert!((loss - 0.01).abs() < 2.0 * sigma && sigma < 3e-4, "{loss} {sigma}");
        assert!(books.is_clear(), "{books}");
    }

    #[test]
    fn tees_and_bleed_over_are_steps_of_either_sign() {
        let mut fixes = smooth();
        for fix in &mut fixes[8..] {
            fix.current_ma *= 0.7;
        }
        for fix in &mut fixes[14..] {
            (fix.current_ma, fix.depth_m) = (fix.current_ma * 1.25, Some(1.2));
        }
        let books = keep(fixes);
        let steps = &books.runs[0].steps;
        assert_eq!(steps.len(), 2, "{books}");
        assert_eq!((steps[0].from_m, steps[0].to_m, &steps[0].flag), (35.0, 40.0, &Flag::Down));
        assert!((steps[0].change.unwrap() + 0.3).abs() < 0.05);
        assert_eq!((steps[1].from_m, &steps[1].flag), (65.0, &Flag::Up { deeper: true }));
        assert!(steps[1].flag.sentence().contains("TOO GREAT"));
    }

    #[test]
    fn returns_and_ends_are_told() {
        let mut fixes = smooth();
        for fix in &mut fixes[10..] {
            fix.phase_deg = Some(-165.0);
        }
        (fixes[19].current_ma, fixes[19].sigma_ma) = (0.3, Some(0.2));
        let books = keep(fixes);
        let flags: Vec<&Flag> = books.runs[0].steps.iter().map(|step| &step.flag).collect();
        assert!(matches!(flags[..], [Flag::Against { .. }, Flag::End]), "{books}");
    }

    #[test]
    fn the_sum_at_a_tee_is_checked() {
        let branch = |current_ma: f64| {
            (0..3).map(move |n| Fix {
                run: "B".to_owned(),
                leaves_at_m: Some(37.0),
                ..fix(2.0 + f64::from(n), current_ma)
            })
        };
        let mut main = smooth();
        for fix in &mut main[8..] {
            fix.current_ma *= 0.7;
        }
        // At the tee the main run has about 34.5 mA: 30 % of it are 10.4.
        let with = |current_ma: f64| keep(main.iter().cloned().chain(branch(current_ma)).collect());
        let flags =
            |books: &Books| books.runs[0].steps.iter().map(|step| step.flag.clone()).collect::<Vec<_>>();
        assert_eq!(flags(&with(10.2)), [Flag::Down]);
        assert!(flags(&with(3.0)).iter().any(|flag| matches!(flag, Flag::SumShort { .. })));
        assert!(flags(&with(20.0)).iter().any(|flag| matches!(flag, Flag::SumOver { .. })));
    }
}
