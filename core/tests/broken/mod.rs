//! Lines that are not straight and endless.

use nullwalk_core::field::{grounded, segment};

/// Field of a line along x, 10 mA peak, that is an `end`, an `elbow` or else a tee `away_m` along it; nanotesla.
pub fn field_nt(kind: &str, away_m: f64, depth_m: f64, at: [f64; 3]) -> [f64; 3] {
    const FAR_M: f64 = 2000.0;
    let from = |x: f64, y: f64| [at[0] - x, at[1] - y, at[2] + depth_m];
    let (back, here, on) = (from(-FAR_M, 0.0), from(away_m, 0.0), from(FAR_M, 0.0));
    let aside = from(away_m, FAR_M);
    let pieces = match kind {
        "end" => [grounded(0.01, back, here), [0.0; 3], [0.0; 3]],
        "elbow" => [segment(0.01, back, here), segment(0.01, here, aside), [0.0; 3]],
        _ => [segment(0.01, back, here), segment(0.007, here, on), segment(0.003, here, aside)],
    };
    [0, 1, 2].map(|n| 1e9 * pieces.iter().map(|b| b[n]).sum::<f64>())
}
