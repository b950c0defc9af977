//! Depth by the field at two heights, over a sonde of any pitch, for a mast that does not quite stand above it.

use glam::Vec3;
use nullwalk_core::array::NodeField;
use nullwalk_core::depth::{Depth, Measured, Standing, ratio};
use nullwalk_core::field;
use proptest::prelude::*;

const SPACING_M: f32 = 0.4;

/// Read over a sonde that lies along x, by a mast so far along its lay.
fn reading(depth_m: f32, pitch: f32, along_m: f32, standing: Standing) -> Depth {
    let node = |up_m: f32| {
        let field_t =
            Vec3::from_array(field::dipole([0.2, 0.0, 0.2 * pitch], [along_m, 0.0, depth_m + up_m]));
        NodeField { field_t, sigma_t: 1e-7 * field_t.length() }
    };
    ratio(node(0.0), node(SPACING_M), SPACING_M, 0.0, standing).unwrap()
}

fn at(along_m: f32, pitch: f32) -> Standing {
    let exact = |value: f32| Measured::new(value, 0.0);
    Standing { along_m: exact(along_m), pitch: exact(pitch), ..Standing::default() }
}

proptest! {
    /// What is left is of second order in the miss: it goes with the square of it, and is a tenth of it at most.
    #[test]
    fn a_mast_along_the_lay_of_a_pitched_sonde_reads_the_depth(
        depth_m in 0.5_f32..5.0, pitch in -0.58_f32..0.58, share in -0.1_f32..0.1,
    ) {
        let along_m = share * depth_m;
        let found = reading(depth_m, pitch, along_m, at(along_m, pitch));
        prop_assert!(
            (found.depth_m / depth_m - 1.0).abs() < 1.5 * share * share + 2e-5,
            "{found:?} for {depth_m}, uncorrected {:?}", reading(depth_m, pitch, along_m, Standing::default())
        );
    }

    /// One sigma of the place, or of the pitch, is one sigma of the depth.
    #[test]
    fn what_is_not_known_of_place_and_pitch_is_told(
        depth_m in 0.5_f32..5.0, pitch in -0.4_f32..0.4, share in -0.05_f32..0.05,
    ) {
        let (along_m, sigma_m, pitch_sigma) = (share * depth_m, 0.003 * depth_m, 0.01);
        let told = Standing {
            along_m: Measured::new(along_m, sigma_m),
            pitch: Measured::new(pitch, pitch_sigma),
            ..Standing::default()
        };
        let found = reading(depth_m, pitch, along_m, told);
        let moved = |along_m: f32, pitch: f32| reading(depth_m, 0.0, 0.0, at(along_m, pitch)).depth_m;
        let by_place = 0.5 * (moved(along_m + sigma_m, pitch) - moved(along_m - sigma_m, pitch));
        let by_pitch = 0.5 * (moved(along_m, pitch + pitch_sigma) - moved(along_m, pitch - pitch_sigma));
        let expected = by_place.hypot(by_pitch).hypot(sigma_m * pitch_sigma);
        prop_assert!(
            (found.sigma_m - expected).abs() < 0.05 * expected + 2e-5 * depth_m, "{found:?} {expected}"
        );
    }
}
