//! From a walk to a fix: one line fitted, every other method asked, and whatever would make that line a wrong answer looked
//! for.

use core::f32::consts::{FRAC_PI_2, FRAC_PI_3};

use glam::Vec3;

use super::crossing::{Crossing, crossings};
use super::ellipse::{OutOfStep, out_of_step};
use super::fix::{Beside, LineDepths, TraceFix, TwoLines};
use super::{LOOKS, TraceState, Tracer};
use crate::array::NodeField;
use crate::chi_square::{Level, upper_point};
use crate::depth::line::{self as closed, Crossing as Straight};
use crate::depth::{Depth, Measured, Unusable, valid};
use crate::fit::line::{
    self, Kind, Line, Models, PhasorLook, SCALE_NT, TWO_UNKNOWNS, Traced, Two, UNKNOWNS, traverse_two,
};
use crate::fit::{Mergeable, Ring, Shared, Undetermined};
use crate::math;
use crate::verdict::{Evidence, Judgement, Place, Reason, Reasons};

/// A walk in which no field stands out by so many sigmas tells nothing.
const HEARD: f32 = 6.0;
/// More clipped looks than one in so many: what is strongest is missing.
const CLIPPED: u32 = 20;
/// Of the looks, more than this share not explained.
const OUTLYING_SHARE: f32 = 0.1;
/// Sigmas beyond which something that should be nothing is something: one in a thousand by chance.
const BEYOND: f32 = 3.29;
/// Sigmas beyond which it likely is, where another sign says so too: one in forty by chance.
const LIKELY: f32 = 2.0;
/// Peak and null may be apart by this share of the depth.
const APART_SHARE: f32 = 0.02;
/// A neighbour too weak to be noticed does so much to each method, as a share of the depth.
const UNNOTICED: f32 = 0.01;
/// A current that changes by this share over a depth is that of no line below.
const FALLEN: f32 = 0.3;
/// A line that leaves over so many times what another kind of source does is none.
const MUCH_WORSE: f32 = 2.0;
/// Methods that differ by this share of the depth are far apart.
const FAR_SHARE: f32 = 0.08;
/// Soil counts when it makes more than this share of the variance, and the sigma more than this share of the depth.
const SOIL_SHARE: f32 = 0.5;
const SOIL_SIGMA: f32 = 0.03;
/// By so much a neighbour in step can make a depth read too deep where the field is seen to be bent (of 3000 sites of two lines
/// the bound held 98.9 % with 1.4).
const OVER_READ: f32 = 1.6;
/// So much of the field at 1 m that is a level field out of step the other way round is not worth a word.
const SLIGHT: f32 = 0.002;
/// So much of it in step comes from the bends and ends of lines ten depths away and further, and the fit takes it for soil.
const FAR_AWAY: f32 = 0.01;
/// Lanes nearer together than this share of the depth tell nothing of what changes along the line.
const LANES_APART_M: f32 = 0.2;

/// The walk's fit.
type OneLine = Traced<Line, UNKNOWNS>;

impl Tracer {
    /// What the walk so far amounts to.
    ///
    /// For the desk, or while standing still: it fits a line, a sonde, a pair and a line that changes, some 20 million
    /// instructions on a Cortex-M4F for a full walk; and two lines where one does not explain it, ten times that and more.
    pub fn judge(&self, state: &TraceState) -> TraceFix {
        self.judged(state, true)
    }

    /// [`Self::judge`] without two lines being tried: as sure to doubt, but it does not say which neighbour it is.
    pub fn glance(&self, state: &TraceState) -> TraceFix {
        self.judged(state, false)
    }

    fn judged(&self, state: &TraceState, separate: bool) -> TraceFix {
        let walk = &state.walk;
        let mut fix = TraceFix {
            at: state.at,
            place: None,
            lay_rad: None,
            slope_rad: None,
            depths: [Err(Unusable::NotMeasured); 6],
            current_a: None,
            phase_rad: phase(state),
            line: None,
            change: None,
            out_of_step: None,
            kind: None,
            crossings: heapless::Vec::new(),
            two: None,
            judgement: Judgement::refused(Reasons::default()),
        };
        let mut reasons = Reasons::default();
        reasons.add_if(state.saturated.saturating_mul(CLIPPED) > state.pushed, Reason::Saturated);
        if !is_heard(walk) {
            reasons.add(if walk.looks().is_empty() {
                Reason::WalkUndetermined(Undetermined::TooFew)
            } else {
                Reason::TooNoisy
            });
            fix.judgement = Judgement::refused(reasons);
            return fix;
        }
        let shared = self.shared(state);
        let models = Models::of(walk, &shared, self.returned_per_m);
        fix.kind = models.choice();
        reasons.add_if(is_no_line(&models), Reason::NotALine);
        let other = fix.kind.is_some_and(|choice| choice.kind != Kind::Line);
        reasons.add_if(other, Reason::NotOneLine);
        let Some(found) = models.line else {
            // Which of the two it was, is not kept; that there is none, is what matters.
            reasons.add(Reason::NotALine);
            fix.two = separate.then(|| self.two(walk, &shared, None)).flatten();
            fix.judgement = Judgement::refused(reasons);
            return fix;
        };
        self.fill(&mut fix, state, &shared, &found, reasons, separate);
        fix
    }

    /// All that follows from a line.
    fn fill(
        &self,
        fix: &mut TraceFix,
        state: &TraceState,
        shared: &Shared,
        found: &OneLine,
        mut reasons: Reasons,
        separate: bool,
    ) {
        let (walk, line) = (&state.walk, found.source);
        let (crossed, _) = crossings(walk.looks(), &line, shared, line.returned_per_m);
        let here_m = middle(&crossed).or_else(|| strongest_m(walk)).unwrap_or_default();
        let here_m = over(&line, here_m);
        fix.line = Some(line);
        // Positions that wander take the mark with them.
        let sigma_m = Vec3::new(found.left_of_m(here_m).sigma, state.wander_m, 0.0).length();
        fix.place = Some(Place { east_m: here_m.x, north_m: here_m.y, sigma_m });
        let lay = found.lay_rad();
        fix.lay_rad = Some(Measured::new(math::wrap_half_pi(FRAC_PI_2 - lay.value), lay.sigma));
        let steepness = math::atan2(line.along.z, line.along.truncate().length());
        fix.slope_rad = Some(Measured::new(steepness, found.sigma(3)));
        fix.current_a = Some(found.current_a());

        reasons.add_if(crossed.is_empty(), Reason::BesideWalk);
        let on_m = |crossing: &Crossing| line.along.dot(crossing.at_m);
        let (least, most) = crossed
            .iter()
            .map(on_m)
            .fold((f32::INFINITY, f32::NEG_INFINITY), |(least, most), on| (least.min(on), most.max(on)));
        reasons.add_if(!crossed.is_empty() && most - least < LANES_APART_M, Reason::OneLane);

        let stated = self.below_ground(found.depth_in_soil_m(here_m));
        fix.depths = self.depths(state, found, shared, &crossed, here_m);
        reasons.add_if(disagree(&fix.depths), Reason::MethodsDisagree);
        reasons
            .add_if(marks_apart(&crossed, stated.value + self.settings.node_height_m), Reason::MarksApart);
        let beyond =
            |chi_square: f32, freedom: u32| chi_square > upper_point(freedom as usize, Level::OnePerMille);
        let unexplained = beyond(found.chi_square, found.freedom) || found.outlying_share > OUTLYING_SHARE;
        reasons.add_if(unexplained, Reason::NotOneLine);
        fix.out_of_step = out_of_step(walk.looks(), &line, shared.field);
        if let Some(out) = &fix.out_of_step {
            let strange = beyond(out.chi_square, out.freedom) || !self.is_of_soil(out);
            reasons.add_if(strange, Reason::Elliptical);
            let returned = Measured::new(line.returned_per_m, found.sigma(5));
            reasons.add_if(!is_one_soil(returned, out.level_per_m), Reason::NotOneLine);
            let lacking = lacks_level(returned, out.level_per_m) && far_apart(&fix.depths);
            reasons.add_if(lacking, Reason::PastEnd);
        }
        fix.change = line::change(walk, found, shared, self.returned_per_m);
        if let Some(change) = &fix.change {
            let (fading, turning) = (change.fading_per_m, change.turning_rad_per_m);
            let fades = is_something(fading);
            let fallen = fading.value.abs() * stated.value > FALLEN;
            reasons.add_if(fades && fallen, Reason::PastEnd);
            reasons.add_if(fades, Reason::LineEnds);
            reasons.add_if(is_something(turning), Reason::LineBends);
            let broad = change.breadth_chi_square > upper_point(2, Level::OnePerMille);
            reasons.add_if(broad, Reason::NotOneLine);
        }
        reasons.add_if(self.is_soil(found, stated), Reason::SoilUnknown);
        if separate && reasons.as_slice().iter().any(|reason| reason.bends()) {
            fix.two = self.two(walk, shared, Some(here_m));
            if let Some(two) = fix.two.filter(|two| two.explains && is_something(two.second.current_a)) {
                reasons.add(two.reason());
            }
        }
        fix.crossings = crossed;
        fix.judgement = judged(stated, &fix.depths, fix.two.as_ref(), reasons);
    }

    /// Whether soil of the class may make what is out of step: no less than none, and no more than the best conductor of
    /// it, with half as much again for what is of higher order.
    fn is_of_soil(&self, out: &OutOfStep) -> bool {
        let most = self.most_returned_per_m;
        let Measured { value, sigma } = out.level_per_m;
        let growing = out.growing_per_m2;
        let level = -0.5 * most.min(SLIGHT) - BEYOND * sigma < value && value < 1.5 * most + BEYOND * sigma;
        level && growing.value.abs() < 3.0 * most * most + BEYOND * growing.sigma
    }

    fn below_ground(&self, below_node: Measured) -> Measured {
        Measured::new(below_node.value - self.settings.node_height_m, below_node.sigma)
    }

    /// Depths from the ground by every method, abreast of `here_m`.
    fn depths(
        &self,
        state: &TraceState,
        found: &OneLine,
        shared: &Shared,
        crossed: &[Crossing],
        here_m: Vec3,
    ) -> LineDepths {
        let returned = found.source.returned_per_m;
        let as_it_is = self.closed_forms(found, crossed, here_m);
        // What is not known of the soil does to each what a sigma more of it does.
        let soil_sigma = found.sigma(5);
        let (more, _) = crossings(state.walk.looks(), &found.source, shared, returned + soil_sigma);
        let with_more = self.closed_forms(found, &more, here_m);
        let mut depths = [Err(Unusable::NotMeasured); 6];
        let [ratio, rays, half_width, diagonal] = as_it_is;
        let [ratio_more, rays_more, half_width_more, diagonal_more] = with_more;
        let pairs = [
            (ratio, ratio_more),
            (rays, rays_more),
            (half_width, half_width_more),
            (diagonal, diagonal_more),
            (self.lifted(state, found, here_m), Err(Unusable::NotMeasured)),
            (of_measured(found.depth_below_m(here_m)), Err(Unusable::NotMeasured)),
        ];
        for (depth, (plain, more)) in depths.iter_mut().zip(pairs) {
            *depth = plain.and_then(|plain| {
                let by_soil = more.map_or(0.0, |more| more.depth_m - plain.depth_m);
                let sigma_m = math::sqrt(plain.sigma_m * plain.sigma_m + by_soil * by_soil);
                let below = self.below_ground(Measured::new(plain.depth_m, sigma_m));
                of_measured(below)
            });
        }
        depths
    }

    /// Ratio, rays, half width and diagonal, below the lower node abreast of `here_m`: means over the crossings.
    fn closed_forms(
        &self,
        found: &OneLine,
        crossed: &[Crossing],
        here_m: Vec3,
    ) -> [Result<Depth, Unusable>; 4] {
        let settings = &self.settings;
        let spacing_m = settings.spacing_m;
        let straight = Straight::default();
        let below_m = |at_m: Vec3| found.depth_below_m(at_m).value;
        let mean = |method: &dyn Fn(&Crossing) -> Result<Depth, Unusable>| {
            let (mut weights, mut sum, mut why) = (0.0, 0.0, Unusable::NotMeasured);
            for crossing in crossed {
                match method(crossing) {
                    Ok(depth) => {
                        let weight = 1.0 / (depth.sigma_m * depth.sigma_m).max(1e-10);
                        // What the line falls from there to here.
                        let fall_m = below_m(here_m) - below_m(crossing.at_m);
                        weights += weight;
                        sum += weight * (depth.depth_m + fall_m);
                    }
                    Err(reason) => why = reason,
                }
            }
            if weights > 0.0 { valid(sum / weights, 1.0 / math::sqrt(weights)) } else { Err(why) }
        };
        let more = |depth: Depth, share: f32| {
            let own = share * depth.depth_m;
            let unnoticed = UNNOTICED * depth.depth_m;
            let sigma_m = math::sqrt(depth.sigma_m * depth.sigma_m + own * own + unnoticed * unnoticed);
            valid(depth.depth_m, sigma_m)
        };
        let node = |peak: Measured| NodeField {
            field_t: Vec3::X * (peak.value * 1e-9),
            sigma_t: peak.sigma * 1e-9,
        };
        let ratio = mean(&|crossing| {
            let [lower, upper] = crossing.peaks_nt.map(node);
            closed::ratio(lower, upper, spacing_m, 0.0, Measured::default())
        })
        .and_then(|depth| more(depth, (1.0 + depth.depth_m / spacing_m) * settings.node_ratio_sigma));
        let rays = mean(&|crossing| {
            // Seen from a depth aside.
            let aside_m = crossing.diagonal_m.value;
            let inclinations = crossing.slants_per_m.map(|slant| {
                let tangent = slant.value * aside_m;
                let sigma = slant.sigma * aside_m / (1.0 + tangent * tangent);
                Measured::new(math::atan2(tangent, 1.0), sigma)
            });
            closed::rays(inclinations, spacing_m)
        })
        .and_then(|depth| more(depth, 0.0));
        let half_width = mean(&|crossing| {
            let Measured { value, sigma } = crossing.half_width_m;
            let (apart_m, share) = (Measured::new(2.0 * value, 2.0 * sigma), Measured::new(0.5, 0.0));
            closed::width(apart_m, share, straight)
        })
        .and_then(|depth| more(depth, 0.0));
        let diagonal = mean(&|crossing| closed::diagonal(crossing.diagonal_m, 0.0, straight))
            // On both sides a lean does nothing to first order; that of the lanes to and fro, neither.
            .and_then(|depth| more(depth, settings.tilt_sigma_rad * settings.tilt_sigma_rad));
        [ratio, rays, half_width, diagonal]
    }

    /// By a lift, below the lower node abreast of `here_m`.
    fn lifted(&self, state: &TraceState, found: &OneLine, here_m: Vec3) -> Result<Depth, Unusable> {
        let lift = state.lift.ok_or(Unusable::NotMeasured)?;
        let aside_m = found.left_of_m(lift.at_m);
        let depth = closed::lift(lift.before, lift.lifted, lift.height_m, 0.0, aside_m)?;
        // What returns through the soil takes as much off either reading, so the walk's own answer puts it right.
        let returned = found.source.returned_per_m * found.source.current_a.abs() * SCALE_NT * 1e-9;
        let put_right = |node: NodeField| {
            let size = node.field_t.length();
            NodeField { field_t: node.field_t * ((size + returned) / size.max(f32::MIN_POSITIVE)), ..node }
        };
        let (before, lifted) = (put_right(lift.before), put_right(lift.lifted));
        let corrected = closed::lift(before, lifted, lift.height_m, 0.0, aside_m).unwrap_or(depth);
        let fall_m = found.depth_below_m(here_m).value - found.depth_below_m(lift.at_m).value;
        let by_soil = corrected.depth_m - depth.depth_m;
        let unnoticed = UNNOTICED * corrected.depth_m;
        let sigma_m = math::sqrt(
            corrected.sigma_m * corrected.sigma_m + 0.25 * by_soil * by_soil + unnoticed * unnoticed,
        );
        valid(corrected.depth_m + fall_m, sigma_m)
    }

    /// Whether most of what is uncertain is the soil.
    fn is_soil(&self, found: &OneLine, stated: Measured) -> bool {
        let cell = |i: usize, j: usize| {
            found.covariance.get(i).and_then(|row| row.get(j)).copied().unwrap_or_default()
        };
        let together = cell(1, 5);
        let by_soil = together * together / cell(5, 5).max(f32::MIN_POSITIVE);
        let variance = stated.sigma * stated.sigma;
        by_soil > SOIL_SHARE * variance && stated.sigma > SOIL_SIGMA * stated.value
    }

    /// Two lines, where they come to rest.
    fn two(
        &self,
        walk: &Ring<LOOKS, PhasorLook>,
        shared: &Shared,
        here_m: Option<Vec3>,
    ) -> Option<TwoLines> {
        let found = traverse_two(walk, shared).ok()?;
        let Two { first, second, phase_rad } = found.source;
        let here_m = here_m.or_else(|| strongest_m(walk))?;
        let explains = found.chi_square <= upper_point(found.freedom as usize, Level::OnePerMille);
        let [_, _, _, _, _, _, current, re, im, _] = sigmas(&found);
        let beside = |line: &Line, [left, up]: [usize; 2], current_sigma: f32| {
            let above_m = over(line, here_m);
            let depth_m = above_m.z - line.at_m.z - (above_m - line.at_m).dot(line.along) * line.along.z;
            Beside {
                place: Place { east_m: above_m.x, north_m: above_m.y, sigma_m: found.sigma(left) },
                depth: Depth { depth_m: depth_m - self.settings.node_height_m, sigma_m: found.sigma(up) },
                current_a: Measured::new(line.current_a, current_sigma),
            }
        };
        Some(TwoLines {
            first: beside(&first, [0, 1], current),
            second: beside(&second, [2, 3], re.max(im)),
            phase_rad,
            explains,
        })
    }
}

impl TwoLines {
    /// What a second line amounts to, by its phase.
    fn reason(&self) -> Reason {
        let off = self.phase_rad.abs();
        if off < FRAC_PI_3 {
            Reason::BleedOver
        } else if off > 2.0 * FRAC_PI_3 {
            Reason::CurrentReturns
        } else {
            Reason::Elliptical
        }
    }
}

/// Whether a sonde or a pair explains the walk, or at least leaves far less over than a line does. Of two lines, too, either
/// may be the better of two bad answers.
fn is_no_line(models: &Models) -> bool {
    let Some(kind) = models.choice().map(|choice| choice.kind) else { return true };
    let dipole = models.dipole.map(|found| (found.chi_square, found.freedom));
    let pair = models.pair.map(|found| (found.chi_square, found.freedom));
    let other = match kind {
        Kind::Line => None,
        Kind::Dipole => dipole,
        Kind::Pair => pair,
    };
    let lines = models.line.map_or(f32::INFINITY, |found| found.chi_square);
    other.is_some_and(|(chi_square, freedom)| {
        chi_square < upper_point(freedom as usize, Level::OnePerMille) || lines > MUCH_WORSE * chi_square
    })
}

fn sigmas(found: &Traced<Two, TWO_UNKNOWNS>) -> [f32; TWO_UNKNOWNS] {
    let mut sigmas = [0.0; TWO_UNKNOWNS];
    sigmas.iter_mut().enumerate().for_each(|(n, sigma)| *sigma = found.sigma(n));
    sigmas
}

fn of_measured(depth: Measured) -> Result<Depth, Unusable> {
    valid(depth.value, depth.sigma)
}

fn is_something(value: Measured) -> bool {
    value.value.abs() > BEYOND * value.sigma
}

/// From the stated depth and what every method says to a verdict.
fn judged(
    stated: Measured,
    depths: &LineDepths,
    two: Option<&TwoLines>,
    mut reasons: Reasons,
) -> Judgement {
    let Ok(stated) = of_measured(stated) else {
        reasons.add(Reason::TooNoisy);
        return Judgement::refused(reasons);
    };
    // A separated line in the sky or far below is no line.
    let separated = two
        .filter(|two| two.explains)
        .and_then(|two| valid(two.first.depth.depth_m, two.first.depth.sigma_m).ok());
    let [ratio, rays, half_width, diagonal, lift, fit] = depths.map(Result::ok);
    let methods = [ratio, rays, half_width, diagonal, lift, fit, separated];
    // A neighbour too weak to be noticed makes it read too deep as easily as too shallow, and that is the dangerous way.
    let unnoticed_m = UNNOTICED * stated.depth_m;
    let sigma_m = math::sqrt(stated.sigma_m * stated.sigma_m + unnoticed_m * unnoticed_m);
    let cautious = Depth { sigma_m, ..stated };
    Judgement::of(&Evidence { stated, cautious, methods: &methods, over_read: OVER_READ }, reasons)
}

/// Whether what returns in step and what returns behind are of one soil: to first order they are the same, and the more
/// returns, the less of it is behind (down to half, by quadrature). A neighbour in step is not behind at all.
fn is_one_soil(in_step: Measured, behind: Measured) -> bool {
    let sigma = math::sqrt(in_step.sigma * in_step.sigma + behind.sigma * behind.sigma);
    let expected = 0.75 * in_step.value;
    (behind.value - expected).abs() < FAR_AWAY + 0.35 * expected.abs() + BEYOND * sigma
}

/// Whether much more of a level field is missing than the soil accounts for: so it is past an end, where the current that
/// leaves the wire makes one.
fn lacks_level(in_step: Measured, behind: Measured) -> bool {
    let sigma = math::sqrt(in_step.sigma * in_step.sigma + behind.sigma * behind.sigma);
    0.85 * in_step.value - behind.value > 2.0 * SLIGHT + 0.4 * behind.value.abs() + LIKELY * sigma
}

/// Whether any method's depth is so far from the fit's that no figure is worth giving.
fn far_apart(depths: &LineDepths) -> bool {
    let [others @ .., fit] = depths;
    let Ok(fit) = fit else { return false };
    let far_m = FAR_SHARE * fit.depth_m;
    others.iter().flatten().any(|depth| {
        let off_m = (depth.depth_m - fit.depth_m).abs();
        off_m > BEYOND * depth.sigma_m && off_m > far_m
    })
}

/// Whether any method's depth does not go with the fit's. The fit makes the best of the same walk, so what they differ by
/// is at most what the method errs by (Hausman 1978, Econometrica 46:1251).
fn disagree(depths: &LineDepths) -> bool {
    let [others @ .., fit] = depths;
    let Ok(fit) = fit else { return false };
    others.iter().flatten().any(|depth| (depth.depth_m - fit.depth_m).abs() > BEYOND * depth.sigma_m)
}

/// Whether peak and null mark different places, over all crossings.
fn marks_apart(crossed: &[Crossing], depth_m: f32) -> bool {
    let (mut weights, mut sum) = (0.0, 0.0);
    for crossing in crossed {
        let (peak, null) = (crossing.peak_m, crossing.null_m);
        let weight = 1.0 / (peak.sigma * peak.sigma + null.sigma * null.sigma).max(1e-10);
        weights += weight;
        sum += weight * (peak.value - null.value);
    }
    let unnoticed_m = APART_SHARE * depth_m;
    let sigma_m = math::sqrt(1.0 / weights + unnoticed_m * unnoticed_m);
    weights > 0.0 && (sum / weights).abs() > BEYOND * sigma_m
}

/// The middle of the crossings.
fn middle(crossed: &[Crossing]) -> Option<Vec3> {
    let sum: Vec3 = crossed.iter().map(|crossing| crossing.at_m).sum();
    (!crossed.is_empty()).then(|| sum / crossed.len() as f32)
}

/// The point over a line that is abreast of a place, at its height.
fn over(line: &Line, place_m: Vec3) -> Vec3 {
    let level = line.along.truncate();
    let on_m = (place_m - line.at_m).truncate().dot(level) / level.length_squared().max(1e-6);
    (line.at_m.truncate() + level * on_m).extend(place_m.z)
}

/// Where the field was strongest.
fn strongest_m(walk: &Ring<LOOKS, PhasorLook>) -> Option<Vec3> {
    let strength = |sight: &&PhasorLook| {
        let [lower, _] = sight.look.fields_nt;
        lower.length_squared()
    };
    let strongest = walk.looks().iter().max_by(|a, b| strength(a).total_cmp(&strength(b)))?;
    Some(strongest.look.at_m)
}

/// Whether anything stands out of the noise.
fn is_heard(walk: &Ring<LOOKS, PhasorLook>) -> bool {
    walk.looks().iter().any(|sight| {
        let look = sight.look();
        let ([field_nt, _], [sigma_nt, _]) = (look.fields_nt, look.sigma_nt);
        field_nt.length_squared() > HEARD * HEARD * sigma_nt * sigma_nt
    })
}

/// The phase against the reference: mean of the angles, doubled because the sign means nothing.
fn phase(state: &TraceState) -> Option<Measured> {
    let ([c, s], weight) = (state.turned, state.turned_weight);
    (weight > 0.0).then_some(())?;
    let length = (math::sqrt(c * c + s * s) / weight).clamp(1e-6, 1.0);
    // Noise of each look, and how far the looks differ beyond it.
    let noise2 = 1.0 / weight;
    let scatter2 = -0.5 * math::ln(length) / state.pushed.max(1) as f32;
    Some(Measured::new(0.5 * math::atan2(s, c), math::sqrt(noise2.max(scatter2))))
}
