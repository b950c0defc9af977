//! A full turn on the spot: signal against heading, with the mast level, pitched, and with the gain too high.

use std::error::Error;

use maud::{Markup, html};
use nullwalk_core::array::{CommonPhase, Glimpse, NodePhasor};
use nullwalk_core::field::dipole;
use nullwalk_core::frame::{MastReading, Tilt, heading_rotation};
use nullwalk_core::locate::{GainState, Locator, Settings, Sweep};
use nullwalk_core::tone::Overlap;
use num_complex::Complex32;

use super::{FIRST, GUIDE, LEFT, RIGHT, WIDTH, heading, note, words};
use crate::chart::{self, Axis, Panel};
use crate::run::{self, Event};
use crate::site::{Leg, Site, Sonde, Stand, Start, Sweep as SweepLeg};
use crate::synth::Simulation;

/// Where the sonde lies, seen from where the turn is made.
const EAST_M: f64 = 2.4;
const NORTH_M: f64 = 0.8;
const DEPTH_M: f64 = 1.0;
const LAY_DEG: f64 = 70.0;
const MOMENT_A_M2: f64 = 0.2;
/// So strong that the highest rung, held by hand, clips all around.
const STRONG_A_M2: f64 = 60.0;
const TOP_RUNG: u8 = 4;
const DOWN_45: Tilt = Tilt { pitch_rad: -core::f32::consts::FRAC_PI_4, roll_rad: 0.0 };

/// A turn: signal of the forward coil over heading, and what the core makes of it.
struct Turn {
    title: &'static str,
    /// Heading in degrees and signal in nanotesla.
    points: Vec<(f64, f64)>,
    judged: Option<Sweep>,
}

pub fn draw() -> Result<String, Box<dyn Error>> {
    let turns = [
        level()?,
        walked("mast pitched 45° forward and down", MOMENT_A_M2, None)?,
        walked("pitched, but a strong sonde and the gain held too high", STRONG_A_M2, Some(TOP_RUNG))?,
    ];
    let content = html! {
        (FIRST.key(LEFT, 14.0, "forward coil"))
        (GUIDE.key(LEFT + 130.0, 14.0, "true bearing to the sonde"))
        @for (n, turn) in turns.iter().enumerate() {
            (panel(turn, 58.0 + 190.0 * n as f64, n + 1 == turns.len()))
        }
    };
    Ok(chart::document(WIDTH, 640.0, "Signal against heading in a full turn", &content))
}

fn panel(turn: &Turn, top: f64, last: bool) -> Markup {
    let highest = turn.points.iter().map(|p| p.1).fold(0.0, f64::max);
    let label = if last { "heading, degrees clockwise from north" } else { "" };
    let panel = Panel {
        left: LEFT,
        top,
        width: WIDTH - LEFT - RIGHT,
        height: 140.0,
        x: Axis::linear(label, 0.0, 360.0, 45.0),
        y: Axis::rounded("signal, nT", 0.0, 1.15 * highest, 4.0),
    };
    let bearing_deg = EAST_M.atan2(NORTH_M).to_degrees();
    html! {
        (heading(LEFT, top - 8.0, turn.title))
        (words("end", panel.right(), top - 8.0, &told(turn.judged)))
        (panel.scales())
        (panel.curve([(bearing_deg, 0.0), (bearing_deg, 2.0 * highest)], GUIDE))
        (panel.curve(turn.points.iter().copied(), FIRST))
        (panel.outline())
        (note("start", panel.x(bearing_deg) + 4.0, panel.bottom() - 6.0, &format!("{bearing_deg:.0}°")))
    }
}

fn told(judged: Option<Sweep>) -> String {
    let degrees = |rad: f32| f64::from(rad).to_degrees().rem_euclid(360.0);
    let what = match judged {
        Some(Sweep::OneBearing(rad)) => format!("one bearing, {:.0}°", degrees(rad)),
        Some(Sweep::TwoBearings(rad)) => {
            format!(
                "two bearings, {:.0}° and {:.0}°",
                degrees(rad),
                (degrees(rad) + 180.0).rem_euclid(360.0)
            )
        }
        Some(Sweep::HiddenByGain) => "hidden by gain".to_owned(),
        Some(Sweep::NoBearing) => "no bearing".to_owned(),
        None => "nothing".to_owned(),
    };
    format!("the core says: {what}")
}

/// With the mast level: the forward model straight into the locate.
fn level() -> Result<Turn, Box<dyn Error>> {
    let array = Site::default().array.array()?.ok_or("no default array")?;
    let locator = Locator::new(array, 0.1, Overlap::NONE, Settings::default())?;
    let mut state = locator.start();
    let mut phase = CommonPhase::default();
    let (s, c) = LAY_DEG.to_radians().sin_cos();
    let field = dipole([MOMENT_A_M2 * s, MOMENT_A_M2 * c, 0.0], [-EAST_M, -NORTH_M, DEPTH_M]);
    let field = glam::Vec3::from_array(field.map(|b| b as f32));
    let mut turn = Turn { title: "mast level", points: Vec::new(), judged: None };
    for k in 0..=120_u32 {
        let heading_deg = 3.0 * f64::from(k);
        let heading_rad = heading_deg.to_radians() as f32;
        let in_mast = heading_rotation(heading_rad).transpose() * field;
        let phasor = NodePhasor { field_t: in_mast.to_array().map(Complex32::from), sigma_t: 1e-12 };
        let mast = MastReading { heading_rad: Some(heading_rad), ..MastReading::default() };
        let glimpse = Glimpse::new(k.into(), &[phasor], &mut phase, mast, Default::default());
        let (guidance, _) = locator.push(&mut state, &glimpse, None, GainState::default());
        turn.judged = turn.judged.or(guidance.sweep);
        turn.points.push((heading_deg, f64::from(in_mast.x.abs()) * 1e9));
    }
    Ok(turn)
}

/// With the mast pitched: the simulated technician turns, through coils, front end and the whole core.
fn walked(title: &'static str, moment_a_m2: f64, held_rung: Option<u8>) -> Result<Turn, Box<dyn Error>> {
    let site = Site {
        source: vec![Sonde {
            east_m: EAST_M,
            north_m: NORTH_M,
            depth_m: DEPTH_M,
            lay_deg: LAY_DEG,
            moment_a_m2,
            ..Sonde::default()
        }],
        station: vec![crate::site::Station {
            start: Start { east_m: 0.0, north_m: 0.0, heading_deg: 0.0 },
            ..Default::default()
        }],
        walk: vec![
            Leg::Stand(Stand { seconds: 4.0 }),
            Leg::Sweep(SweepLeg::default()),
            Leg::Stand(Stand::default()),
        ],
        ..Site::default()
    };
    let array = site.array.array()?.ok_or("no default array")?;
    let instrument = run::instrument::<6>(&site.signal, site.front_end.ladder()?, array)?;
    let mut simulation = Simulation::new(&site, 0, 1)?;
    let mut points = Vec::new();
    let Ok(outcome) = run::locate(&instrument, &mut simulation, held_rung, |update| {
        let MastReading { heading_rad: Some(heading_rad), tilt: Some(tilt), .. } = update.glimpse.mast
        else {
            return;
        };
        // Only the turn itself: the mast pitched all the way.
        if (tilt.pitch_rad - DOWN_45.pitch_rad).abs() < 0.1 {
            let forward = tilt.levelling() * glam::Vec3::X;
            let signal_t = update.glimpse.lower().field_t.dot(forward).abs();
            let heading_deg = f64::from(heading_rad).to_degrees().rem_euclid(360.0);
            points.push((heading_deg, f64::from(signal_t) * 1e9));
        }
    });
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let judged = outcome.log.iter().find_map(|m| match m.event {
        Event::Sweep(sweep) => Some(sweep),
        _ => None,
    });
    Ok(Turn { title, points, judged })
}
