//! From a walk to a fix: one line fitted, every other method asked, and whatever would make that line a wrong answer looked
//! for.

use core::f32::consts::FRAC_PI_2;

use glam::Vec3;

use super::checks::{
    disagree, far_apart, is_no_line, is_one_soil, is_soil, is_something, lacks_level, marks_apart,
};
use super::compass;
use super::crossing::{Crossing, crossings};
use super::ellipse::out_of_step;
use super::fix::{LineDepths, TraceFix, TwoLines};
use super::methods::{UNNOTICED, of_measured};
use super::place::{middle, over, strongest_m};
use super::{LOOKS, OneLine, TraceState, Tracer};
use crate::chi_square::{Level, upper_point};
use crate::depth::{Depth, Measured, Unusable, valid};
use crate::fit::line::{self, Kind, Models, PhasorLook};
use crate::fit::{Mergeable, Ring, Shared, Undetermined};
use crate::math;
use crate::verdict::{Evidence, Judgement, Place, Reason, Reasons};

/// A walk in which no field stands out by so many sigmas tells nothing.
const HEARD: f32 = 6.0;
/// More clipped looks than one in so many: what is strongest is missing.
const CLIPPED: u32 = 20;
/// Of the looks, more than this share not explained.
const OUTLYING_SHARE: f32 = 0.1;
/// A current that changes by this share over a depth is that of no line below.
const FALLEN: f32 = 0.3;
/// By so much a neighbour in step can make a depth read too deep where the field is seen to be bent (of 3000 sites of two lines
/// the bound held 98.9 % with 1.4).
const OVER_READ: f32 = 1.6;
/// Lanes nearer together than this share of the depth tell nothing of what changes along the line.
const LANES_APART_M: f32 = 0.2;

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
        let aslant = compass::aslant(&crossed);
        let lay = compass::of_lay(found.lay_rad());
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

        let stated = self.below_ground(compass::of_depth(found.depth_in_soil_m(here_m), aslant));
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
        reasons.add_if(is_soil(found, stated), Reason::SoilUnknown);
        if separate && reasons.as_slice().iter().any(|reason| reason.bends()) {
            fix.two = self.two(walk, shared, Some(here_m));
            if let Some(two) = fix.two.filter(|two| two.explains && is_something(two.second.current_a)) {
                reasons.add(two.reason());
            }
        }
        fix.crossings = crossed;
        fix.judgement = judged(stated, &fix.depths, fix.two.as_ref(), reasons);
    }
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
