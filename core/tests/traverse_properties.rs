//! What the fit of a walk must not depend on: where the site's origin is and how its axes lie, the unit of length, the
//! strength of the sonde, the transmitter's sign, the order of the looks.

use glam::{Mat3, Quat, Vec3};
use nullwalk_core::field;
use nullwalk_core::fit::{Dipole, Look, Ring, Shared, Traversed, traverse};
use proptest::prelude::*;

const RATIO_SIGMA: f32 = 0.003;
/// Two fits of one walk may each stop a twentieth of a sigma short of the best.
const TOLERANCE: f32 = 0.1;

/// A walk, and where its fit begins.
#[derive(Debug, Clone)]
struct Walk {
    looks: Vec<Look>,
    start: Dipole,
}

impl Walk {
    fn fitted(&self) -> Traversed {
        let mut ring: Ring<64> = Ring::default();
        self.looks.iter().for_each(|look| ring.push(*look));
        traverse(&ring, self.start, &Shared { node_ratio: RATIO_SIGMA, ..Shared::default() })
            .expect("a walk that tells everything")
    }

    /// Each look, and where the fit begins, changed.
    fn map(&self, look: impl Fn(Look) -> Look, start: impl Fn(Dipole) -> Dipole) -> Self {
        Self { looks: self.looks.iter().copied().map(look).collect(), start: start(self.start) }
    }

    fn turned(&self, turn: Quat) -> Self {
        let look = |look: Look| Look {
            at_m: turn * look.at_m,
            upper_m: turn * look.upper_m,
            fields_nt: look.fields_nt.map(|b_nt| turn * b_nt),
            ..look
        };
        self.map(look, |d| Dipole { at_m: turn * d.at_m, moment: turn * d.moment })
    }
}

/// The same looks in another order.
fn shuffled(walk: &Walk) -> impl Strategy<Value = Walk> + use<> {
    let start = walk.start;
    Just(walk.looks.clone()).prop_shuffle().prop_map(move |looks| Walk { looks, start })
}

/// Three lanes over a sonde somewhere near their middle, with noise in the fields and in the places.
fn walk(pose_sigma_m: f32) -> impl Strategy<Value = Walk> {
    let place = (-0.3_f32..0.3, -0.3_f32..0.3, 1.0_f32..3.0);
    let lay = (-3.1_f32..3.1, -0.5_f32..0.5);
    let noise = prop::collection::vec(prop::array::uniform9(-1.7_f32..1.7), 63);
    (place, lay, noise).prop_map(move |((x, y, depth_m), (lay_rad, pitch_rad), noise)| {
        let level = Vec3::new(lay_rad.cos(), lay_rad.sin(), 0.0) * pitch_rad.cos();
        let truth =
            Dipole { at_m: Vec3::new(x, y, -depth_m), moment: 0.2 * (level + Vec3::Z * pitch_rad.sin()) };
        let looks = noise.iter().enumerate().map(|(n, noise)| {
            let &[a, b, c, d, e, f, off_x, off_y, off_z] = noise;
            let (along, lane) = (n % 21, n / 21);
            let true_m = Vec3::new(0.25 * along as f32 - 2.5, 0.5 * lane as f32 - 0.5, 0.0);
            let upper_m = Vec3::new(0.01 * off_x, 0.01 * off_y, 0.4);
            let seen = |at_m: Vec3| {
                let r = (at_m - truth.at_m).to_array();
                Vec3::from_array(field::dipole(truth.moment.to_array(), r)) * 1e9
            };
            let sigma_nt = [true_m, true_m + upper_m].map(|at_m| 0.016 + 0.005 * seen(at_m).length());
            let [lower, upper] = sigma_nt;
            Look {
                at_m: true_m + pose_sigma_m * Vec3::new(off_x, off_y, off_z),
                upper_m,
                fields_nt: [
                    seen(true_m) + lower * Vec3::new(a, b, c),
                    seen(true_m + upper_m) + upper * Vec3::new(d, e, f),
                ],
                sigma_nt,
                pose_sigma_m: Vec3::splat(pose_sigma_m),
                spread_m: Vec3::ZERO,
            }
        });
        let start = Dipole {
            at_m: truth.at_m + depth_m * Vec3::new(0.05, -0.06, 0.06),
            moment: 0.9 * truth.moment + Vec3::new(0.01, -0.01, 0.01),
        };
        Walk { looks: looks.collect(), start }
    })
}

/// Places known, and not.
fn any_walk() -> impl Strategy<Value = Walk> {
    prop_oneof![walk(0.0), walk(0.02), walk(0.1)]
}

fn direction() -> impl Strategy<Value = Vec3> {
    prop::array::uniform3(-1.0_f32..1.0)
        .prop_map(Vec3::from_array)
        .prop_filter_map("too short to be a direction", Vec3::try_normalize)
}

/// Covariance of place and of moment.
fn covariances(found: &Traversed) -> [Mat3; 2] {
    [0, 3].map(|first| {
        let column = |n: usize| {
            let row = found.covariance[first + n];
            Vec3::new(row[first], row[first + 1], row[first + 2])
        };
        Mat3::from_cols(column(0), column(1), column(2))
    })
}

/// By how many sigmas the results differ at worst, along any axis, and by which share the covariances do.
fn apart(found: &Traversed, expected: &Traversed) -> (f32, f32) {
    let [place, moment] = covariances(expected);
    let off = |difference: Vec3, covariance: Mat3| {
        difference.dot(covariance.inverse() * difference).max(0.0).sqrt()
    };
    let gain = (found.upper_gain - expected.upper_gain).abs() / expected.sigma(6);
    let sigmas = off(found.dipole.at_m - expected.dipole.at_m, place)
        .max(off(found.dipole.moment - expected.dipole.moment, moment))
        .max(gain);
    let shares = covariances(found).into_iter().zip([place, moment]).map(|(found, expected)| {
        let largest = |m: Mat3| m.to_cols_array().into_iter().fold(0.0_f32, |a, b| a.max(b.abs()));
        largest(found - expected) / largest(expected)
    });
    (sigmas, shares.fold(0.0, f32::max))
}

/// What was found, seen from axes turned or a unit changed: places through `by_m`, moments through `by_moment`.
fn seen_through(found: &Traversed, by_m: Mat3, by_moment: Mat3) -> Traversed {
    let [place, moment] = covariances(found);
    let mut seen = *found;
    seen.dipole = Dipole { at_m: by_m * found.dipole.at_m, moment: by_moment * found.dipole.moment };
    let blocks = [by_m * place * by_m.transpose(), by_moment * moment * by_moment.transpose()];
    for (first, block) in [0, 3].into_iter().zip(blocks) {
        for (n, row) in block.to_cols_array_2d().into_iter().enumerate() {
            seen.covariance[first + n][first..first + 3].copy_from_slice(&row);
        }
    }
    seen
}

macro_rules! prop_assert_same {
    ($found:expr, $expected:expr) => {
        let (sigmas, share) = apart(&$found, &$expected);
        prop_assert!(sigmas < TOLERANCE && share < 0.03, "{sigmas} sigmas apart, covariance by {share}");
    };
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn turning_the_axes_turns_what_is_found(walk in any_walk(), axis in direction(), angle in -3.1_f32..3.1) {
        let turn = Quat::from_axis_angle(axis, angle);
        let by = Mat3::from_quat(turn);
        prop_assert_same!(walk.turned(turn).fitted(), seen_through(&walk.fitted(), by, by));
    }

    #[test]
    fn moving_the_origin_moves_what_is_found(walk in any_walk(), by in prop::array::uniform3(-30.0_f32..30.0)) {
        let by_m = Vec3::from_array(by);
        let moved = walk.map(
            |look| Look { at_m: look.at_m + by_m, ..look },
            |start| Dipole { at_m: start.at_m + by_m, ..start },
        );
        let mut found = moved.fitted();
        found.dipole.at_m -= by_m;
        prop_assert_same!(found, walk.fitted());
    }

    #[test]
    fn another_unit_of_length_changes_nothing(walk in any_walk(), scale in 0.5_f32..2.0) {
        let cube = scale * scale * scale;
        let scaled = walk.map(
            |look| Look {
                at_m: look.at_m * scale,
                upper_m: look.upper_m * scale,
                pose_sigma_m: look.pose_sigma_m * scale,
                ..look
            },
            |start| Dipole { at_m: start.at_m * scale, moment: start.moment * cube },
        );
        let by = |factor: f32| Mat3::from_diagonal(Vec3::splat(factor));
        prop_assert_same!(scaled.fitted(), seen_through(&walk.fitted(), by(scale), by(cube)));
    }

    #[test]
    fn a_stronger_sonde_in_as_much_more_noise_is_found_alike(walk in any_walk(), scale in 0.2_f32..20.0) {
        let stronger = walk.map(
            |look| Look {
                fields_nt: look.fields_nt.map(|b_nt| b_nt * scale),
                sigma_nt: look.sigma_nt.map(|sigma_nt| sigma_nt * scale),
                ..look
            },
            |start| Dipole { moment: start.moment * scale, ..start },
        );
        let by = Mat3::from_diagonal(Vec3::splat(scale));
        prop_assert_same!(stronger.fitted(), seen_through(&walk.fitted(), Mat3::IDENTITY, by));
    }

    #[test]
    fn the_sign_of_any_look_means_nothing(walk in any_walk(), signs: u64) {
        let mut flipped = walk.clone();
        for (n, look) in flipped.looks.iter_mut().enumerate() {
            if signs >> n & 1 == 1 {
                look.fields_nt = look.fields_nt.map(|b_nt| -b_nt);
            }
        }
        prop_assert_same!(flipped.fitted(), walk.fitted());
    }

    #[test]
    fn the_sign_of_the_start_is_that_of_the_moment_found(walk in any_walk()) {
        let flipped = walk.map(|look| look, |start| Dipole { moment: -start.moment, ..start });
        let by = Mat3::from_diagonal(Vec3::NEG_ONE);
        prop_assert_same!(flipped.fitted(), seen_through(&walk.fitted(), Mat3::IDENTITY, by));
    }

    #[test]
    fn the_order_of_the_looks_means_nothing(
        (walk, shuffled) in any_walk().prop_flat_map(|walk| (Just(walk.clone()), shuffled(&walk))),
    ) {
        prop_assert_same!(shuffled.fitted(), walk.fitted());
    }
}
