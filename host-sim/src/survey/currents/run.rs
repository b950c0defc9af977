//! The books of one run: its loss, its steps, and where its signal ends.

use nullwalk_core::chi_square::{Level, upper_point};

use super::ledger::Ledger;
use super::{Fix, Flag, Run, Step};
use crate::survey::bearing::{AGAINST_DEG, signed_deg};
use crate::survey::tails::surprise;

/// Steps are found by chance once in a hundred runs.
const LEVEL: f64 = 0.01;
/// A current below this share of the first is the end of the signal.
const FAINT: f64 = 0.03;
/// A loss below nought by so many sigmas is a gain: once in 700 runs by chance.
const RISES: f64 = 3.0;
/// A phase that changes by more than this, and three sigmas, belongs to another current.
const TURNED_DEG: f64 = 30.0;
/// What a phase without a sigma is taken to be worth, degrees.
const DEFAULT_PHASE_DEG: f64 = 5.0;
/// Depth changes with the current when it steps by so much, relative, and by two sigmas.
const DEEPER: f64 = 0.08;

pub(super) fn kept(name: String, mut fixes: Vec<Fix>) -> Run {
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
    if let Some(((first, last), ledger)) = loud.first().zip(loud.last()).zip(ledger.as_ref())
        && ledger.solution[1] < -RISES * ledger.sigma(1)
    {
        let way_m = last.at_m - first.at_m;
        let change = (-ledger.solution[1] * way_m).exp_m1();
        told.push(Step {
            from_m: first.at_m,
            to_m: last.at_m,
            change: Some(change),
            change_sigma: Some((1.0 + change) * ledger.sigma(1) * way_m),
            flag: Flag::Rising,
        });
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
