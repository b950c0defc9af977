//! Every other public function of the core. Generic ones appear as the firmware uses them.

use nullwalk_core::array::{Array, CommonPhase, Glimpse};
use nullwalk_core::depth::{self, Measured, Unusable};
use nullwalk_core::error::ConfigError;
use nullwalk_core::extrema::{Extrema, Feature, Kind, Prominence};
use nullwalk_core::fit::line::{Choice, Line, Models, PAIR_UNKNOWNS, Pair, PhasorLook, Traced, UNKNOWNS};
use nullwalk_core::fit::{Glimpsed, Look, Mergeable, Priors, Ring, Traversed};
use nullwalk_core::frame::{self, Block, MastReading, Tilt};
use nullwalk_core::gain::{Ladder, Stepper};
use nullwalk_core::grid::Grid;
use nullwalk_core::locate::{self, LocateState, Locator, Settings, Sound};
use nullwalk_core::mains::{self, Comparison, Finding, Harmonic, Hum, Mains, MainsState, Standing};
use nullwalk_core::paced::{self, Misfit, Pattern, Shape, Unfit, Walking};
use nullwalk_core::passive::{Heard, Passive, PassiveState};
use nullwalk_core::record::{self, Deframer, Envelope, FaultKind, Losses, Record, Reset};
use nullwalk_core::tone::{Marks, Phasors, Response, Scout, Tone, ToneState, Window};
use nullwalk_core::trace::{self, LineMethod, TraceState, Tracer};
use nullwalk_core::tuning::{self, Candidate, Filter, Unworkable};
use nullwalk_core::verdict::{self, Method, Reason, Reasons};
use nullwalk_core::{chi_square, field, fit, looking, math, words};

use crate::{CHANNELS, keep};

/// Keep every entry point, one line each.
pub fn keep_all() {
    keep(ConfigError::new as *const ());
    keep(<ConfigError as core::fmt::Display>::fmt as *const ());

    keep(math::sin_cos as *const ());
    keep(math::sin_cos_turn as *const ());
    keep(math::round as *const ());
    keep(math::sqrt as *const ());
    keep(math::cbrt as *const ());
    keep(math::exp as *const ());
    keep(math::exp_m1 as *const ());
    keep(math::ln as *const ());
    keep(math::recip_sqrt as *const ());
    keep(math::atan2 as *const ());
    keep(math::db as *const ());
    keep(math::wrap_pi as *const ());
    keep(math::wrap_half_pi as *const ());

    keep(chi_square::upper_point as *const ());
    keep(chi_square::Level::tabled as *const ());

    keep(Grid::nominal_hz as *const ());
    keep(Filter::loss_db as *const ());
    keep(Candidate::snr_db as *const ());
    keep(tuning::lowest_workable as *const ());
    keep(tuning::folded as *const ());
    keep(tuning::plan as *const ());
    keep(tuning::cleanest as *const ());
    keep(Unworkable::sentence as *const ());
    keep(<Unworkable as From<ConfigError>>::from as *const ());

    keep(Tilt::levelling as *const ());
    keep(frame::heading_rotation as *const ());

    keep(Ladder::rungs as *const ());
    keep(Ladder::top as *const ());
    keep(Ladder::rung as *const ());
    keep(Ladder::coil_volts_per_count as *const ());
    keep(Ladder::rail_counts as *const ());
    keep(Stepper::is_exhausted as *const ());
    keep(Stepper::is_held_too_high as *const ());
    keep(Stepper::push as *const ());

    keep(Array::coupled as *const ());
    keep(Array::nodes as *const ());
    keep(Array::sigma as *const ());
    keep(Array::foot_m as *const ());
    keep(Array::fields::<CHANNELS> as *const ());
    keep(Array::glimpse::<CHANNELS> as *const ());
    keep(Array::spacing_m as *const ());
    keep(CommonPhase::phase_rad as *const ());
    keep(Glimpse::new as *const ());
    keep(Glimpse::lower as *const ());

    keep(looking::look as *const ());
    keep(looking::view as *const ());
    keep(looking::phasor_look as *const ());
    keep(looking::shared as *const ());
    keep(looking::relative as *const ());

    keep(field::dipole::<f32> as *const ());
    keep(field::dipole_moment::<f32> as *const ());
    keep(field::segment::<f32> as *const ());
    keep(field::long_line::<f32> as *const ());
    keep(field::long_line_phasor::<f32> as *const ());
    keep(field::long_pair::<f32> as *const ());
    keep(field::grounded::<f32> as *const ());
    keep(fit::glimpse as *const ());
    keep(Priors::default as *const ());
    keep(Glimpsed::depth_m as *const ());
    keep(Glimpsed::bearing_rad as *const ());
    keep(fit::traverse::<128> as *const ());
    keep(Ring::<128, Look>::default as *const ());
    keep(Ring::<128, Look>::push as *const ());
    keep(Ring::<128, Look>::clear as *const ());
    keep(Ring::<128, Look>::looks as *const ());
    keep(Traversed::sigma as *const ());
    keep(Traversed::reduced_chi_square as *const ());
    keep(Traversed::outlying_share as *const ());

    keep(fit::line::start::<128, Look> as *const ());
    keep(fit::line::traverse::<128, Look> as *const ());
    keep(fit::line::glimpse as *const ());
    keep(fit::line::traverse_pair::<128, Look> as *const ());
    keep(fit::line::traverse_two::<128> as *const ());
    keep(fit::line::quadrature::<128> as *const ());
    keep(<Look as Mergeable>::look as *const ());
    keep(<Look as Mergeable>::merged as *const ());
    keep(<PhasorLook as Mergeable>::look as *const ());
    keep(<PhasorLook as Mergeable>::merged as *const ());
    keep(Ring::<128, PhasorLook>::push as *const ());
    keep(Line::field_nt as *const ());
    keep(Line::lay_rad as *const ());
    keep(Pair::field_nt as *const ());
    keep(Traced::<Line, UNKNOWNS>::sigma as *const ());
    keep(Traced::<Line, UNKNOWNS>::reduced_chi_square as *const ());
    keep(Traced::<Line, UNKNOWNS>::depth_below_m as *const ());
    keep(Traced::<Line, UNKNOWNS>::depth_in_soil_m as *const ());
    keep(Traced::<Line, UNKNOWNS>::stated_depth_m as *const ());
    keep(Traced::<Line, UNKNOWNS>::left_of_m as *const ());
    keep(Traced::<Line, UNKNOWNS>::lay_rad as *const ());
    keep(Traced::<Line, UNKNOWNS>::current_a as *const ());
    keep(Traced::<Pair, PAIR_UNKNOWNS>::sigma as *const ());
    keep(Models::of::<128, Look> as *const ());
    keep(Models::choice as *const ());
    keep(Choice::is_decided as *const ());
    keep(fit::line::change::<128, Look> as *const ());
    keep(fit::line::kind_by_heights as *const ());

    keep(trace::Settings::of as *const ());
    keep(Tracer::new as *const ());
    keep(Tracer::settings as *const ());
    keep(Tracer::start as *const ());
    keep(Tracer::push as *const ());
    keep(Tracer::lift as *const ());
    keep(Tracer::judge as *const ());
    keep(Tracer::glance as *const ());
    keep(TraceState::walk as *const ());
    keep(TraceState::counts as *const ());
    keep(LineMethod::name as *const ());
    keep(trace::lag as *const ());

    keep(Tone::hop_s as *const ());
    keep(Tone::hop_samples as *const ());
    keep(Tone::boxcar_samples as *const ());
    keep(Tone::tone_hz as *const ());
    keep(Tone::rate_hz as *const ());
    keep(Tone::response as *const ());
    keep(Tone::settling_samples as *const ());
    keep(Tone::start::<CHANNELS> as *const ());
    keep(push_into_tone as *const ());
    keep(ToneState::<CHANNELS>::take_peak as *const ());
    keep(ToneState::<CHANNELS>::is_settling as *const ());
    keep(Marks::and as *const ());
    keep(Phasors::<CHANNELS>::snr_db as *const ());
    keep(Window::taps as *const ());
    keep(Tone::taps as *const ());
    keep(Window::boxcar_rate_hz as *const ());
    keep(Response::noise_bandwidth_hz as *const ());
    keep(Response::gain as *const ());
    keep(Response::step as *const ());
    keep(Response::overlap as *const ());
    keep(Scout::new as *const ());
    keep(Scout::push::<CHANNELS> as *const ());

    keep(Mains::new as *const ());
    keep(Mains::rate_hz as *const ());
    keep(Mains::hop_samples as *const ());
    keep(Mains::hop_s as *const ());
    keep(Mains::noise_bandwidth_hz as *const ());
    keep(Mains::start::<CHANNELS> as *const ());
    keep(push_into_mains as *const ());
    keep(MainsState::<CHANNELS>::is_settling as *const ());
    keep(Harmonic::<CHANNELS>::is_heard as *const ());
    keep(Hum::<CHANNELS>::strongest as *const ());
    keep(Hum::<CHANNELS>::finding as *const ());
    keep(Hum::<CHANNELS>::phasors as *const ());
    keep(Finding::sentence as *const ());
    keep(mains::chance as *const ());
    keep(Standing::<CHANNELS>::default as *const ());
    keep(Standing::<CHANNELS>::push as *const ());
    keep(Standing::<CHANNELS>::pieces as *const ());
    keep(Standing::<CHANNELS>::is_comparable as *const ());
    keep(mains::compare::<CHANNELS> as *const ());
    keep(Comparison::<CHANNELS>::changed as *const ());
    keep(Comparison::<CHANNELS>::phasors as *const ());

    keep(Passive::<CHANNELS>::new as *const ());
    keep(Passive::<CHANNELS>::array as *const ());
    keep(Passive::<CHANNELS>::start as *const ());
    keep(push_into_passive as *const ());
    keep(PassiveState::<CHANNELS>::stepper as *const ());
    keep(Heard::<CHANNELS>::glimpse as *const ());

    keep(<Prominence as Default>::default as *const ());
    keep(Kind::name as *const ());
    keep(Extrema::new as *const ());
    keep(Extrema::with_jitter as *const ());
    keep(Extrema::count as *const ());
    keep(push_into_extrema as *const ());

    keep(Measured::new as *const ());
    keep(Unusable::sentence as *const ());
    keep(depth::field_ratio as *const ());
    keep(depth::ratio as *const ());
    keep(depth::null_spacing as *const ());
    keep(depth::vertical_maxima as *const ());
    keep(depth::lift as *const ());
    keep(depth::tilt_correction as *const ());
    keep(depth::line::ratio as *const ());
    keep(depth::line::width as *const ());
    keep(depth::line::diagonal as *const ());
    keep(depth::line::vertical_maxima as *const ());
    keep(depth::line::lift as *const ());
    keep(depth::line::rays as *const ());
    keep(depth::line::inclination as *const ());
    keep(depth::soil::Soil::conductivity_s_per_m as *const ());
    keep(depth::soil::lengthening as *const ());
    keep(depth::soil::returned_per_m as *const ());
    keep(depth::soil::corrected as *const ());

    keep(paced::pattern as *const ());
    keep(<Walking as Default>::default as *const ());
    keep(Pattern::depth as *const ());
    keep(Misfit::is_gross as *const ());
    keep(Shape::off_sigmas as *const ());
    keep(Unfit::sentence as *const ());

    keep(Method::name as *const ());
    keep(Reason::code as *const ());
    keep(Reason::sentence as *const ());
    keep(Reason::remedy as *const ());
    keep(Reason::severity as *const ());
    keep(Reasons::add as *const ());
    keep(Reasons::add_if as *const ());
    keep(Reasons::as_slice as *const ());
    keep(Reasons::severity as *const ());
    keep(verdict::judge as *const ());
    keep(verdict::Judgement::refused as *const ());
    keep(verdict::Judgement::with as *const ());
    keep(verdict::combined as *const ());
    keep(verdict::Clue::code as *const ());
    keep(verdict::Clue::reason as *const ());

    keep(<Settings as Default>::default as *const ());
    keep(Locator::new as *const ());
    keep(Locator::array as *const ());
    keep(Locator::start as *const ());
    keep(Locator::push as *const ());
    keep(Locator::refusal as *const ());
    keep(LocateState::phase as *const ());
    keep(LocateState::is_listening as *const ());
    keep(LocateState::last as *const ());
    keep(LocateState::mark as *const ());
    keep(locate::turn_to_source as *const ());
    keep(Sound::of as *const ());

    keep(record::clipped::<32> as *const ());
    keep(Envelope::take as *const ());
    keep(Envelope::whole as *const ());
    keep(Envelope::open as *const ());
    keep(<Deframer as Default>::default as *const ());
    keep(Deframer::push as *const ());
    keep(Deframer::losses as *const ());
    keep(Deframer::damaged as *const ());
    keep(Deframer::is_within as *const ());
    keep(Losses::note as *const ());
    keep(Losses::lost as *const ());
    keep(Losses::restarts as *const ());
    keep(Record::kind as *const ());
    keep(record::Kind::code as *const ());
    keep(record::Kind::of as *const ());
    keep(record::Kind::name as *const ());
    keep(record::Kind::keeping as *const ());
    keep(FaultKind::sentence as *const ());
    keep(Reset::name as *const ());

    keep(words::phase_word as *const ());
    keep(words::instruction as *const ());
    keep(words::without_figure as *const ());
    keep(words::turn as *const ());
    keep(words::ahead as *const ());
    keep(words::aside as *const ());
    keep(words::verdict_word as *const ());
    keep(words::reason_word as *const ());
    keep(words::fault as *const ());
    keep(words::remedy as *const ());

    #[cfg(feature = "a-panic-on-purpose")]
    keep(third_of as *const ());
}

fn push_into_tone(
    tone: &Tone,
    state: &mut ToneState<CHANNELS>,
    ladder: &Ladder,
    block: &Block<'_, CHANNELS>,
    output: &mut dyn FnMut(&Phasors<CHANNELS>),
) {
    Tone::push(tone, state, ladder, block, output);
}

fn push_into_mains(
    mains: &Mains,
    state: &mut MainsState<CHANNELS>,
    ladder: &Ladder,
    block: &Block<'_, CHANNELS>,
    output: &mut dyn FnMut(&Hum<CHANNELS>),
) {
    Mains::push(mains, state, ladder, block, output);
}

fn push_into_passive(
    passive: &Passive<CHANNELS>,
    state: &mut PassiveState<CHANNELS>,
    block: &Block<'_, CHANNELS>,
    mast: Option<MastReading>,
    heard: &mut dyn FnMut(&Heard<CHANNELS>),
) {
    Passive::push(passive, state, block, mast, heard);
}

fn push_into_extrema(search: &mut Extrema, value: f32, sigma: f32, found: &mut dyn FnMut(Feature)) {
    Extrema::push(search, value, sigma, found);
}

/// Panics where `samples` holds fewer than three.
#[cfg(feature = "a-panic-on-purpose")]
fn third_of(samples: &[i32]) -> i32 {
    samples[2]
}
