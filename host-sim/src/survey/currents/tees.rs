//! What comes in and what goes out at the tees.

use super::{Fix, Flag, Run, Step};

/// At every tee: what comes in, and what goes out on the main run and the branches, carried to the tee with the main run's
/// loss.
pub(super) fn sums(runs: &[Run]) -> Vec<Step> {
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
