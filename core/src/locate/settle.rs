//! Holding still over the mark: the field averaged, the ratio and lift depths, the sonde's own direction.

use core::f32::consts::FRAC_PI_2;

use glam::{Vec2, Vec3};
use heapless::Deque;

use super::lane::Along;
use super::mark::Mark;
use super::unplaced::Pacing;
use crate::array::{Array, Glimpse, NodeField};
use crate::chi_square::Level;
use crate::depth::{self, Depth, Measured, Standing, Unusable};
use crate::field;
use crate::frame::{HEADING_SIGMA_RAD, Position, SampleIndex, heading_rotation};
use crate::looking;
use crate::math;
use crate::tone::Marks;
use crate::verdict::{self, Clue, Clues, Depths, Fix, Place, Reason, Reasons, combined, judge};

/// Outputs of stillness before a fix: three seconds.
pub const ENOUGH: u16 = 30;
/// A hold this much higher than the one before is a lift, metres.
const LIFT_M: f32 = 0.15;
/// Uncertainty of the height difference of a lift, metres, and of the sonde's strength meanwhile.
const LIFT_SIGMA_M: f32 = 0.01;
const DRIFT_SIGMA: f32 = 0.003;
/// A hold without positions is taken to be this close to the mark each way, metres (common practice, no source).
const UNGUIDED_SIGMA_M: f32 = 0.1;
/// Without positions a node is carried this much higher than it rests, metres (common practice, no source).
const CARRIED_M: Measured = Measured::new(0.1, 0.05);
/// A steeper pitch is doubted: tangent of 40 degrees. Up to there the fit of the walk knows what it does.
const STEEP: f32 = 0.839;
/// Lays seen by lanes and at the hold may differ by this sine, about five degrees, and by so many sigmas.
const LAY_APART: f32 = 0.09;
const LAY_SIGMAS: f32 = 3.0;
/// Upper 5 % point of chi-square for two vectors. What is known of the fields is not overrated: of 300 nominal trials
/// none came near.
const HOLD_LIMIT: f32 = Level::FivePerCent.tabled()[6 - 1];
/// A number further than so many sigmas from where it should be is a clue: once in a thousand times by chance.
const CLUE_SIGMAS: f32 = 3.29;
/// No calibration knows the ratio of two gains better than this.
const LEAST_RATIO_SIGMA: f32 = 1e-4;
/// A larger share of the field out of step is doubted, and more by so many sigmas of its noise.
const OUT_OF_STEP: f32 = 0.0075;
const OUT_OF_STEP_SIGMAS: f32 = 3.0;
/// More of the hold bridged than this is doubted.
const BRIDGED_SHARE: f32 = 0.2;
/// A hold is away from the mark when it is farther than this share of the depth.
const AWAY_SHARE: f32 = 0.15;

/// Glimpses that wait until those after them still belong to the hold. The window sees a mast being raised before motion
/// is noticed.
const WAITING: usize = 3;

/// A hold in progress.
#[derive(Debug, Clone, Default)]
pub struct Holding {
    waiting: Deque<Glimpse, WAITING>,
    /// What certainly belongs to it.
    pub sums: Hold,
}

impl Holding {
    /// Take in a glimpse. The one before the last few is now certain to belong to the hold.
    pub fn push(&mut self, glimpse: &Glimpse) {
        if self.waiting.is_full()
            && let Some(certain) = self.waiting.pop_front()
        {
            self.sums.push(&certain);
        }
        // There is room: the oldest has just gone.
        let _ = self.waiting.push_back(glimpse.clone());
    }
}

/// Sums over a hold.
#[derive(Debug, Clone, Default)]
pub struct Hold {
    nodes: [Vec3; 2],
    sigma_t: [f32; 2],
    place: Vec3,
    place_sigma_m: f32,
    heading: Vec2,
    positions: u16,
    headings: u16,
    count: u16,
    ellipticity: f32,
    bridged: f32,
    marks: Marks,
    at: SampleIndex,
}

impl Hold {
    pub fn is_enough(&self) -> bool {
        self.count >= ENOUGH
    }

    fn push(&mut self, glimpse: &Glimpse) {
        if self.count == u16::MAX {
            return;
        }
        self.count += 1;
        self.at = glimpse.at;
        for ((sum, sigma_t), node) in self.nodes.iter_mut().zip(&mut self.sigma_t).zip(&glimpse.nodes) {
            *sum += node.field_t;
            *sigma_t = node.sigma_t;
        }
        if let Some(position) = glimpse.mast.position {
            self.place += position.enu_m;
            self.place_sigma_m = position.sigma_m;
            self.positions += 1;
        }
        if let Some(heading_rad) = glimpse.mast.heading_rad {
            let (s, c) = math::sin_cos(heading_rad);
            self.heading += Vec2::new(s, c);
            self.headings += 1;
        }
        self.ellipticity += glimpse.ellipticity;
        self.bridged += glimpse.bridged;
        self.marks = self.marks.and(glimpse.marks);
    }

    /// Mean position, if there was one all the time.
    fn position(&self) -> Option<Position> {
        (self.positions > 0 && self.positions == self.count)
            .then(|| Position { enu_m: self.place / f32::from(self.count), sigma_m: self.place_sigma_m })
    }

    fn heading_rad(&self) -> Option<f32> {
        (self.headings > 0 && self.headings == self.count)
            .then(|| math::atan2(self.heading.x, self.heading.y))
    }

    /// Mean field at a node; `inflation` because successive outputs share noise.
    fn node(&self, which: usize, inflation: f32) -> NodeField {
        let n = f32::from(self.count.max(1));
        let sum = self.nodes.get(which).copied().unwrap_or_default();
        let sigma_t = self.sigma_t.get(which).copied().unwrap_or_default();
        NodeField { field_t: sum / n, sigma_t: sigma_t * math::sqrt((inflation / n).min(1.0)) }
    }
}

/// What a fix is made from.
pub struct Settled<'a> {
    pub array: &'a Array,
    pub inflation: f32,
    /// The hold with the foot on the ground, and a later one higher up.
    pub ground: &'a Hold,
    pub lifted: Option<&'a Hold>,
    pub mark: Option<&'a Mark>,
    /// How level the sonde is thought to lie before anything is measured: sigma of the tangent of its pitch.
    pub level_sigma: f32,
    /// Strength of the sonde on the bench.
    pub bench_moment_a_m2: Option<Measured>,
    /// Whether both nulls and the peak between them were passed, with positions or without.
    pub bracketed: bool,
    /// The lane through them, where its pace is known.
    pub paced: Option<(Pacing, &'a Along)>,
    /// Doubts about the moment: gain, noise.
    pub reasons: Reasons,
}

/// Whether `later` is `earlier` lifted, and by how much.
pub fn lift_m(earlier: &Hold, later: &Hold) -> Option<f32> {
    let (from, to) = (earlier.position()?, later.position()?);
    let risen = to.enu_m.z - from.enu_m.z;
    (risen > LIFT_M && earlier.is_enough()).then_some(risen)
}

impl Settled<'_> {
    /// Everything the hold and the lanes say, judged.
    pub fn fix(mut self) -> Fix {
        let position = self.ground.position();
        let offset_m = match (position, self.mark) {
            (Some(p), Some(mark)) => p.enu_m.truncate() - mark.place_m,
            _ => Vec2::ZERO,
        };
        let standing = self.standing(offset_m);
        let ratio = self.ratio(standing);
        let foot_m = self.array.foot_m();
        // The ground is a foot's height below the node that rests on it.
        let ground_up_m = position.map_or(0.0, |p| p.enu_m.z - foot_m);
        let carried = |depth: Result<Depth, Unusable>, mark: &Mark| {
            depth.map(|d| Depth { depth_m: d.depth_m - (mark.node_up_m - ground_up_m), ..d })
        };
        let rested =
            |depth: Result<Depth, Unusable>| depth.map(|d| Depth { depth_m: d.depth_m - foot_m, ..d });
        let not_measured = Err(Unusable::NotMeasured);
        let [null_spacing, vertical_maxima] = match self.mark {
            Some(m) => [carried(m.null_spacing, m), carried(m.vertical_maxima, m)],
            None => self.paced().map(rested),
        };
        let depths: Depths = [
            rested(ratio),
            null_spacing,
            vertical_maxima,
            rested(self.lift(standing)),
            self.mark.map_or(not_measured, |m| m.below(ground_up_m)),
        ];
        let combined = combined(&depths, &self.shared(&depths));
        let sonde = combined.map(|c| self.sonde(offset_m, c.depth.depth_m + foot_m));
        self.add_reasons(&depths, offset_m);
        let clues = self.clues(combined.as_ref(), &depths);
        for (clue, _) in Clue::ALL.iter().zip(&clues).filter(|(_, score)| score.is_some_and(|s| s > 1.0)) {
            self.reasons.add(clue.reason());
        }
        if let Some((Some(lay_rad), ..)) = sonde {
            self.reasons.add_if(self.turned_away(lay_rad), Reason::BentField);
        }
        let judgement = judge(&depths, combined, self.reasons.clone());
        let (lay_rad, pitch_rad, moment) = sonde.filter(|_| judgement.depth.is_some()).unwrap_or_default();
        Fix {
            at: self.ground.at,
            place: self.mark.map(|m| Place {
                east_m: m.place_m.x,
                north_m: m.place_m.y,
                sigma_m: m.sigma_along_m.max(m.sigma_across_m),
            }),
            lay_rad,
            depths,
            pitch_rad,
            moment_a_m2: moment,
            clues,
            judgement,
        }
    }

    /// What one sigma of an error that methods share does to each of them.
    fn shared(&self, depths: &Depths) -> verdict::Shared {
        let sigma = self.array.sigma().node_ratio;
        let by_ratio = self.array.spacing_m().zip(depths[0].ok()).map_or(0.0, |(spacing_m, depth)| {
            depth::per_ratio_m(depth.depth_m + self.array.foot_m(), spacing_m) * sigma
        });
        let fitted = self.mark.and_then(|mark| mark.fitted);
        let by_fit = fitted.map_or(0.0, |f| f.covariance[2][6] / sigma.max(1e-4));
        verdict::Shared {
            node_ratio_m: [by_ratio, 0.0, 0.0, 0.0, by_fit],
            walk: [false, true, true, false, true],
        }
    }

    /// Signs that the field is not that of one sonde.
    fn clues(&self, combined: Option<&verdict::Combined>, depths: &Depths) -> Clues {
        let mut clues = self.mark.map(|mark| mark.clues).unwrap_or_default();
        let mut set = |clue: Clue, score: Option<f32>| {
            if let Some(slot) = clues.get_mut(clue as usize) {
                *slot = score;
            }
        };
        set(Clue::MethodsApart, combined.and_then(|c| Some(c.chi_square / c.limit?)));
        let n = f32::from(self.ground.count.max(1));
        let lower = self.ground.node(0, self.inflation);
        let noise = lower.sigma_t / lower.field_t.length().max(f32::MIN_POSITIVE);
        let limit = OUT_OF_STEP + OUT_OF_STEP_SIGMAS * noise;
        set(Clue::OutOfStep, Some(self.ground.ellipticity / n / limit));
        set(Clue::HoldOff, self.hold_off());
        set(Clue::Exponent, Self::exponent_off(depths));
        set(Clue::Strength, self.strength_off());
        let gain_sigma = self.array.sigma().node_ratio.max(LEAST_RATIO_SIGMA);
        let gain = self.mark.and_then(|mark| Some(mark.fitted?.upper_gain.abs()));
        set(Clue::GainsOff, gain.map(|gain| gain / (CLUE_SIGMAS * gain_sigma)));
        clues
    }

    /// Chi-square, over its limit, of the field seen at the hold about what the dipole of the walk makes there.
    fn hold_off(&self) -> Option<f32> {
        let (fitted, position) = (self.mark?.fitted?, self.ground.position()?);
        let to_site = heading_rotation(self.ground.heading_rad()?);
        let relative = looking::relative(self.array) + fitted.sigma(3) / fitted.dipole.moment.length();
        let moved_m = position.sigma_m + looking::CARRIED_SIGMA_M + fitted.sigma(2);
        let mut chi_square = 0.0;
        for (which, node) in self.array.nodes().iter().enumerate() {
            let seen = self.ground.node(which, self.inflation);
            let at_m = position.enu_m + to_site * node.position_m;
            let from_source = at_m - fitted.dipole.at_m;
            let made_t =
                Vec3::from_array(field::dipole(fitted.dipole.moment.to_array(), from_source.to_array()));
            let seen_t = to_site * seen.field_t;
            let sign = if made_t.dot(seen_t) < 0.0 { -1.0 } else { 1.0 };
            let off = (seen_t * sign - made_t).length() / made_t.length();
            let noise = seen.sigma_t / made_t.length();
            let moved = 3.0 * moved_m / from_source.length();
            chi_square += off * off / (noise * noise + relative * relative + moved * moved);
        }
        Some(chi_square / HOLD_LIMIT)
    }

    /// How far the strength of the walk's dipole is from that on the bench: in sigmas, over their limit.
    fn strength_off(&self) -> Option<f32> {
        let (fitted, bench) = (self.mark?.fitted?, self.bench_moment_a_m2?);
        let strength = fitted.dipole.moment.length();
        let known = [3, 4, 5].map(|n| fitted.sigma(n)).into_iter().fold(0.0, f32::max);
        let scale = self.array.sigma().scale * strength;
        let sigma = math::sqrt(known * known + scale * scale + bench.sigma * bench.sigma);
        Some((strength - bench.value).abs() / (CLUE_SIGMAS * sigma))
    }

    /// How far the exponent by which the field weakens upwards at the hold is from three: it is three just where the
    /// ratio's depth is that of the walk's fit. In sigmas of that, over their limit.
    fn exponent_off(depths: &Depths) -> Option<f32> {
        let [ratio, .., fit] = depths;
        let (ratio, fit) = (ratio.ok()?, fit.ok()?);
        let sigma = math::sqrt(ratio.sigma_m * ratio.sigma_m + fit.sigma_m * fit.sigma_m);
        Some((ratio.depth_m - fit.depth_m).abs() / (CLUE_SIGMAS * sigma))
    }

    /// Where the hold is from the source.
    fn standing(&self, offset_m: Vec2) -> Standing {
        let Some(mark) = self.mark else {
            let unguided_m = Measured::new(0.0, UNGUIDED_SIGMA_M);
            let pitch = Measured::new(0.0, self.level_sigma);
            return Standing { aside_m: unguided_m, along_m: unguided_m, pitch };
        };
        // The mark's sigmas hold how far a position may be off; that of the hold has wandered from it by as much at most.
        Standing {
            aside_m: Measured::new(mark.lay.perp().dot(offset_m), mark.sigma_across_m),
            along_m: Measured::new(mark.lay.dot(offset_m), mark.sigma_along_m),
            pitch: mark.pitch,
        }
    }

    fn ratio(&self, standing: Standing) -> Result<Depth, Unusable> {
        let spacing_m = self.array.spacing_m().ok_or(Unusable::NotStacked)?;
        let (lower, upper) = (self.ground.node(0, self.inflation), self.ground.node(1, self.inflation));
        depth::ratio(lower, upper, spacing_m, self.array.sigma().node_ratio, standing)
    }

    /// Depths of the lane below the node at rest, by its pace.
    fn paced(&self) -> [Result<Depth, Unusable>; 2] {
        let Some((pacing, along)) = self.paced else { return [Err(Unusable::NotMeasured); 2] };
        let below_rest = |d: Depth| Depth {
            depth_m: d.depth_m - CARRIED_M.value,
            sigma_m: math::sqrt(d.sigma_m * d.sigma_m + CARRIED_M.sigma * CARRIED_M.sigma),
        };
        pacing.depths(along, Measured::new(0.0, UNGUIDED_SIGMA_M)).map(|depth| depth.map(below_rest))
    }

    fn lift(&self, standing: Standing) -> Result<Depth, Unusable> {
        let lifted = self.lifted.ok_or(Unusable::NotMeasured)?;
        let height_m = lift_m(self.ground, lifted).ok_or(Unusable::NotMeasured)?;
        let (before, after) = (self.ground.node(0, self.inflation), lifted.node(0, self.inflation));
        depth::lift(before, after, Measured::new(height_m, LIFT_SIGMA_M), DRIFT_SIGMA, standing)
    }

    fn add_reasons(&mut self, depths: &Depths, offset_m: Vec2) {
        let n = f32::from(self.ground.count.max(1));
        let known_m = depths.iter().flatten().map(|d| d.depth_m).fold(0.0, f32::max);
        let r = &mut self.reasons;
        r.add_if(!self.bracketed, Reason::NotBracketed);
        r.add_if(self.bracketed && self.mark.is_none_or(|m| !m.crossed), Reason::NotCrossed);
        r.add_if(depths.contains(&Err(Unusable::NotBelow)), Reason::NotBelow);
        if let Some(mark) = self.mark {
            let spread = mark.sigma_along_m.max(mark.sigma_across_m);
            r.add_if(offset_m.length() > AWAY_SHARE * known_m + 2.0 * spread, Reason::AwayFromMark);
            r.add_if(mark.pitch.value.abs() > STEEP, Reason::Tilted);
            r.add_if(mark.bent, Reason::BentField);
            if let Some(what) = mark.undetermined {
                r.add(Reason::WalkUndetermined(what));
            }
        }
        r.add_if(self.ground.bridged / n > BRIDGED_SHARE || self.ground.marks.gap, Reason::Disturbed);
    }

    /// Whether the lay seen at the hold is not that of the lanes.
    fn turned_away(&self, lay_rad: Measured) -> bool {
        let (s, c) = math::sin_cos(lay_rad.value);
        let apart = self.mark.map_or(0.0, |mark| mark.lay.perp_dot(Vec2::new(s, c)).abs());
        apart > LAY_APART + LAY_SIGMAS * lay_rad.sigma
    }

    /// Lay as a site bearing, pitch and strength of the dipole that makes the mean field.
    fn sonde(&self, offset_m: Vec2, below_node_m: f32) -> Sonde {
        let lower = self.ground.node(0, self.inflation);
        let heading_rad = self.ground.heading_rad();
        let to_site = heading_rotation(heading_rad.unwrap_or(0.0));
        // Without a heading there is no site direction either, and the offset is zero.
        let r = Vec3::new(offset_m.x, offset_m.y, below_node_m);
        let m = Vec3::from_array(field::dipole_moment((to_site * lower.field_t).to_array(), r.to_array()));
        let flat = m.truncate().length();
        let noise = lower.sigma_t / lower.field_t.length().max(f32::MIN_POSITIVE);
        let (along, across) =
            self.mark.map_or((UNGUIDED_SIGMA_M, UNGUIDED_SIGMA_M), |p| (p.sigma_along_m, p.sigma_across_m));
        let (u, v) = (along / below_node_m, across / below_node_m);
        let offset = offset_m.length() / below_node_m;
        let skewing = 3.0 * (u * v + offset * (u + v));
        let lay_sigma =
            math::sqrt(noise * noise + skewing * skewing + HEADING_SIGMA_RAD * HEADING_SIGMA_RAD);
        let lay = heading_rad.map(|_| {
            let bearing = math::atan2(m.x, m.y);
            let half = if bearing < 0.0 { bearing + core::f32::consts::PI } else { bearing };
            Measured::new(half, lay_sigma)
        });
        // m.z is raised where the moment points; the lay's sense means nothing, so the pitch has no sign here.
        let pitch = if flat > 0.0 { math::atan2(m.z.abs(), flat) } else { FRAC_PI_2 };
        let pitch_sigma = math::sqrt(noise * noise + 2.25 * u * u);
        let strength = m.length();
        let scale = self.array.sigma().scale;
        let moment_sigma = strength * math::sqrt(noise * noise + scale * scale);
        (lay, Some(Measured::new(pitch, pitch_sigma)), Some(Measured::new(strength, moment_sigma)))
    }
}

type Sonde = (Option<Measured>, Option<Measured>, Option<Measured>);
