//! The locate as a state machine: `Listen`, `Home`, `Bracket`, `Settle`.
//!
//! Glimpses go in; guidance comes out at every one of them, and a fix while the mast is held still over the
//! mark.

mod homing;
mod hunch;
mod lane;
mod listen;
mod mark;
mod motion;
mod nodes;
mod settle;
mod sound;
mod step;
mod summit;
mod sweep;
mod unplaced;

use glam::Vec2;

use crate::array::{Array, Glimpse};
use crate::depth::Measured;
use crate::error::ConfigError;
use crate::fit::{LogNormal, Priors, Ring, Traversed, Undetermined, traverse};
use crate::frame::{SampleIndex, heading_rotation};
use crate::looking;
use crate::math;
use crate::paced::Walking;
use crate::tone::{Overlap, StrayTone};
use crate::verdict::{Fix, Place, Reason, Reasons};

pub use homing::turn_to_source;
pub use lane::{Across, Along, Spot};
pub use mark::Mark;
pub use sound::Sound;
pub use sweep::Sweep;

use homing::Homing;
use hunch::Hunch;
use lane::Lane;
use listen::Listener;
use motion::{Gait, Motion};
use nodes::Nodes;
use settle::{Hold, Holding, Settled};
use sweep::Sweeper;
use unplaced::Pacing;

/// The phase of a locate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// Is the tone there?
    Listen,
    /// Walk towards it.
    Home,
    /// Pass both nulls, along and then across.
    Bracket,
    /// Hold still over the mark.
    Settle,
}

/// What to tell the person with the mast, at one instant.
#[derive(Debug, Clone, PartialEq)]
pub struct Guidance {
    /// The instant the field was measured.
    pub at: SampleIndex,
    /// Phase of the locate.
    pub phase: Phase,
    /// Turn this far to the right to face the source, radians; negative is left.
    pub turn_rad: Option<f32>,
    /// Change of the signal, decibels per second.
    pub trend_db_per_s: f32,
    /// The signal has clearly fallen since its best: the source is behind.
    pub past_source: bool,
    /// Signal over noise, decibels.
    pub snr_db: f32,
    /// Offset of the tracked carrier from nominal, hertz.
    pub carrier_offset_hz: f32,
    /// Metres forward and left to the source, where that is known.
    pub offset: Option<Offset>,
    /// Lay of the pipe, radians to the right of the mast's forward axis, modulo half a turn, once near.
    pub lay_rad: Option<f32>,
    /// The mark in the site frame, once the nulls were passed.
    pub mark: Option<Place>,
    /// Whether a lane across has been walked too.
    pub crossed: bool,
    /// Result of a full turn, at the instant it is complete.
    pub sweep: Option<Sweep>,
    /// What the headphones play.
    pub sound: Sound,
    /// What is wrong right now.
    pub trouble: Option<Reason>,
}

/// How far it is from the mast to the source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    /// Metres forward and left.
    pub way_m: Vec2,
    /// Standard uncertainty of that in the direction in which it is greatest, metres.
    pub sigma_m: f32,
}

impl Offset {
    /// Whether it tells which way to go.
    fn is_clear(&self) -> bool {
        self.way_m.length() > CLEAR_SIGMAS * self.sigma_m
    }
}

/// What the gain ladder says about the signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct GainState {
    /// Clipping at the lowest rung.
    pub exhausted: bool,
    /// Clipping at a rung held by hand.
    pub held_too_high: bool,
}

/// Settings of a locate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// How level the sonde is thought to lie before anything is measured: sigma of the pitch, radians.
    pub level_sigma_rad: f32,
    /// Pace at which lanes are walked, metres per second, if it is known: it gives depths where there are no positions.
    pub pace_m_per_s: Option<Measured>,
    /// Relative standard deviation of the pace about that.
    pub unevenness: f32,
    /// Strength of the sonde as measured on the bench, A m2, if it was.
    pub bench_moment_a_m2: Option<Measured>,
}

impl Default for Settings {
    /// Ten degrees: drains are laid nearly level, beacons lie in them less so (common practice, no source). No pace.
    fn default() -> Self {
        Self {
            level_sigma_rad: 0.175,
            pace_m_per_s: None,
            unevenness: Walking::default().unevenness,
            bench_moment_a_m2: None,
        }
    }
}

/// The immutable half of a locate.
#[derive(Debug, Clone)]
pub struct Locator {
    array: Array,
    hop_s: f32,
    overlap: Overlap,
    level_sigma: f32,
    bench_moment_a_m2: Option<Measured>,
    priors: Priors,
    pacing: Option<Pacing>,
}

/// The state of a locate.
#[derive(Debug, Clone)]
pub struct LocateState {
    listener: Listener,
    homing: Homing,
    motion: Motion,
    nodes: Nodes,
    sweeper: Sweeper,
    lane: Lane,
    along: Option<Along>,
    across: Option<Across>,
    mark: Option<Mark>,
    /// The walk past this source, its fit, and whether there is more of the walk than was fitted.
    walk: Ring<LOOKS>,
    fitted: Option<Result<Traversed, Undetermined>>,
    to_fit: bool,
    /// Where the source is thought to be before there is a mark.
    hunch: Option<Hunch>,
    /// Outputs since the last glimpse was fitted.
    since_glimpse: u8,
    pose_sigma_m: f32,
    hold: Holding,
    ground: Option<Hold>,
    phase: Phase,
    stray: Option<StrayTone>,
    gain: GainState,
    /// Share of the last window that had to be bridged.
    bridged: f32,
    last: Option<SampleIndex>,
}

/// An offset of fewer sigmas does not tell which way to go.
const CLEAR_SIGMAS: f32 = 2.0;
/// A glimpse is fitted every so many outputs: twice a second.
const GLANCE_EVERY: u8 = 5;
/// Looks kept of a walk.
const LOOKS: usize = 128;
/// With more than this share of a window bridged, it shows little.
const DISTURBED_SHARE: f32 = 0.3;
/// Near the mark is within this share of the depth, plus the length below, metres, and so many sigmas of the position.
const NEAR_SHARE: f32 = 0.3;
const NEAR_M: f32 = 0.2;
const NEAR_SIGMAS: f32 = 2.0;
/// A bracket this many depths from the mark, plus the length below, belongs to another source.
const ELSEWHERE_DEPTHS: f32 = 2.0;
const ELSEWHERE_M: f32 = 1.0;

impl Locator {
    /// A locate with `array`, fed a glimpse every `hop_s` seconds from windows that overlap so. See
    /// [`crate::tone::Response::overlap`].
    ///
    /// # Errors
    /// When a setting is out of range.
    pub fn new(
        array: Array,
        hop_s: f32,
        overlap: Overlap,
        settings: Settings,
    ) -> Result<Self, ConfigError> {
        ConfigError::unless((0.01..=0.5).contains(&hop_s), "hop_s", "must be 0.01 to 0.5")?;
        ConfigError::unless(
            (1.0..=10.0).contains(&overlap.inflation),
            "overlap.inflation",
            "must be 1 to 10",
        )?;
        ConfigError::unless(
            (0.0..=1.0).contains(&settings.level_sigma_rad),
            "locate.level_sigma_rad",
            "must be 0 to 1",
        )?;
        let pace = settings.pace_m_per_s;
        ConfigError::unless(
            pace.is_none_or(|pace| (0.05..=3.0).contains(&pace.value) && (0.0..=1.0).contains(&pace.sigma)),
            "locate.pace_m_per_s",
            "must be 0.05 to 3, with a sigma of at most 1",
        )?;
        ConfigError::unless(
            (0.0..=0.5).contains(&settings.unevenness),
            "locate.unevenness",
            "must be 0 to 0.5",
        )?;
        let bench_moment_a_m2 = settings.bench_moment_a_m2;
        ConfigError::unless(
            bench_moment_a_m2.is_none_or(|bench| {
                (1e-4..=100.0).contains(&bench.value) && (0.0..=bench.value).contains(&bench.sigma)
            }),
            "locate.bench_moment_a_m2",
            "must be 0.0001 to 100, with a sigma of 0 to as much",
        )?;
        let (s, c) = math::sin_cos(settings.level_sigma_rad);
        let level_sigma = s / c;
        let walking = Walking { unevenness: settings.unevenness, level_sigma, ..Walking::default() };
        let pacing = pace.map(|pace_m_per_s| Pacing { hop_s, pace_m_per_s, walking });
        let mut priors = Priors { level_sigma_rad: settings.level_sigma_rad, ..Priors::default() };
        if let Some(bench) = bench_moment_a_m2 {
            priors.moment_a_m2 = LogNormal { median: bench.value, log_sigma: bench.sigma / bench.value };
        }
        Ok(Self { array, hop_s, overlap, level_sigma, bench_moment_a_m2, priors, pacing })
    }

    /// The array in use.
    pub fn array(&self) -> &Array {
        &self.array
    }

    /// State for a new recording.
    pub fn start(&self) -> LocateState {
        LocateState {
            listener: Listener::default(),
            homing: Homing::default(),
            motion: Motion::default(),
            nodes: Nodes::default(),
            sweeper: Sweeper::default(),
            lane: self.new_lane(),
            along: None,
            across: None,
            mark: None,
            walk: Ring::default(),
            fitted: None,
            to_fit: false,
            hunch: None,
            since_glimpse: 0,
            pose_sigma_m: 0.0,
            hold: Holding::default(),
            ground: None,
            phase: Phase::Listen,
            stray: None,
            gain: GainState::default(),
            bridged: 0.0,
            last: None,
        }
    }

    /// Take in a glimpse, with another tone if one was just found, and the state of the gain.
    pub fn push(
        &self,
        state: &mut LocateState,
        glimpse: &Glimpse,
        stray: Option<StrayTone>,
        gain: GainState,
    ) -> (Guidance, Option<Fix>) {
        state.gain = gain;
        state.bridged = glimpse.bridged;
        state.last = Some(glimpse.at);
        let heard = state.listener.push(glimpse);
        state.stray = if heard { None } else { stray.or(state.stray) };
        let gait = state.motion.push(glimpse, self.hop_s);
        let sweep = state.sweeper.push(glimpse);
        let level_db = math::db(glimpse.lower().field_t.length() * 1e9);
        let trend_db_per_s = state.homing.push(level_db, self.hop_s);
        if heard {
            self.walk(state, glimpse, gait, level_db);
            self.glance(state, glimpse);
        } else {
            state.phase = Phase::Listen;
            state.hunch = None;
            state.homing.restart();
            state.lane = self.new_lane();
            state.hold = Holding::default();
        }
        let fix = self.fix(state);
        (self.guidance(state, glimpse, level_db, trend_db_per_s, sweep), fix)
    }

    /// What the recording as a whole amounts to when it never came to a fix.
    pub fn refusal(&self, state: &LocateState) -> Reasons {
        let mut reasons = Reasons::default();
        reasons.add_if(state.gain.exhausted, Reason::Saturated);
        reasons.add_if(state.gain.held_too_high, Reason::HeldTooHigh);
        reasons.add_if(state.bridged > DISTURBED_SHARE, Reason::Disturbed);
        if let Some(stray) = state.stray {
            reasons.add(Reason::OtherTone(stray.tone_hz));
        } else if !state.listener.heard() {
            reasons.add(Reason::NoTone);
        }
        reasons.add_if(state.nodes.contradict(), Reason::NodesContradict);
        reasons.add_if(state.along.is_none() && state.listener.heard(), Reason::NotBracketed);
        reasons.add_if(state.listener.heard() || reasons.as_slice().is_empty(), Reason::NotSettled);
        reasons
    }

    /// Follow the walk: lanes while moving, a hold while standing near the mark.
    fn walk(&self, state: &mut LocateState, glimpse: &Glimpse, gait: Gait, level_db: f32) {
        let field_t = glimpse.lower().field_t;
        // Without positions nobody knows whether the mast stands over a broad peak or is at rest.
        if gait == Gait::Walks || glimpse.mast.position.is_none() {
            if !state.lane.continues(glimpse.mast.heading_rad, state.motion.velocity()) {
                self.close_lane(state);
                state.lane = self.new_lane();
            }
            state.lane.push(glimpse);
            state.nodes.push(glimpse);
            state.pose_sigma_m = glimpse.mast.position.map_or(0.0, |position| position.sigma_m);
            if let Some(look) = looking::look(glimpse, &self.array, self.overlap.inflation) {
                state.walk.push(look);
                state.to_fit = true;
            }
            self.take_stock(state);
        } else {
            self.close_lane(state);
        }
        let settled = gait != Gait::Walks && self.is_near(state, glimpse);
        if !settled || gait == Gait::Shifts {
            state.hold = Holding::default();
        } else if !glimpse.marks.clipped {
            self.hold(state, glimpse);
        }
        let strayed = state.along.is_none() && state.homing.has_strayed(level_db);
        let bracketing = state.phase == Phase::Bracket || state.phase == Phase::Settle;
        state.phase = if settled {
            Phase::Settle
        } else if state.along.is_some() || homing::is_steep(field_t) || (bracketing && !strayed) {
            Phase::Bracket
        } else {
            if state.phase == Phase::Bracket {
                // A new approach: the best level of the old one is history.
                state.homing.restart();
            }
            Phase::Home
        };
    }

    fn new_lane(&self) -> Lane {
        Lane::new(self.array.spacing_m(), self.overlap)
    }

    /// Read what the lane shows so far.
    fn take_stock(&self, state: &mut LocateState) {
        let stronger = |new: f32, old: Option<f32>| old.is_none_or(|old| new.abs() > 0.8 * old.abs());
        if let Some(along) = state.lane.along() {
            let old = state.along.as_ref().map(|a| a.peak.feature.value);
            if self.is_elsewhere(state, &along) {
                // The beacon was pushed on: a new station begins.
                state.across = None;
                state.ground = None;
                state.walk.clear();
                state.fitted = None;
                state.hunch = None;
                state.along = Some(along);
            } else if stronger(along.peak.feature.value, old) {
                state.along = Some(along);
            }
        }
        if let Some(across) = state.lane.across()
            && stronger(across.field_t, state.across.as_ref().map(|a| a.field_t))
        {
            state.across = Some(across);
        }
        self.put_mark(state);
    }

    /// Work out the mark from the lanes.
    fn put_mark(&self, state: &mut LocateState) {
        let across = state.across.as_ref();
        let levelness = self.levelness();
        let mark = state.along.as_ref().and_then(|along| mark::mark(along, across, levelness));
        let ratio_sigma = self.array.sigma().node_ratio;
        let nodes = self.array.spacing_m().map(|spacing_m| mark::Stacked { spacing_m, ratio_sigma });
        state.mark = match (mark, &state.fitted) {
            (Some(mark), Some(Ok(fitted))) => Some(mark.refined(fitted, nodes)),
            (Some(mark), Some(Err(what))) => Some(mark.undetermined(*what)),
            (mark, _) => mark,
        };
    }

    /// The lane is over: fit the walk as a whole, once there is a bracket to start from.
    fn close_lane(&self, state: &mut LocateState) {
        // The start knows nothing of lanes across: what they say is judged by the fit.
        if let Some(along) = state.along.as_ref().filter(|_| state.to_fit)
            && let Some(start) = mark::mark(along, None, self.levelness())
        {
            state.to_fit = false;
            let dipole = start.start(along.peak.feature.value);
            let shared = looking::shared(&self.array, start.pose_sigma_m, self.overlap.inflation);
            state.fitted = Some(traverse(&state.walk, dipole, &shared));
            self.put_mark(state);
        } else if state.to_fit && state.along.is_none() {
            // A lane that passed fewer than two nulls: where should the next one go?
            state.to_fit = false;
            let shared = looking::shared(&self.array, state.pose_sigma_m, self.overlap.inflation);
            state.hunch = Hunch::of_walk(&state.walk, &shared, &self.priors).or(state.hunch);
        }
    }

    /// Between walks that tell more, fit a glimpse now and then.
    fn glance(&self, state: &mut LocateState, glimpse: &Glimpse) {
        state.since_glimpse = state.since_glimpse.saturating_add(1);
        let better = state.mark.is_some() || state.hunch.is_some_and(|hunch| hunch.by_walk);
        if state.since_glimpse >= GLANCE_EVERY && !better {
            state.since_glimpse = 0;
            let shared = looking::shared(&self.array, state.pose_sigma_m, 1.0);
            let look = looking::view(glimpse, &self.array, 1.0);
            state.hunch = Hunch::of_look(&look, &shared, &self.priors);
        }
    }

    fn is_elsewhere(&self, state: &LocateState, along: &Along) -> bool {
        let (Some(mark), Some(place)) = (&state.mark, along.peak.place) else { return false };
        let away_m = place.enu_m.truncate().distance(mark.place_m);
        away_m > ELSEWHERE_DEPTHS * Self::depth_m(mark) + ELSEWHERE_M
    }

    fn depth_m(mark: &Mark) -> f32 {
        mark.null_spacing.map_or(1.0, |d| d.depth_m)
    }

    /// How level sonde and mast are.
    fn levelness(&self) -> mark::Levelness {
        mark::Levelness { sonde_sigma: self.level_sigma, mast_sigma: self.array.sigma().tilt_rad }
    }

    /// Near enough to the source for a hold to mean something.
    fn is_near(&self, state: &LocateState, glimpse: &Glimpse) -> bool {
        let field_t = glimpse.lower().field_t;
        match (&state.mark, glimpse.mast.position) {
            (Some(mark), Some(position)) => {
                let away_m = position.enu_m.truncate().distance(mark.place_m);
                away_m < NEAR_SHARE * Self::depth_m(mark) + NEAR_M + NEAR_SIGMAS * position.sigma_m
            }
            // Where positions are known, no place is near before both nulls were passed.
            (None, Some(_)) => false,
            // Else: above a level source the field lies flat, and is about as strong as at the peak passed.
            (_, None) => {
                let flat = field_t.z * field_t.z < 0.25 * field_t.truncate().length_squared();
                let peak = state.along.as_ref().map(|a| a.peak.field_t.length());
                flat && peak.is_some_and(|peak| field_t.length() > 0.7 * peak)
            }
        }
    }

    fn hold(&self, state: &mut LocateState, glimpse: &Glimpse) {
        state.hold.push(glimpse);
        if !state.hold.sums.is_enough() {
            return;
        }
        let lifted = state.ground.as_ref().is_some_and(|g| settle::lift_m(g, &state.hold.sums).is_some());
        if !lifted {
            state.ground = Some(state.hold.sums.clone());
        }
    }

    /// The fix of the hold in progress, once it has lasted long enough.
    fn fix(&self, state: &LocateState) -> Option<Fix> {
        if state.phase != Phase::Settle || !state.hold.sums.is_enough() {
            return None;
        }
        let ground = state.ground.as_ref()?;
        let mut reasons = Reasons::default();
        reasons.add_if(state.gain.exhausted, Reason::Saturated);
        reasons.add_if(state.gain.held_too_high, Reason::HeldTooHigh);
        reasons.add_if(state.nodes.contradict(), Reason::NodesContradict);
        let settled = Settled {
            array: &self.array,
            inflation: self.overlap.inflation,
            ground,
            lifted: settle::lift_m(ground, &state.hold.sums).map(|_| &state.hold.sums),
            mark: state.mark.as_ref(),
            level_sigma: self.level_sigma,
            bench_moment_a_m2: self.bench_moment_a_m2,
            bracketed: state.along.is_some(),
            paced: self.pacing.zip(state.along.as_ref()),
            reasons,
        };
        Some(settled.fix())
    }

    fn guidance(
        &self,
        state: &LocateState,
        glimpse: &Glimpse,
        level_db: f32,
        trend_db_per_s: f32,
        sweep: Option<Sweep>,
    ) -> Guidance {
        let heard = state.listener.heard();
        let near = matches!(state.phase, Phase::Bracket | Phase::Settle);
        Guidance {
            at: glimpse.at,
            phase: state.phase,
            turn_rad: if heard { Self::turn(state, glimpse) } else { None },
            trend_db_per_s,
            past_source: heard && state.homing.has_passed(level_db),
            snr_db: glimpse.snr_db,
            carrier_offset_hz: glimpse.carrier_offset_hz,
            offset: if heard { Self::offset(state, glimpse) } else { None },
            lay_rad: Self::lay(state, glimpse, near),
            mark: state.mark.map(|m| Place {
                east_m: m.place_m.x,
                north_m: m.place_m.y,
                sigma_m: m.sigma_along_m.max(m.sigma_across_m),
            }),
            crossed: state.mark.is_some_and(|m| m.crossed),
            sweep,
            sound: Sound::of(if heard { glimpse.snr_db } else { 0.0 }),
            trouble: self.trouble(state),
        }
    }

    /// Forward and left to the source: to the mark where there is one, else to where it is thought to be.
    fn offset(state: &LocateState, glimpse: &Glimpse) -> Option<Offset> {
        let Glimpse { mast, .. } = glimpse;
        let marked = state.mark.as_ref().map(|m| (m.place_m, m.sigma_along_m.max(m.sigma_across_m)));
        let (place_m, sigma_m) =
            marked.or_else(|| state.hunch.as_ref().map(|hunch| (hunch.place_m, hunch.sigma_m)))?;
        let way_m = place_m - mast.position.map_or(Vec2::ZERO, |position| position.enu_m.truncate());
        let to_mast = heading_rotation(mast.heading_rad.unwrap_or_default()).transpose();
        Some(Offset { way_m: (to_mast * way_m.extend(0.0)).truncate(), sigma_m })
    }

    /// Which way to turn: while homing, and on from there until both nulls were passed. To where the source is thought
    /// to be, once that is clearly this way; else by the field alone, up to the first null, where that bearing reverses.
    fn turn(state: &LocateState, glimpse: &Glimpse) -> Option<f32> {
        let field_t = glimpse.lower().field_t;
        let by_field = match state.phase {
            Phase::Home => turn_to_source(field_t),
            Phase::Bracket if state.along.is_none() => homing::turn_near(field_t),
            _ => return None,
        };
        let thought = Self::offset(state, glimpse).filter(Offset::is_clear);
        thought.map_or(by_field, |offset| Some(-math::atan2(offset.way_m.y, offset.way_m.x)))
    }

    /// Lay to the right of the forward axis: the mark's where there is one, else the walk's, else, near the source, the
    /// field's where it lies flat.
    fn lay(state: &LocateState, glimpse: &Glimpse, near: bool) -> Option<f32> {
        let by_walk = || state.hunch.as_ref().filter(|hunch| hunch.by_walk).map(|hunch| hunch.lay);
        let known = state.mark.as_ref().map(|mark| mark.lay).or_else(by_walk);
        if let (Some(lay), Some(heading_rad)) = (known, glimpse.mast.heading_rad) {
            return Some(math::wrap_half_pi(math::atan2(lay.x, lay.y) - heading_rad));
        }
        let f = glimpse.lower().field_t;
        let flat = f.z * f.z < f.truncate().length_squared();
        (near && flat).then(|| math::wrap_half_pi(-math::atan2(f.y, f.x)))
    }

    fn trouble(&self, state: &LocateState) -> Option<Reason> {
        if state.gain.exhausted {
            Some(Reason::Saturated)
        } else if state.gain.held_too_high {
            Some(Reason::HeldTooHigh)
        } else if state.bridged > DISTURBED_SHARE {
            // With so much missing it means nothing that the tone is not heard.
            Some(Reason::Disturbed)
        } else if let Some(stray) = state.stray {
            Some(Reason::OtherTone(stray.tone_hz))
        } else if !state.listener.heard() {
            Some(Reason::NoTone)
        } else {
            None
        }
    }
}

impl LocateState {
    /// Phase of the locate.
    pub fn phase(&self) -> Phase {
        self.phase
    }

    /// Whether the tone is still being listened for.
    pub fn is_listening(&self) -> bool {
        !self.listener.heard()
    }

    /// The mark, as far as it is known.
    pub fn mark(&self) -> Option<&Mark> {
        self.mark.as_ref()
    }

    /// Sample of the last glimpse.
    pub fn last(&self) -> Option<SampleIndex> {
        self.last
    }
}
