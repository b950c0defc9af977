//! Whether recordings determine what was asked, and if not, what is missing.

use serde::Serialize;

use super::fit::Fit;
use super::model::Model;
use super::plan::{Ask, Plan};

/// The recordings have determined something when it is known this much better than before them.
const GAINED: f64 = 0.5;
/// The signal of a recording must be this many times its noise: one per cent.
const LEAST_SIGNAL: f64 = 100.0;
/// No coil may come out farther from its description than this many times what was expected.
const FARTHEST: f64 = 3.0;
/// Residuals may be this many times as large as was thought (squared) before something is wrong, and more
/// where there are few of them.
const MOST_STRAIN: f64 = 4.0;
/// See [`MOST_STRAIN`]: added to it over the number of free residuals.
const STRAIN_OF_FEW: f64 = 10.0;
/// A ratio of the nodes that is known no better than this is not worth having: it is what a mast without
/// calibration should be given.
const WORST_RATIO: f64 = 0.02;

/// Why there is no calibration.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Refusal {
    /// For machines.
    pub code: &'static str,
    /// What is wrong, and what to do.
    pub text: String,
}

impl Refusal {
    fn new(code: &'static str, text: impl Into<String>) -> Self {
        Self { code, text: text.into() }
    }

    /// There is nothing to compare, or the plan and the readings do not belong together.
    pub(super) fn not_two_nodes() -> Self {
        let text = "each attitude needs a slot and three readings for both nodes of a two-node array";
        Self::new("not-two-nodes", text)
    }
}

/// Recordings in which the source is too weak.
pub(super) fn weak(plan: &Plan, model: &Model) -> Vec<Refusal> {
    (0..model.attitudes())
        .filter(|&k| model.signal_to_noise(k) < LEAST_SIGNAL)
        .map(|k| {
            let name = &plan.attitude[k].name;
            let times = model.signal_to_noise(k);
            Refusal::new(
                "weak",
                format!(
                    "{name}: the tone is only {times:.0} times its noise, and should be {LEAST_SIGNAL:.0}: record \
                     longer, or bring the source nearer"
                ),
            )
        })
        .collect()
}

/// An unknown that was asked for: how it is called, its slope, and its uncertainty before the recordings.
struct Wanted {
    coil: usize,
    what: String,
    slope: Vec<f64>,
    prior: f64,
    in_degrees: bool,
}

fn wanted(ask: Ask, model: &Model) -> Vec<Wanted> {
    let prior = model.prior();
    let coils = model.coils.len();
    let blank = vec![0.0; model.coil_at(coils)];
    let mut wanted = Vec::new();
    match ask {
        Ask::Full => {
            for coil in 0..coils {
                let name = coil_name(model, coil);
                for (part, what, sigma) in [(0, "gain", prior.gain), (1, "phase", prior.phase_rad)] {
                    // Only against the others: the common gain and phase are anybody's.
                    let mut slope = blank.clone();
                    (0..coils).for_each(|c| slope[model.coil_at(c) + part] -= 1.0 / coils as f64);
                    slope[model.coil_at(coil) + part] += 1.0;
                    let what = format!("{what} of the {name}");
                    wanted.push(Wanted { coil, what, slope, prior: sigma, in_degrees: part == 1 });
                }
                for part in [2, 3] {
                    let mut slope = blank.clone();
                    slope[model.coil_at(coil) + part] = 1.0;
                    let what = format!("direction of the {name}");
                    wanted.push(Wanted { coil, what, slope, prior: prior.axis_rad, in_degrees: true });
                }
            }
        }
        Ask::Ratio => {
            for coil in 0..coils / 2 {
                let mut slope = blank.clone();
                slope[model.coil_at(coil)] = -1.0;
                slope[model.coil_at(coil + coils / 2)] = 1.0;
                let what = format!("ratio of the {} to its counterpart", coil_name(model, coil));
                let prior = prior.gain * std::f64::consts::SQRT_2;
                wanted.push(Wanted { coil, what, slope, prior, in_degrees: false });
            }
        }
    }
    wanted
}

/// Whether everything that was asked for is known better than before.
pub(super) fn determines(ask: Ask, model: &Model, fit: &Fit) -> bool {
    wanted(ask, model).iter().all(|w| fit.sigma(&w.slope) < GAINED * w.prior)
}

/// What the recordings leave open of what was asked, with the likely cause.
pub(super) fn undetermined(ask: Ask, model: &Model, fit: &Fit) -> Vec<Refusal> {
    let open: Vec<Wanted> =
        wanted(ask, model).into_iter().filter(|w| fit.sigma(&w.slope) >= GAINED * w.prior).collect();
    if open.is_empty() {
        return Vec::new();
    }
    let mut refusals = Vec::new();
    if !model.nodes_swapped() {
        refusals.push(Refusal::new(
            "not-swapped",
            "the nodes never swapped places: lay the mast end for end, so that both nodes have been in one slot",
        ));
    }
    for coil in 0..model.coils.len() {
        let name = coil_name(model, coil);
        if !open.iter().any(|w| w.coil == coil) {
            continue;
        }
        if model.largest(coil) < 0.1 {
            let text = format!(
                "the {name} hardly saw the field: set the source askew to the slots, so that each coil has its share"
            );
            refusals.push(Refusal::new("unseen", text));
        }
        let pointings = model.pointings(coil);
        let first = pointings.first().copied().unwrap_or_default();
        if ask == Ask::Full && pointings.iter().all(|p| p.dot(first).abs() > 0.9) {
            let text = format!(
                "the {name} never saw another direction: add attitudes that lay it over at right angles"
            );
            refusals.push(Refusal::new("one-direction", text));
        }
    }
    if refusals.is_empty() {
        // The two angles of a direction go by one name.
        let mut named = open;
        named.dedup_by(|a, b| a.what == b.what);
        let list: Vec<String> = named
            .iter()
            .map(|w| {
                let sigma = fit.sigma(&w.slope);
                let size = if w.in_degrees {
                    format!("{:.1}°", sigma.to_degrees())
                } else {
                    format!("{:.1} %", 100.0 * sigma)
                };
                format!("{} (± {size})", w.what)
            })
            .collect();
        let text = format!("the attitudes leave open: {}; add quarter turns and swaps", list.join(", "));
        refusals.push(Refusal::new("undetermined", text));
    }
    refusals
}

/// Whether residuals are so large that something must be wrong.
pub(super) fn is_strained(fit: &Fit) -> bool {
    fit.strain() > MOST_STRAIN + STRAIN_OF_FEW / fit.freedom.max(1.0)
}

/// Readings that no coils and no field can give: names the recording or the coil, if one alone is to blame.
/// `fit` is `None` where there is no solution at all, `without` has the fits without one recording each.
pub(super) fn misfit(plan: &Plan, model: &Model, fit: Option<&Fit>, without: &[Option<Fit>]) -> Refusal {
    let sound = |fit: &&Fit| fit.freedom > 1.0 && !is_strained(fit);
    let least = |(_, a): &(usize, &Fit), (_, b): &(usize, &Fit)| a.strain().total_cmp(&b.strain());
    let size = fit.map_or_else(
        || "the readings contradict the plan".to_owned(),
        |fit| format!("residuals are {:.1} times as large as thought", fit.strain().sqrt()),
    );
    let reversed = (0..model.coils.len())
        .find(|&coil| Fit::new(&model.with_reversed(coil)).as_ref().filter(sound).is_some());
    let cured = without.iter().enumerate().filter_map(|(k, rest)| Some((k, rest.as_ref().filter(sound)?)));
    let blame = if let Some(coil) = reversed {
        format!("the {} seems to be wired backwards", coil_name(model, coil))
    } else if let Some((k, _)) = cured.min_by(least) {
        format!(
            "{} does not fit the others: check its attitude and slots in the plan, record it again, or leave it \
             out",
            plan.attitude[k].name
        )
    } else {
        "no single recording or coil is to blame: was the source moved, or is another one on the same tone? Or \
         was the mast laid less carefully than the plan says?"
            .to_owned()
    };
    Refusal::new("misfit", format!("{size}: {blame}"))
}

/// Coils that come out farther from their description than any coil should.
pub(super) fn far_off(model: &Model, fit: &Fit) -> Vec<Refusal> {
    let prior = model.prior();
    let limits = [prior.gain, prior.phase_rad, prior.axis_rad, prior.axis_rad].map(|s| FARTHEST * s);
    (0..model.coils.len())
        .filter(|&coil| {
            let own = &fit.x[model.coil_at(coil)..];
            own.iter().zip(limits).any(|(x, limit)| x.abs() > limit)
        })
        .map(|coil| {
            let text = format!(
                "the {} comes out {FARTHEST:.0} times farther from its description than [expected] says: check its \
                 wiring and axis, or widen [expected]",
                coil_name(model, coil)
            );
            Refusal::new("far-off", text)
        })
        .collect()
}

/// A ratio of the nodes that would not help.
pub(super) fn vague(node_ratio_sigma: f64) -> Option<Refusal> {
    (node_ratio_sigma > WORST_RATIO).then(|| {
        let text = format!(
            "the ratio of the nodes is known to {:.1} % only, in its worst direction: no better than without \
             calibration ({:.0} %); add quarter turns and swaps, or lay the mast more carefully",
            100.0 * node_ratio_sigma,
            100.0 * WORST_RATIO
        );
        Refusal::new("vague", text)
    })
}

/// A coil in words.
pub(super) fn coil_name(model: &Model, coil: usize) -> String {
    let axis = model.coils[coil].axis.abs();
    let letter = ['x', 'y', 'z'][axis.max_position()];
    format!("{letter} coil of node {}", model.coils[coil].node)
}
