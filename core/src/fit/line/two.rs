//! Two long parallel lines on one tone, each with a current of its own size and phase, fitted to a whole walk.

use glam::Vec3;

use super::poles::{Pole, poles};
use super::wire::{Axes, Wire};
use super::{Line, Traced, gain_belief, start, told};
use crate::chi_square::{Level, upper_point};
use crate::fit::ring::{Look, Mergeable, Ring};
use crate::fit::traverse::{Shared, Undetermined};
use crate::fit::walk::{Search, Seen, Source, Walk};
use crate::math;

/// Unknowns of two lines: to the left and up of the first, to the left and up of the second, lay, slope, current of the
/// first, current of the second in step with it and a quarter of a turn ahead, gain of the upper node.
pub const TWO_UNKNOWNS: usize = 10;
/// Chi-square of one look, twelve numbers less its phase, above which it weighs less: exceeded once in a thousand times.
const OUTLYING: f32 = Level::OnePerMille.tabled()[11 - 1];
/// Where the second line is tried, in depths of the one that explains the walk alone, and for so many steps.
const TRIED: [f32; 8] = [-3.0, -2.0, -1.0, -0.5, 0.5, 1.0, 2.0, 3.0];
const TRIAL_ROUNDS: u32 = 6;
const ROUNDS: u32 = 30;
/// and so many more where that is not enough to come to rest.
const MORE_ROUNDS: u32 = 50;
/// So many are followed to the end, the best first; and the others while noise does not explain what is left over.
const FOLLOWED: usize = 3;
/// Those and the poles.
const STARTS: usize = TRIED.len() + 1;
/// What the second is first taken to carry where it is tried the other way round.
const REVERSED: f32 = 0.4;
/// Looks with more than this share of the strongest field are the first line's,
const STRONG: f32 = 0.4;
/// where they are nearer to the strongest than so many depths of a line beneath it.
const NEAR: f32 = 1.5;
/// Where the first goes while the second is tried: so much of the way from it.
const APART: f32 = 0.2;

/// A look with what is in quadrature to its fields: the field's phasors, turned together by any angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhasorLook {
    /// The fields in phase, and everything else.
    pub look: Look,
    /// Field in quadrature at the lower and the upper node, site frame, nanotesla. The same noise.
    pub quadrature_nt: [Vec3; 2],
}

impl Mergeable for PhasorLook {
    fn look(&self) -> &Look {
        &self.look
    }

    fn merged(&self, other: &Self) -> Self {
        // Neighbours' phases may differ, for each has its own: the other is turned to come nearest.
        let ([lower, upper], [other_lower, other_upper]) = (self.quadrature_nt, other.quadrature_nt);
        let ([a, b], [c, d]) = (self.look.fields_nt, other.look.fields_nt);
        let real = a.dot(c) + b.dot(d) + lower.dot(other_lower) + upper.dot(other_upper);
        let imaginary = a.dot(other_lower) + b.dot(other_upper) - lower.dot(c) - upper.dot(d);
        let size = math::recip_sqrt(real * real + imaginary * imaginary + f32::MIN_POSITIVE);
        let (cos, sin) = (real * size, imaginary * size);
        let turned =
            Look { fields_nt: [c * cos + other_lower * sin, d * cos + other_upper * sin], ..other.look };
        let quadrature = [other_lower * cos - c * sin, other_upper * cos - d * sin];
        // What is in quadrature is mixed as the fields are: with the same shares.
        let as_look = |look: &Look, fields_nt| Look { fields_nt, ..*look };
        let mixed = as_look(&self.look, self.quadrature_nt).merged(&as_look(&turned, quadrature));
        Self { look: self.look.merged(&turned), quadrature_nt: mixed.fields_nt }
    }
}

/// Two parallel lines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Two {
    /// The one that carries more.
    pub first: Line,
    /// The other; its `current_a` is the size of its current.
    pub second: Line,
    /// By how much the second's current is ahead of the first's, radians, between minus and plus pi.
    pub phase_rad: f32,
}

/// Fit two long parallel lines to a walk.
///
/// Each look's phase is an unknown of its own, for the transmitter's is not known; what tells the lines apart is shape,
/// and where their currents are out of step, the ellipse that the field makes. The search begins at nine places: eight
/// with the second line beside the one that the strongest fields speak for, and one where a rational function through
/// the fields has its poles. The best three are followed to the end, and the others while noise does not explain what is
/// left over: some 130 linearisations, 750 at most, of some 0.6 million operations each for a full walk, so it is for
/// the desk or for standing still.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::fit::{Look, Ring, Shared, line::{self, Line, PhasorLook}};
/// let first = Line { at_m: Vec3::new(0.0, 0.1, -1.0), along: Vec3::X, current_a: 0.01, returned_per_m: 0.0 };
/// // A metre and a half beside it, deeper, with 40 % of its current and a quarter of a turn behind.
/// let second = Line { at_m: Vec3::new(0.0, 1.6, -1.3), along: Vec3::X, current_a: -0.004, returned_per_m: 0.0 };
/// let upper_m = Vec3::new(0.0, 0.0, 0.4);
/// let mut walk = Ring::<128, PhasorLook>::default();
/// for (x, n) in [-0.5, 0.0, 0.5].into_iter().flat_map(|x| (0..40).map(move |n| (x, n))) {
///     let at_m = Vec3::new(x, 0.15 * n as f32 - 3.0, 0.0);
///     let nodes_m = [at_m, at_m + upper_m];
///     let fields_nt = nodes_m.map(|at_m| first.field_nt(at_m));
///     let quadrature_nt = nodes_m.map(|at_m| second.field_nt(at_m));
///     let (sigma_nt, pose_sigma_m) = ([0.01; 2], Vec3::ZERO);
///     let look = Look { at_m, upper_m, fields_nt, sigma_nt, pose_sigma_m, spread_m: Vec3::ZERO };
///     walk.push(PhasorLook { look, quadrature_nt });
/// }
/// let found = line::traverse_two(&walk, &Shared { node_ratio: 0.01, ..Shared::default() }).unwrap();
/// assert!((found.source.first.at_m.z + 1.0).abs() < 0.01 && (found.source.second.at_m.z + 1.3).abs() < 0.02);
/// assert!((found.source.phase_rad.abs() - core::f32::consts::FRAC_PI_2).abs() < 0.01);
/// ```
///
/// # Errors
/// What the walk does not determine; [`Undetermined::TooFew`] where not even one line explains some of it.
pub fn traverse_two<const N: usize>(
    walk: &Ring<N, PhasorLook>,
    shared: &Shared,
) -> Result<Traced<Two, TWO_UNKNOWNS>, Undetermined> {
    let looks = walk.looks();
    let in_phase = || looks.iter().map(|sight| &sight.look);
    let one = start::of(near_strongest(in_phase())).or_else(|| start::of(in_phase()));
    let one = one.ok_or(Undetermined::TooFew)?;
    let axes = Axes::of(one.along);
    let poles = poles(in_phase(), &axes, one.at_m).map(|poles| Both::at(&one, &poles, shared.node_ratio));
    let beside = TRIED.iter().map(|aside| Both::beside(&one, *aside, shared.node_ratio));
    let mut shifts_m = [Vec3::ZERO; N];
    // While the second line is looked for, what it does must not pass for looks gone astray.
    let parts_nt = |sight: &PhasorLook| [sight.look.fields_nt, sight.quadrature_nt];
    let mut walk = Walk { looks, parts_nt, shared, outlying: f32::INFINITY, shifts_m: &mut shifts_m };
    let mut best: [Option<Search<Both, TWO_UNKNOWNS>>; STARTS] = [const { None }; STARTS];
    for start in beside.chain(poles) {
        walk.shifts_m.fill(Vec3::ZERO);
        let mut search = Search::new::<_, 2, 4, 16>(start, &mut walk);
        search.go_on::<_, 2, 4, 16>(&mut walk, TRIAL_ROUNDS);
        // The better take the places of the worse, which move on.
        let mut moving = Some(search);
        for place in &mut best {
            let cost = |search: &Option<Search<Both, TWO_UNKNOWNS>>| {
                search.as_ref().map_or(f32::INFINITY, |search| search.sums.cost)
            };
            if cost(&moving) < cost(place) {
                core::mem::swap(place, &mut moving);
            }
        }
    }
    walk.outlying = OUTLYING;
    let mut found: Option<Search<Both, TWO_UNKNOWNS>> = None;
    let noise = upper_point((11 * looks.len()).saturating_sub(TWO_UNKNOWNS), Level::OnePerMille);
    let is_explained = |found: &Search<Both, TWO_UNKNOWNS>| found.settled && found.sums.cost < noise;
    for (n, tried) in best.into_iter().flatten().enumerate() {
        if n >= FOLLOWED && found.as_ref().is_some_and(is_explained) {
            break;
        }
        follow(tried.source, &mut walk, &mut found);
    }
    let mut found = found.ok_or(Undetermined::Unsettled)?;
    // Each look's phase is free, so a second current the wrong way round is nearly as good: only between the lines it shows.
    if !is_explained(&found) {
        let source = found.source;
        let [re, im] = source.second_a;
        let mut turned = Some(found);
        for second_a in [[-re, -im], [re, -im], [-re, im]] {
            follow(Both { second_a, ..source }, &mut walk, &mut turned);
        }
        for aside in TRIED {
            if turned.as_ref().is_some_and(is_explained) {
                break;
            }
            let beside = Both::beside(&one, aside, shared.node_ratio);
            let second_a = [-REVERSED * beside.current_a, 0.0];
            follow(Both { second_a, ..beside }, &mut walk, &mut turned);
        }
        found = turned.ok_or(Undetermined::Unsettled)?;
    }
    if !found.settled {
        walk.shifts_m.fill(Vec3::ZERO);
        found = Search::new::<_, 2, 4, 16>(found.source, &mut walk);
        found.go_on::<_, 2, 4, 16>(&mut walk, MORE_ROUNDS);
    }
    if found.source.is_turned() {
        found = Search::new::<_, 2, 4, 16>(found.source.exchanged(), &mut walk);
        found.go_on::<_, 2, 4, 16>(&mut walk, ROUNDS);
    }
    let Both { upper_gain, .. } = found.source;
    // Twelve numbers a look, less its phase.
    told::<_, TWO_UNKNOWNS, 2>(&found, 12 * looks.len(), 1).map(|mut numbers| {
        numbers.freedom = numbers.freedom.saturating_sub(looks.len() as u32);
        numbers.of(found.source.lines(), upper_gain)
    })
}

/// Follow a start for a while, and keep what it leads to where that is better.
fn follow(start: Both, walk: &mut Walk<'_, PhasorLook, 2>, found: &mut Option<Search<Both, TWO_UNKNOWNS>>) {
    walk.shifts_m.fill(Vec3::ZERO);
    let mut search = Search::new::<_, 2, 4, 16>(start, walk);
    search.go_on::<_, 2, 4, 16>(walk, ROUNDS);
    if found.as_ref().is_none_or(|best| search.sums.cost < best.sums.cost) {
        *found = Some(search);
    }
}

/// The looks about the strongest: on long lanes a second line has looks of its own, which are not the first's.
fn near_strongest<'a>(
    looks: impl Iterator<Item = &'a Look> + Clone,
) -> impl Iterator<Item = &'a Look> + Clone {
    let strength = |look: &Look| {
        let [lower, _] = look.fields_nt;
        lower.length_squared()
    };
    let strongest = start::strongest(looks.clone());
    let (middle_m, most) = strongest.map_or((Vec3::ZERO, 0.0), |look| (look.at_m, strength(look)));
    let reach_m = strongest.map_or(0.0, |look| NEAR * start::depth_below(look, 1.0));
    looks.filter(move |look| {
        strength(look) > STRONG * STRONG * most && look.at_m.distance(middle_m) < reach_m
    })
}

/// What of a walk's fields no one phase at each place explains: weighted sum of squares, and its degrees of freedom.
///
/// Of one source, or of several in step, noise alone is left: beyond [`crate::chi_square::upper_point`] there is another
/// current out of step, in a second line or in the ground. `relative` is the share of every field that it may err by.
/// `(sum |z|^2 - |sum z^2|) / 2` is what is left when each look is turned to have least in quadrature.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::fit::{Look, Ring, line::{PhasorLook, quadrature}};
/// let (sigma_nt, pose_sigma_m, upper_m) = ([0.1; 2], Vec3::ZERO, Vec3::Z * 0.4);
/// let fields_nt = [Vec3::X, Vec3::X];
/// let look = Look { at_m: Vec3::ZERO, upper_m, fields_nt, sigma_nt, pose_sigma_m, spread_m: Vec3::ZERO };
/// let mut walk = Ring::<8, PhasorLook>::default();
/// // What is along the field in quadrature turns with the phase; what is aside does not.
/// walk.push(PhasorLook { look, quadrature_nt: [Vec3::X, Vec3::X] });
/// assert!(quadrature(&walk, 0.0).0 < 1e-3);
/// walk.push(PhasorLook { look, quadrature_nt: [Vec3::Y, Vec3::Y] });
/// assert!(quadrature(&walk, 0.0).0 > 100.0 && quadrature(&walk, 0.0).1 == 10);
/// ```
pub fn quadrature<const N: usize>(walk: &Ring<N, PhasorLook>, relative: f32) -> (f32, u32) {
    let left = walk.looks().iter().map(|sight| {
        let nodes = sight.look.fields_nt.iter().zip(&sight.quadrature_nt).zip(sight.look.sigma_nt);
        let (mut whole, mut in_step, mut turned) = (0.0, 0.0, 0.0);
        for ((re, im), sigma_nt) in nodes {
            let (re2, im2) = (re.length_squared(), im.length_squared());
            let weight =
                1.0 / (sigma_nt * sigma_nt + relative * relative * (re2 + im2) + f32::MIN_POSITIVE);
            whole += weight * (re2 + im2);
            in_step += weight * (re2 - im2);
            turned += weight * 2.0 * re.dot(*im);
        }
        0.5 * (whole - math::sqrt(in_step * in_step + turned * turned))
    });
    (left.sum(), 5 * walk.looks().len() as u32)
}

/// Two lines as the fit moves them.
#[derive(Clone, Copy)]
struct Both {
    first_m: Vec3,
    second_m: Vec3,
    along: Vec3,
    current_a: f32,
    /// Of the second: in step with the first, and ahead by a quarter of a turn.
    second_a: [f32; 2],
    upper_gain: f32,
    ratio_sigma: f32,
}

impl Both {
    /// Beside a line that explains the walk more or less, with no current yet.
    fn beside(line: &Line, aside: f32, ratio_sigma: f32) -> Self {
        let axes = Axes::of(line.along);
        let away_m = axes.left * (aside * -line.at_m.z.min(-0.3));
        Self {
            first_m: line.at_m - away_m * APART,
            second_m: line.at_m + away_m,
            along: line.along,
            current_a: line.current_a,
            second_a: [0.0; 2],
            upper_gain: 0.0,
            ratio_sigma,
        }
    }

    /// Where a closed form has both.
    fn at(line: &Line, [first, second]: &[Pole; 2], ratio_sigma: f32) -> Self {
        let axes = Axes::of(line.along);
        let place_m = |pole: &Pole| line.at_m + axes.left * pole.left_up_m.x + axes.up * pole.left_up_m.y;
        Self {
            first_m: place_m(first),
            second_m: place_m(second),
            along: line.along,
            current_a: first.current_a,
            second_a: [second.current_a, 0.0],
            upper_gain: 0.0,
            ratio_sigma,
        }
    }

    fn second_size_a(&self) -> f32 {
        let [re, im] = self.second_a;
        math::sqrt(re * re + im * im)
    }

    /// Whether the second carries more.
    fn is_turned(&self) -> bool {
        self.second_size_a() > self.current_a.abs()
    }

    /// The same two the other way round: phases count from the other one.
    fn exchanged(&self) -> Self {
        let ([re, im], size_a) = (self.second_a, self.second_size_a());
        let back = self.current_a / size_a;
        Self {
            first_m: self.second_m,
            second_m: self.first_m,
            current_a: size_a,
            second_a: [re * back, -im * back],
            ..*self
        }
    }

    fn lines(&self) -> Two {
        let [re, im] = self.second_a;
        let sign = if self.current_a < 0.0 { -1.0 } else { 1.0 };
        let line = |at_m, current_a| Line { at_m, along: self.along, current_a, returned_per_m: 0.0 };
        Two {
            first: line(self.first_m, self.current_a.abs()),
            second: line(self.second_m, self.second_size_a()),
            phase_rad: math::atan2(im * sign, re * sign),
        }
    }
}

impl Source<TWO_UNKNOWNS, 2> for Both {
    fn seen(&self, at_m: Vec3) -> Seen<TWO_UNKNOWNS, 2> {
        let axes = Axes::of(self.along);
        let one = Wire::seen(&axes, self.first_m, at_m);
        let other = Wire::seen(&axes, self.second_m, at_m);
        let (own, others) = (one.by_own(&axes), other.by_own(&axes));
        let (a, none) = (self.current_a, Vec3::ZERO);
        let [re, im] = self.second_a;
        let [left, up, lay, slope] = own.map(|by| by * a);
        let [left_re, up_re, lay_re, slope_re] = others.map(|by| by * re);
        let [left_im, up_im, lay_im, slope_im] = others.map(|by| by * im);
        let field = other.field_nt;
        Seen {
            field_nt: [one.field_nt * a + field * re, field * im],
            by_place: [one.by_place * a + other.by_place * re, other.by_place * im],
            by: [
                [left, up, left_re, up_re, lay + lay_re, slope + slope_re, one.field_nt, field, none, none],
                [none, none, left_im, up_im, lay_im, slope_im, none, none, field, none],
            ],
        }
    }

    fn field_nt(&self, at_m: Vec3) -> [Vec3; 2] {
        let axes = Axes::of(self.along);
        let one = Wire::field_nt(&axes, self.first_m, at_m);
        let other = Wire::field_nt(&axes, self.second_m, at_m);
        let [re, im] = self.second_a;
        [one * self.current_a + other * re, other * im]
    }

    fn upper_gain(&self) -> f32 {
        self.upper_gain
    }

    fn beliefs(&self) -> [(f32, f32); TWO_UNKNOWNS] {
        let none = (0.0, 0.0);
        let gain = gain_belief(self.upper_gain, self.ratio_sigma);
        [none, none, none, none, none, none, none, none, none, gain]
    }

    fn stepped(&self, step: &[f32; TWO_UNKNOWNS]) -> Self {
        let [left, up, second_left, second_up, lay, slope, current, re, im, gain] = *step;
        let axes = Axes::of(self.along);
        let [second_re, second_im] = self.second_a;
        Self {
            first_m: self.first_m + axes.left * left + Vec3::Z * up,
            second_m: self.second_m + axes.left * second_left + Vec3::Z * second_up,
            along: axes.turned(lay, slope),
            current_a: self.current_a + current,
            second_a: [second_re + re, second_im + im],
            upper_gain: self.upper_gain + gain,
            ..*self
        }
    }

    fn distance_m(&self, at_m: Vec3) -> f32 {
        let to = |wire_m: Vec3| (at_m - wire_m).cross(self.along).length();
        to(self.first_m).min(to(self.second_m))
    }

    fn is_sound(&self) -> bool {
        self.first_m.is_finite() && self.second_m.is_finite() && self.current_a.is_finite()
    }
}
