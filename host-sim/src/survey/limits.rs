//! What this very walk would have noticed, everywhere in the box: the detection-limit map.

use glam::DVec2;
use rayon::prelude::*;
use serde::Serialize;

use super::DigBox;
use super::detect::Detector;
use super::walk::Walk;
use super::wire::Wire;

/// A line at the limit is noticed with this chance.
pub const CHANCE: f64 = 0.95;
/// Of the lines that are tried near the true one, the best is more surprising than it by so much on average: three numbers
/// are fitted, worth a half each (Wilks 1938), less what the steps of the grid lose.
const FITTED: f64 = 1.0;
/// Cells are so large at least, metres, and there are at most so many along a side.
const CELL_M: f64 = 0.25;
const MOST: f64 = 40.0;
/// A line may lie any way: it is tried so often in half a turn, every 15 degrees.
const LAYS: usize = 12;
/// Depths below the ground, metres, that the map is made for.
pub const DEPTHS_M: [f64; 6] = [0.5, 1.0, 1.5, 2.0, 3.0, 4.5];

/// The map.
#[derive(Debug, Clone, Serialize)]
pub struct Limits {
    /// Cells from west to east, and from south to north.
    pub columns: usize,
    /// The latter.
    pub rows: usize,
    /// Size of a cell, metres.
    pub cell_m: [f64; 2],
    /// Depths below the ground, metres.
    pub depths_m: Vec<f64>,
    /// For each depth, row by row from the south-west: the smallest peak current, milliamperes, with which a line under
    /// the cell's middle is noticed with 95 %, in its worst lay.
    pub least_ma: Vec<Vec<f64>>,
}

/// A patch of cells in which a line would not be noticed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Patch {
    /// Where in the box, in words.
    pub place: &'static str,
    /// Its extent, metres.
    pub west_m: f64,
    /// The same.
    pub south_m: f64,
    /// The same.
    pub width_m: f64,
    /// The same.
    pub height_m: f64,
    /// Its area, square metres.
    pub area_m2: f64,
}

/// Make the map for lines that go beyond `threshold`.
pub fn limits(walk: &Walk, detector: &Detector, threshold: f64, dig: &DigBox) -> Limits {
    let count = |length_m: f64| (length_m / CELL_M).round().clamp(1.0, MOST) as usize;
    let (columns, rows) = (count(dig.width_m), count(dig.height_m));
    let cell_m = [dig.width_m / columns as f64, dig.height_m / rows as f64];
    let middle = |n: usize| {
        let (column, row) = ((n % columns) as f64, (n / columns) as f64);
        dig.corner_m + DVec2::new((column + 0.5) * cell_m[0], (row + 0.5) * cell_m[1])
    };
    let at = |depth_m: f64| {
        (0..columns * rows)
            .into_par_iter()
            .map(|n| 1e3 * least_a(walk, detector, threshold, middle(n), depth_m))
            .collect()
    };
    Limits { columns, rows, cell_m, depths_m: DEPTHS_M.to_vec(), least_ma: DEPTHS_M.map(at).to_vec() }
}

/// The smallest current with which a line under a place is noticed in whatever lay.
pub fn least_a(walk: &Walk, detector: &Detector, threshold: f64, place_m: DVec2, depth_m: f64) -> f64 {
    let at_m = place_m.extend(walk.ground_m(place_m) - depth_m);
    let lays = (0..LAYS).map(|n| Wire { at_m, lay_rad: std::f64::consts::PI * n as f64 / LAYS as f64 });
    lays.map(|wire| least_of(detector, threshold, &wire)).fold(0.0, f64::max)
}

/// The smallest current with which this line is noticed.
pub fn least_of(detector: &Detector, threshold: f64, wire: &Wire) -> f64 {
    let powers = detector.powers(wire);
    powers.size_for(powers.sum_of(threshold - FITTED), CHANCE)
}

impl Limits {
    /// The map of currents for a depth, from those on either side of it.
    pub fn at_depth(&self, depth_m: f64) -> Vec<f64> {
        let above = self.depths_m.iter().position(|depth| *depth >= depth_m);
        let upper = above.unwrap_or(self.depths_m.len().saturating_sub(1)).max(1);
        let lower = upper - 1;
        let [(low, lows), (high, highs)] =
            [lower, upper].map(|n| (self.depths_m[n].ln(), &self.least_ma[n]));
        let share = ((depth_m.ln() - low) / (high - low)).clamp(0.0, 1.0);
        lows.iter().zip(highs).map(|(a, b)| a.powf(1.0 - share) * b.powf(share)).collect()
    }

    /// How deep a line of this current may lie and still be noticed, for each cell; 0 where not even at the least depth.
    pub fn depths_for(&self, current_ma: f64) -> Vec<f64> {
        (0..self.columns * self.rows)
            .map(|n| {
                let least = |k: usize| self.least_ma[k][n];
                let seen = (0..self.depths_m.len()).take_while(|&k| least(k) <= current_ma).count();
                let Some(last) = seen.checked_sub(1) else { return 0.0 };
                if seen == self.depths_m.len() {
                    return self.depths_m[last];
                }
                let share = (current_ma / least(last)).ln() / (least(seen) / least(last)).ln();
                let (a, b) = (self.depths_m[last], self.depths_m[seen]);
                a * (b / a).powf(share.clamp(0.0, 1.0))
            })
            .collect()
    }

    /// Patches in which a line of this current, so deep, would not be noticed in every lay; the largest first.
    pub fn unswept(&self, dig: &DigBox, current_ma: f64, depth_m: f64) -> Vec<Patch> {
        let bare: Vec<bool> = self.at_depth(depth_m).iter().map(|least| *least > current_ma).collect();
        let mut left = bare.clone();
        let mut patches = Vec::new();
        for first in 0..left.len() {
            if !left[first] {
                continue;
            }
            let (mut open, mut cells) = (vec![first], Vec::new());
            left[first] = false;
            while let Some(n) = open.pop() {
                cells.push(n);
                for next in self.neighbours(n) {
                    if std::mem::take(&mut left[next]) {
                        open.push(next);
                    }
                }
            }
            patches.push(self.patch(dig, &cells));
        }
        patches.sort_by(|a, b| b.area_m2.total_cmp(&a.area_m2));
        patches
    }

    fn neighbours(&self, n: usize) -> impl Iterator<Item = usize> + use<> {
        let (column, row, columns, rows) = (n % self.columns, n / self.columns, self.columns, self.rows);
        [
            (column > 0).then(|| n - 1),
            (column + 1 < columns).then(|| n + 1),
            (row > 0).then(|| n - columns),
            (row + 1 < rows).then(|| n + columns),
        ]
        .into_iter()
        .flatten()
    }

    fn patch(&self, dig: &DigBox, cells: &[usize]) -> Patch {
        let [wide, high] = self.cell_m;
        let columns = || cells.iter().map(|n| n % self.columns);
        let rows = || cells.iter().map(|n| n / self.columns);
        let (west, east) = (columns().min().unwrap_or(0), columns().max().unwrap_or(0) + 1);
        let (south, north) = (rows().min().unwrap_or(0), rows().max().unwrap_or(0) + 1);
        let middle = |sum: usize, of: usize| (sum as f64 / cells.len() as f64 + 0.5) / of as f64;
        let (x, y) = (middle(columns().sum(), self.columns), middle(rows().sum(), self.rows));
        let whole = cells.len() as f64 > 0.9 * (self.columns * self.rows) as f64;
        let spans = [(west, east, self.columns), (south, north, self.rows)];
        let spans = spans.map(|(from, to, of)| to - from > 2 * of / 3);
        Patch {
            place: if whole { "the whole box" } else { place(x, y, spans) },
            west_m: dig.corner_m.x + west as f64 * wide,
            south_m: dig.corner_m.y + south as f64 * high,
            width_m: (east - west) as f64 * wide,
            height_m: (north - south) as f64 * high,
            area_m2: cells.len() as f64 * wide * high,
        }
    }
}

/// A place in the box by its share from west and south, in words; a patch that spans most of a side is along an edge.
fn place(x: f64, y: f64, [wide, high]: [bool; 2]) -> &'static str {
    let third = |share: f64| ((3.0 * share) as usize).min(2);
    let (column, row) = (if wide { 1 } else { third(x) }, if high { 1 } else { third(y) });
    match (column, row) {
        (0, 0) => "the south-west corner",
        (1, 0) => "the south edge",
        (2, 0) => "the south-east corner",
        (0, 1) => "the west edge",
        (1, 1) if wide && high => "much of the box",
        (1, 1) => "the middle",
        (2, 1) => "the east edge",
        (0, _) => "the north-west corner",
        (1, _) => "the north edge",
        _ => "the north-east corner",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(bare: impl Fn(usize, usize) -> bool) -> Limits {
        let cells = (0..64).map(|n| if bare(n % 8, n / 8) { 500.0 } else { 2.0 });
        let shallow: Vec<f64> = cells.collect();
        let deep = shallow.iter().map(|least| 4.0 * least).collect();
        Limits {
            columns: 8,
            rows: 8,
            cell_m: [0.5, 0.25],
            depths_m: vec![1.0, 2.0],
            least_ma: vec![shallow, deep],
        }
    }

    const DIG: DigBox = DigBox { corner_m: DVec2::new(10.0, 20.0), width_m: 4.0, height_m: 2.0 };

    #[test]
    fn unswept_patches_have_names() {
        let corner = limits(|x, y| x >= 6 && y >= 5);
        let patches = corner.unswept(&DIG, 10.0, 1.0);
        assert_eq!(patches.len(), 1);
        let patch = &patches[0];
        assert_eq!((patch.place, patch.west_m, patch.south_m), ("the north-east corner", 13.0, 21.25));
        assert_eq!((patch.width_m, patch.height_m, patch.area_m2), (1.0, 0.75, 0.75));
        assert_eq!(limits(|_, y| y == 0).unswept(&DIG, 10.0, 1.0)[0].place, "the south edge");
        assert_eq!(limits(|x, _| x == 7).unswept(&DIG, 10.0, 1.0)[0].place, "the east edge");
        assert_eq!(limits(|_, _| true).unswept(&DIG, 10.0, 1.0)[0].place, "the whole box");
        // Corners that only touch are two patches, the larger first.
        let two = limits(|x, y| (x < 2 && y < 2) || (x > 4 && y > 4)).unswept(&DIG, 10.0, 1.0);
        assert_eq!(
            two.iter().map(|p| p.place).collect::<Vec<_>>(),
            ["the north-east corner", "the south-west corner"]
        );
    }

    #[test]
    fn between_depths_limits_go_with_a_power() {
        let limits = limits(|x, _| x == 0);
        let half = limits.at_depth(2_f64.sqrt());
        assert!((half[1] - 4.0).abs() < 1e-9 && (half[0] - 1000.0).abs() < 1e-6);
        let depths = limits.depths_for(4.0);
        assert!(depths[0] == 0.0 && (depths[1] - 2_f64.sqrt()).abs() < 1e-9);
        assert_eq!(limits.depths_for(9.0)[1], 2.0);
    }
}
