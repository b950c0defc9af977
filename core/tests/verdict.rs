//! How several depths become one, with the errors they share: against closed forms, and against draws from the very
//! model that is assumed.

mod draws;

use draws::Noise;
use nullwalk_core::depth::{Depth, Unusable};
use nullwalk_core::verdict::{Clue, Depths, Reason, Reasons, Shared, Verdict, combined, judge};

const NONE: Result<Depth, Unusable> = Err(Unusable::NotMeasured);

fn depth(depth_m: f32, sigma_m: f32) -> Result<Depth, Unusable> {
    Ok(Depth { depth_m, sigma_m })
}

fn close(a: f32, b: f32) -> bool {
    (a - b).abs() < 1e-4 * b.abs().max(1e-3)
}

#[test]
fn independent_methods_are_weighted_by_their_variances() {
    let depths: Depths = [depth(1.0, 0.01), depth(1.04, 0.02), NONE, NONE, NONE];
    let found = combined(&depths, &Shared::default()).unwrap();
    // (1.0 * 4 + 1.04) / 5, 1/sqrt(10000 + 2500), (0.008/0.01)^2 + (0.032/0.02)^2.
    assert!(close(found.depth.depth_m, 1.008), "{found:?}");
    assert!(close(found.depth.sigma_m, 0.008_944_3), "{found:?}");
    assert!(close(found.chi_square, 3.2), "{found:?}");
    assert!(close(found.limit.unwrap(), 6.6349), "{found:?}");
}

#[test]
fn what_is_shared_does_not_average_out() {
    let depths: Depths = [depth(1.0, 0.05), NONE, NONE, NONE, depth(1.0, 0.05)];
    let alone = combined(&depths, &Shared::default()).unwrap();
    let ratio = Shared { node_ratio_m: [0.045, 0.0, 0.0, 0.0, 0.045], ..Shared::default() };
    let shared = combined(&depths, &ratio).unwrap();
    assert!(close(alone.depth.sigma_m, 0.05 / 2.0_f32.sqrt()));
    // Own variances of 0.05^2 - 0.045^2 are halved, the shared one stays.
    let own: f32 = 0.05 * 0.05 - 0.045 * 0.045;
    assert!(close(shared.depth.sigma_m, (own / 2.0 + 0.045 * 0.045).sqrt()), "{shared:?}");
}

#[test]
fn beside_the_fit_of_the_walk_its_nulls_add_nothing() {
    let depths: Depths = [NONE, depth(1.03, 0.03), depth(0.98, 0.05), NONE, depth(1.0, 0.01)];
    let walk = Shared { walk: [false, true, true, false, true], ..Shared::default() };
    let found = combined(&depths, &walk).unwrap();
    // Of its variance 5 % is taken for the fit's own.
    assert!((found.depth.depth_m - 1.0).abs() < 0.001, "{found:?}");
    assert!((0.0097..0.01).contains(&found.depth.sigma_m), "{found:?}");
}

#[test]
fn no_method_counts_against_itself() {
    // One that shares all of the other's error and has more of its own would be given a negative weight.
    let depths: Depths = [depth(1.0, 0.01), depth(1.1, 0.04), NONE, NONE, NONE];
    let ratio = Shared { node_ratio_m: [0.009, 0.035, 0.0, 0.0, 0.0], ..Shared::default() };
    let found = combined(&depths, &ratio).unwrap();
    assert!(close(found.depth.depth_m, 1.0) && close(found.depth.sigma_m, 0.01), "{found:?}");
    assert!(found.chi_square > 1.0, "it is judged all the same: {found:?}");
}

/// What depths drawn from a model come to, when they are combined by it and when they are taken for independent: rms of
/// the error in stated sigmas of both, and the mean of chi-square.
fn drawn(shared: &Shared) -> (f64, f64, f64) {
    let sigmas = [0.06_f32, 0.05, 0.07, 0.0, 0.03];
    // Variance of the fit less what the ratio of the gains does to it, and the least that is its own.
    let walk2 = 0.03_f32 * 0.03 - 0.02 * 0.02 - 0.05 * 0.03 * 0.03;
    let common2 = |n: usize| if shared.walk[n] { walk2 } else { 0.0 };
    let own = |n: usize| (sigmas[n] * sigmas[n] - shared.node_ratio_m[n].powi(2) - common2(n)).sqrt();
    let mut noise = Noise(7);
    let (mut squares, mut proud, mut chi_squares) = (0.0_f64, 0.0_f64, 0.0_f64);
    const COUNT: usize = 20_000;
    for _ in 0..COUNT {
        let (ratio, walk) = (noise.next() as f32, noise.next() as f32);
        let depths: Depths = std::array::from_fn(|n| {
            let error_m = shared.node_ratio_m[n] * ratio + common2(n).sqrt() * walk;
            if n == 3 { NONE } else { depth(2.0 + own(n) * noise.next() as f32 + error_m, sigmas[n]) }
        });
        let found = combined(&depths, shared).unwrap();
        squares += f64::from((found.depth.depth_m - 2.0) / found.depth.sigma_m).powi(2);
        chi_squares += f64::from(found.chi_square);
        let alone = combined(&depths, &Shared::default()).unwrap();
        proud += f64::from((alone.depth.depth_m - 2.0) / alone.depth.sigma_m).powi(2);
    }
    let count = COUNT as f64;
    ((squares / count).sqrt(), (proud / count).sqrt(), chi_squares / count)
}

/// Taken for independent, depths that share errors would be stated too surely.
#[test]
fn stated_sigma_is_that_of_draws_from_the_model() {
    let shared =
        Shared { node_ratio_m: [0.05, 0.0, 0.0, 0.0, 0.02], walk: [false, true, true, false, true] };
    let (rms, proud, chi_square) = drawn(&shared);
    println!("rms in stated sigmas {rms:.3} (as independent {proud:.3}), mean chi-square {chi_square:.3}");
    assert!((0.97..1.03).contains(&rms) && proud > 1.1);
    // Methods of one walk are judged as if they were independent, which they are not: they go together better.
    assert!((1.0..2.9).contains(&chi_square));
}

#[test]
fn chi_square_has_its_degrees_of_freedom() {
    let shared = Shared { node_ratio_m: [0.05, 0.0, 0.0, 0.0, 0.02], ..Shared::default() };
    let (rms, proud, chi_square) = drawn(&shared);
    println!("rms in stated sigmas {rms:.3} (as independent {proud:.3}), mean chi-square {chi_square:.3}");
    assert!((0.97..1.03).contains(&rms) && (2.9..3.1).contains(&chi_square));
}

#[test]
fn doubt_widens_the_range_and_a_bent_field_raises_the_shallow_bound() {
    let depths: Depths = [depth(1.0, 0.01), depth(1.02, 0.02), NONE, NONE, NONE];
    let mean = combined(&depths, &Shared::default());
    let agreed = judge(&depths, mean, Reasons::default());
    assert_eq!(agreed.verdict, Verdict::Agree);
    let mut reasons = Reasons::default();
    reasons.add(Reason::BentField);
    let doubted = judge(&depths, mean, reasons);
    assert_eq!(doubted.verdict, Verdict::Doubt);
    let (agreed_range, doubted_range) = (agreed.range.unwrap(), doubted.range.unwrap());
    assert!(doubted_range.low_m < agreed_range.low_m && doubted_range.high_m > agreed_range.high_m);
    // The lowest end of any range, and that over 1.56.
    assert!(close(agreed.shallow_m.unwrap(), 1.0 - 1.96 * 0.01));
    assert!(close(doubted.shallow_m.unwrap(), (1.0 - 1.96 * 0.01) / 1.56));
}

#[test]
fn every_clue_has_its_place_in_the_list() {
    for (n, clue) in Clue::ALL.into_iter().enumerate() {
        assert_eq!(clue as usize, n, "{}", clue.code());
    }
}
