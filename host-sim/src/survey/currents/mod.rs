//! Bookkeeping of the current along a run: how much is lost on the way, where it steps, and what that means.

mod draw;

use std::collections::BTreeMap;
use std::fmt::{self, Display, Formatter};
use std::path::Path;

use nalgebra::{DMatrix, DVector};
use nullwalk_core::chi_square::{Level, upper_point};
use serde::{Deserialize, Serialize};

pub use draw::svg;

use super::SurveyError;
use super::find::signed_deg;
use super::tails::surprise;
use super::text::figure;

/// What a current without a sigma is taken to be worth, as a share of it.
const DEFAULT_SIGMA: f64 = 0.05;
/// Steps are found by chance once in a hundred runs.
const LEVEL: f64 = 0.01;
/// A current below so many sigmas, or below this share of the first, is the end of the signal.
const HEARD: f64 = 3.0;
const FAINT: f64 = 0.03;
/// A phase that changes by more than this, and three sigmas, belongs to another current.
const TURNED_DEG: f64 = 30.0;
const AGAINST_DEG: f64 = 135.0;
/// What a phase without a sigma is taken to be worth, degrees.
const DEFAULT_PHASE_DEG: f64 = 5.0;
/// Depth changes with the current when it steps by so much, relative, and by two sigmas.
const DEEPER: f64 = 0.08;
const MOST_ROWS: usize = 10_000;

/// One fix of a line, as a row of the table says it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fix {
    /// Its name, for people.
    #[serde(default)]
    pub name: String,
    /// Which run it lies on; the first that is named is the main one.
    #[serde(default)]
    pub run: String,
    /// Distance along that run, metres, away from the transmitter.
    pub at_m: f64,
    /// Current, milliamperes; peak or rms, but the same in all rows.
    pub current_ma: f64,
    /// Its standard uncertainty.
    #[serde(default)]
    pub sigma_ma: Option<f64>,
    /// Its phase against a reference, degrees.
    #[serde(default)]
    pub phase_deg: Option<f64>,
    /// Standard uncertainty of that.
    #[serde(default)]
    pub phase_sigma_deg: Option<f64>,
    /// Depth to the middle, metres.
    #[serde(default)]
    pub depth_m: Option<f64>,
    /// Standard uncertainty of that.
    #[serde(default)]
    pub depth_sigma_m: Option<f64>,
    /// For a branch: where on the main run it leaves, metres.
    #[serde(default)]
    pub leaves_at_m: Option<f64>,
}

impl Fix {
    fn sigma_ma(&self) -> f64 {
        self.sigma_ma.unwrap_or(DEFAULT_SIGMA * self.current_ma).max(1e-6 * self.current_ma)
    }

    fn is_heard(&self) -> bool {
        self.current_ma > HEARD * self.sigma_ma()
    }

    fn title(&self) -> String {
        if self.name.is_empty() { format!("{} m", self.at_m) } else { self.name.clone() }
    }
}

/// What a step of the current means.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "flag", rename_all = "kebab-case")]
pub enum Flag {
    /// The current falls at once.
    Down,
    /// The current rises: what no line does by itself.
    Up {
        /// Whether the depth rises with it.
        deeper: bool,
    },
    /// The phase turns out of step.
    OutOfStep {
        /// By so much, degrees.
        by_deg: f64,
    },
    /// The phase turns round.
    Against {
        /// By so much, degrees.
        by_deg: f64,
    },
    /// There is no signal any more.
    End,
    /// The sum at a tee is too small.
    SumShort {
        /// Where, metres.
        tee_m: f64,
        /// What is missing, milliamperes.
        missing_ma: f64,
    },
    /// The sum at a tee is too large.
    SumOver {
        /// Where, metres.
        tee_m: f64,
        /// What is too much, milliamperes.
        over_ma: f64,
    },
    /// Loss and steps do not explain the currents.
    Unexplained,
}

impl Flag {
    /// What it means, which way depths are wrong, and what to do.
    pub fn sentence(&self) -> String {
        match self {
            Self::Down => "current leaves here: a tee, a bond to another line, or a fault to ground. Look for the branch; \
                           beside a tee depths are read too great on the near side, the dangerous way"
                .to_owned(),
            Self::Up { deeper: true } => "current and depth rise together: a neighbour bleeds over in step. The depth is \
                                          read TOO GREAT, the dangerous way: reckon with the shallower figure"
                .to_owned(),
            Self::Up { deeper: false } => "the current rises, which no line does by itself: a neighbour bleeds over, or \
                                           current comes in by a bond. Depths here may be read TOO GREAT, the dangerous way"
                .to_owned(),
            Self::OutOfStep { by_deg } => format!(
                "the phase turns by {by_deg:.0}°: part of this current is another line's, coupled and not connected"
            ),
            Self::Against { by_deg } => format!(
                "the phase turns by {by_deg:.0}°: the current runs the other way. This is the return on a parallel or a \
                 bonded line, not the one that was traced up to here"
            ),
            Self::End => "end of signal: the line ends, is cut or insulated, or all current has left. It may go on unheard; \
                          depths within three depths of an end are read too small"
                .to_owned(),
            Self::SumShort { tee_m, missing_ma } => format!(
                "at the tee at {tee_m} m {} mA are missing behind it: there is another branch, a bond or a fault",
                figure(*missing_ma)
            ),
            Self::SumOver { tee_m, over_ma } => format!(
                "at the tee at {tee_m} m {} mA too much come out: current comes in from another line, and depths there may \
                 be read TOO GREAT, the dangerous way",
                figure(*over_ma)
            ),
            Self::Unexplained => "loss and steps do not explain the currents within their sigmas: neighbours, or sigmas \
                                  that claim too much"
                .to_owned(),
        }
    }
}

/// A place on a run of which something has to be said.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// Between these distances, metres.
    pub from_m: f64,
    /// The latter.
    pub to_m: f64,
    /// What the current does there, as a share of it: minus what leaves; none where it does not step.
    pub change: Option<f64>,
    /// Standard uncertainty of that.
    pub change_sigma: Option<f64>,
    /// What it means.
    #[serde(flatten)]
    pub flag: Flag,
}

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

/// Read a table of fixes, and keep its books.
///
/// # Errors
/// Names the line and column that cannot be used, and the remedy.
pub fn open(path: &Path) -> Result<Books, SurveyError> {
    let wrong = |place: String, problem: String, remedy| SurveyError::Table {
        path: path.to_path_buf(),
        place,
        problem,
        remedy,
    };
    let columns = "columns: at_m, current_ma; and as known: name, run, sigma_ma, phase_deg, phase_sigma_deg, depth_m, \
                   depth_sigma_m, leaves_at_m";
    if path.is_dir() {
        return Err(wrong(String::new(), "is a folder".to_owned(), "give a CSV table"));
    }
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_path(path)
        .map_err(|e| wrong(String::new(), format!("cannot be read: {e}"), "give a CSV table"))?;
    let mut fixes = Vec::new();
    for (row, line) in reader.deserialize::<Fix>().zip(2..) {
        let fix = row.map_err(|e| wrong(format!(", line {line}"), what(&e), columns))?;
        let numbers = [
            ("at_m", Some(fix.at_m), f64::NEG_INFINITY),
            ("current_ma", Some(fix.current_ma), 0.0),
            ("sigma_ma", fix.sigma_ma, 0.0),
            ("phase_deg", fix.phase_deg, f64::NEG_INFINITY),
            ("phase_sigma_deg", fix.phase_sigma_deg, 0.0),
            ("depth_m", fix.depth_m, 0.0),
            ("depth_sigma_m", fix.depth_sigma_m, 0.0),
            ("leaves_at_m", fix.leaves_at_m, f64::NEG_INFINITY),
        ];
        for (column, value, least) in numbers {
            if value.is_some_and(|value| !(value.is_finite() && value >= least)) {
                let problem = format!("{} cannot be", value.unwrap_or_default());
                return Err(wrong(
                    format!(", line {line}, {column}"),
                    problem,
                    "give a number, 0 or more for sizes",
                ));
            }
        }
        fixes.push(fix);
        if fixes.len() > MOST_ROWS {
            return Err(wrong(String::new(), format!("more than {MOST_ROWS} rows"), "split it by runs"));
        }
    }
    if fixes.len() < 3 {
        let problem = format!("{} fixes", fixes.len());
        return Err(wrong(
            String::new(),
            problem,
            "three on a run are the least that tell a loss from a step",
        ));
    }
    Ok(keep(fixes))
}

fn what(error: &csv::Error) -> String {
    match error.kind() {
        csv::ErrorKind::Deserialize { err, .. } => err.kind().to_string(),
        csv::ErrorKind::Utf8 { .. } => "is no text".to_owned(),
        csv::ErrorKind::UnequalLengths { len, expected_len, .. } => {
            format!("has {len} columns where the heading has {expected_len}")
        }
        _ => error.to_string(),
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
    let mut kept: Vec<Run> =
        order.into_iter().filter_map(|name| runs.remove(&name).map(|fixes| run(name, fixes))).collect();
    let sums = sums(&kept);
    if let Some(main) = kept.first_mut() {
        main.steps.extend(sums);
        main.steps.sort_by(|a, b| a.from_m.total_cmp(&b.from_m));
    }
    Books { runs: kept }
}

/// The logarithm of the current by least squares: a value, a loss, and steps.
struct Ledger {
    solution: DVector<f64>,
    covariance: DMatrix<f64>,
    chi_square: f64,
}

impl Ledger {
    /// Steps are after the fixes of these numbers.
    fn of(fixes: &[&Fix], steps: &[usize]) -> Option<Self> {
        let count = 2 + steps.len();
        let row = |n: usize| {
            let mut row = DVector::zeros(count);
            (row[0], row[1]) = (1.0, -(fixes[n].at_m - fixes[0].at_m));
            for (k, after) in steps.iter().enumerate() {
                row[2 + k] = if n > *after { 1.0 } else { 0.0 };
            }
            row
        };
        let (mut matrix, mut right) = (DMatrix::zeros(count, count), DVector::zeros(count));
        let sigma = |fix: &Fix| fix.sigma_ma() / fix.current_ma;
        for (n, fix) in fixes.iter().enumerate() {
            let (row, weight) = (row(n), 1.0 / sigma(fix).powi(2));
            matrix += &row * row.transpose() * weight;
            right += row * (weight * fix.current_ma.ln());
        }
        let decomposed = matrix.cholesky()?;
        let solution = decomposed.solve(&right);
        let residual =
            |(n, fix): (usize, &&Fix)| ((fix.current_ma.ln() - row(n).dot(&solution)) / sigma(fix)).powi(2);
        let chi_square = fixes.iter().enumerate().map(residual).sum();
        Some(Self { solution, covariance: decomposed.inverse(), chi_square })
    }

    fn sigma(&self, unknown: usize) -> f64 {
        self.covariance[(unknown, unknown)].sqrt()
    }
}

fn run(name: String, mut fixes: Vec<Fix>) -> Run {
    fixes.sort_by(|a, b| a.at_m.total_cmp(&b.at_m));
    let first_ma = fixes.first().map_or(0.0, |fix| fix.current_ma);
    let heard = |fix: &&Fix| fix.is_heard() && fix.current_ma > FAINT * first_ma;
    let loud: Vec<&Fix> = fixes.iter().take_while(heard).collect();
    let mut steps: Vec<usize> = Vec::new();
    let mut ledger = (loud.len() > 2).then(|| Ledger::of(&loud, &steps)).flatten();
    // One step after the other, as long as the best is beyond chance, all places it could be at counted.
    while let Some(now) = ledger.as_ref().filter(|_| loud.len() > 3 + steps.len()) {
        let places = (0..loud.len() - 1).filter(|n| !steps.contains(n));
        let tried = places.filter_map(|n| {
            let with: Vec<usize> = steps.iter().copied().chain([n]).collect();
            Ledger::of(&loud, &with).map(|ledger| (with, ledger))
        });
        let best = tried.min_by(|a, b| a.1.chi_square.total_cmp(&b.1.chi_square));
        let Some((with, better)) = best else { break };
        if surprise(now.chi_square - better.chi_square, 1.0) < (loud.len() as f64 / LEVEL).ln() {
            break;
        }
        (steps, ledger) = (with, Some(better));
    }
    let mut told: Vec<Step> = Vec::new();
    let mut expected_ma = vec![f64::NAN; fixes.len()];
    if let Some(ledger) = &ledger {
        for (n, expected) in expected_ma.iter_mut().enumerate().take(loud.len()) {
            let stepped = steps.iter().enumerate().filter(|(_, after)| n > **after);
            let jumps: f64 = stepped.map(|(k, _)| ledger.solution[2 + k]).sum();
            let way_m = loud[n].at_m - loud[0].at_m;
            *expected = (ledger.solution[0] - ledger.solution[1] * way_m + jumps).exp();
        }
        for (k, after) in steps.iter().enumerate() {
            let change = ledger.solution[2 + k].exp_m1();
            let flag = if change < 0.0 {
                Flag::Down
            } else {
                Flag::Up { deeper: deepens(loud[*after], loud[after + 1]) }
            };
            told.push(Step {
                from_m: loud[*after].at_m,
                to_m: loud[after + 1].at_m,
                change: Some(change),
                change_sigma: Some((1.0 + change) * ledger.sigma(2 + k)),
                flag,
            });
        }
    }
    for pair in loud.windows(2) {
        if let [a, b] = pair
            && let Some(flag) = turns(a, b)
        {
            told.push(Step { from_m: a.at_m, to_m: b.at_m, change: None, change_sigma: None, flag });
        }
    }
    if let Some((last, next)) = loud.last().zip(fixes.get(loud.len())) {
        told.push(Step {
            from_m: last.at_m,
            to_m: next.at_m,
            change: None,
            change_sigma: None,
            flag: Flag::End,
        });
    }
    let freedom = loud.len().saturating_sub(2 + steps.len());
    let chi_square = ledger.as_ref().map_or(0.0, |ledger| ledger.chi_square);
    if freedom > 0
        && chi_square > f64::from(upper_point(freedom, Level::OnePerMille))
        && let Some((first, last)) = loud.first().zip(loud.last())
    {
        let flag = Flag::Unexplained;
        told.push(Step { from_m: first.at_m, to_m: last.at_m, change: None, change_sigma: None, flag });
    }
    told.sort_by(|a, b| a.from_m.total_cmp(&b.from_m));
    Run {
        name,
        expected_ma,
        loss_per_m: ledger.as_ref().map(|ledger| ledger.solution[1]),
        loss_sigma_per_m: ledger.as_ref().map(|ledger| ledger.sigma(1)),
        chi_square,
        freedom,
        steps: told,
        fixes,
    }
}

/// Whether the depth rises with the current.
fn deepens(a: &Fix, b: &Fix) -> bool {
    let Some((before, after)) = a.depth_m.zip(b.depth_m) else { return false };
    let sigma = a.depth_sigma_m.unwrap_or(0.03 * before).hypot(b.depth_sigma_m.unwrap_or(0.03 * after));
    after - before > (DEEPER * before).max(2.0 * sigma)
}

/// What the phase does from one fix to the next.
fn turns(a: &Fix, b: &Fix) -> Option<Flag> {
    let by_deg = signed_deg(b.phase_deg? - a.phase_deg?);
    let sigma = |fix: &Fix| fix.phase_sigma_deg.unwrap_or(DEFAULT_PHASE_DEG);
    if by_deg.abs() < TURNED_DEG.max(3.0 * sigma(a).hypot(sigma(b))) {
        return None;
    }
    Some(if by_deg.abs() > AGAINST_DEG { Flag::Against { by_deg } } else { Flag::OutOfStep { by_deg } })
}

/// At every tee: what comes in, and what goes out on the main run and the branches, carried to the tee with the main run's
/// loss.
fn sums(runs: &[Run]) -> Vec<Step> {
    let Some((main, branches)) = runs.split_first() else { return vec![] };
    let mut tees: Vec<f64> =
        branches.iter().filter_map(|run| run.fixes.iter().find_map(|fix| fix.leaves_at_m)).collect();
    tees.sort_by(f64::total_cmp);
    tees.dedup();
    let loss = main.loss_per_m.unwrap_or(0.0);
    let carried = |fix: &Fix, way_m: f64| (fix.current_ma * (loss * way_m).exp(), fix.sigma_ma());
    let mut steps = Vec::new();
    for tee_m in tees {
        let before = main.fixes.iter().rev().find(|fix| fix.at_m < tee_m);
        let after = main.fixes.iter().find(|fix| fix.at_m >= tee_m);
        let Some((before, after)) = before.zip(after) else { continue };
        let (inwards, in_sigma) = carried(before, before.at_m - tee_m);
        let (through, through_sigma) = carried(after, after.at_m - tee_m);
        let (mut outwards, mut variance) = (through, in_sigma * in_sigma + through_sigma * through_sigma);
        for branch in branches {
            if branch.fixes.iter().any(|fix| fix.leaves_at_m == Some(tee_m))
                && let Some(first) = branch.fixes.first()
            {
                let (current, sigma) = carried(first, first.at_m);
                outwards += current;
                variance += sigma * sigma;
            }
        }
        let over = outwards - inwards;
        if over.abs() > 3.0 * variance.sqrt() {
            let flag = if over > 0.0 {
                Flag::SumOver { tee_m, over_ma: over }
            } else {
                Flag::SumShort { tee_m, missing_ma: -over }
            };
            steps.push(Step {
                from_m: before.at_m,
                to_m: after.at_m,
                change: None,
                change_sigma: None,
                flag,
            });
        }
    }
    steps
}

impl Books {
    /// Whether nothing stands in doubt.
    pub fn is_clear(&self) -> bool {
        self.runs.iter().all(|run| run.steps.is_empty())
    }
}

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
