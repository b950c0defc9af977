//! What the technician must keep to.

use std::collections::VecDeque;
use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, TAU};

use glam::DVec2;
use proptest::prelude::*;

use super::motion::{bearing, turn_between};
use super::second_look::ON_THE_MARK_M;
use super::{Cue, Technician};
use crate::site::{Direction, Home, Lane, Leg, Lift, Settle, Site, Stand, Start, Station, Sway, Sweep, To};
use crate::synth::pose::Pose;

const DT_S: f64 = 0.002;

/// A technician without sway or bobbing, at the origin, facing north.
fn technician(legs: Vec<Leg>) -> Technician {
    let mut site = Site { walk: legs, ..Site::default() };
    site.noise.sway = Sway { rms_deg: 0.0, footfall_deg: 0.0, ..Sway::default() };
    (site.walker.bob_m, site.walker.weave_m) = (0.0, 0.0);
    let start = Start { east_m: 0.0, north_m: 0.0, heading_deg: 0.0 };
    Technician::new(&site, &Station { start, ..Station::default() }, (1, 0))
}

/// Walk to the end, or for `most_s`; every pose on the way.
fn walk(mut t: Technician, most_s: f64, mut cue: impl FnMut(&Pose) -> Option<Cue>) -> Vec<Pose> {
    let mut poses = vec![t.pose()];
    while !t.has_finished() {
        assert!(t.time_s < most_s, "still walking after {most_s} s: {:?}", t.motions);
        t.step(DT_S);
        poses.push(t.pose());
        if poses.len() % 50 == 0
            && let Some(cue) = cue(&t.pose())
        {
            t.respond(cue);
        }
    }
    poses
}

fn plan_of(pose: &Pose) -> DVec2 {
    pose.enu_m.truncate()
}

#[test]
fn goes_to_a_point_and_faces_it() {
    let leg = Leg::To(To { east_m: 3.0, north_m: -4.0, pace_m_s: None });
    let poses = walk(technician(vec![leg]), 20.0, |_| None);
    let last = poses[poses.len() - 1];
    assert!(plan_of(&last).distance(DVec2::new(3.0, -4.0)) < 0.02);
    let facing = turn_between(last.heading_rad, bearing(DVec2::new(3.0, -4.0)));
    assert!(facing.abs() < 0.02);
    // 5 m at 0.6 m/s take 8.3 s, the turn of 143 degrees at 60 a second 2.4 s; both need a start and an end.
    let seconds = poses.len() as f64 * DT_S;
    assert!((10.7..14.0).contains(&seconds), "{seconds}");
}

#[test]
fn sweeps_once_around_with_the_mast_pitched_down() {
    let poses = walk(technician(vec![Leg::Sweep(Sweep { seconds: 12.0 })]), 30.0, |_| None);
    let pitched: Vec<&Pose> = poses.iter().filter(|p| p.pitch_rad < -0.98 * FRAC_PI_4).collect();
    let (first, last) = (pitched[0], pitched[pitched.len() - 1]);
    assert!((last.heading_rad - first.heading_rad - TAU).abs() < 0.05);
    let seconds = pitched.len() as f64 * DT_S;
    assert!((12.0..14.5).contains(&seconds), "{seconds}");
    assert!(poses.iter().all(|p| plan_of(p).length() < 1e-9));
}

#[test]
fn homes_on_a_bearing_even_with_late_cues() {
    let source = DVec2::new(-4.0, -3.0);
    let mut late = VecDeque::new();
    let poses = walk(technician(vec![Leg::Home(Home { max_m: 12.0 })]), 60.0, |pose| {
        let way = source - plan_of(pose);
        let turn = turn_between(pose.heading_rad, bearing(way)) as f32;
        late.push_back(Cue { turn_rad: Some(turn), near: way.length() < 1.0, ..Cue::default() });
        // Cues are 0.1 s apart: this one is 0.4 s old.
        if late.len() > 4 { late.pop_front() } else { None }
    });
    let last = plan_of(&poses[poses.len() - 1]);
    assert!(last.distance(source) < 1.1, "{last}");
    let length: f64 = poses.windows(2).map(|w| plan_of(&w[0]).distance(plan_of(&w[1]))).sum();
    // 4 m as the crow flies; half a second straight on before the first cue, and back; 0.4 s too far.
    assert!(length < 5.0, "a detour: {length}");
}

#[test]
fn homing_without_cues_goes_straight_on_and_gives_up() {
    let poses = walk(technician(vec![Leg::Home(Home { max_m: 5.0 })]), 60.0, |_| None);
    let last = plan_of(&poses[poses.len() - 1]);
    assert!((last - DVec2::new(0.0, 5.0)).length() < 0.4, "{last}");
}

#[test]
fn lanes_run_through_the_mark_along_and_across_the_lay() {
    let (mark, lay) = (DVec2::new(2.0, 3.0), 0.5f64);
    let cue = Cue { lay_rad: Some(lay as f32), mark_enu_m: Some(mark.to_array()), ..Cue::default() };
    for (direction, course) in [
        (Direction::Along, lay),
        (Direction::Across, lay + FRAC_PI_2),
        (Direction::Bearing(100.0), 100f64.to_radians()),
    ] {
        let mut t = technician(vec![Leg::Lane(Lane { direction, length_m: 6.0 })]);
        t.respond(cue);
        let poses = walk(t, 60.0, |_| None);
        let unit = DVec2::new(course.sin(), course.cos());
        let end = (plan_of(&poses[poses.len() - 1]) - mark).dot(unit);
        assert!((end.abs() - 3.0).abs() < 0.02, "{direction:?} ends {end} from the mark");
        let lane: Vec<DVec2> =
            poses.iter().map(|p| plan_of(p) - mark).filter(|p| p.perp_dot(unit).abs() < 0.02).collect();
        let along = |p: &DVec2| p.dot(unit) * end.signum();
        assert!(lane.iter().any(|p| along(p) < -2.97) && lane.iter().any(|p| along(p) > 2.97));
    }
}

#[test]
fn settles_on_a_mark_that_moves_and_lifts_from_there() {
    let mut t = technician(vec![
        Leg::Settle(Settle { seconds: 6.0 }),
        Leg::Lift(Lift { height_m: 0.5, seconds: 4.0 }),
    ]);
    let better = DVec2::new(2.1, 0.9);
    t.respond(Cue { mark_enu_m: Some([2.0, 1.0]), ..Cue::default() });
    let poses = walk(t, 60.0, |pose| {
        let near = plan_of(pose).distance(better) < 0.5;
        near.then(|| Cue { mark_enu_m: Some(better.to_array()), ..Cue::default() })
    });
    let still_at = |height: f64| {
        poses
            .iter()
            .filter(|p| (p.enu_m.z - height).abs() < 0.005)
            .filter(|p| plan_of(p).distance(better) < ON_THE_MARK_M + 0.01)
            .count() as f64
            * DT_S
    };
    assert!(still_at(0.05) > 5.9 && still_at(0.55) > 3.9);
}

#[test]
fn sway_has_the_stated_size_and_footfalls_jolt() {
    let site = Site { walk: vec![Leg::Stand(Stand { seconds: 600.0 })], ..Site::default() };
    let poses = walk(Technician::new(&site, &Station::default(), (1, 0)), 601.0, |_| None);
    let rms = |angle: fn(&Pose) -> f64| {
        (poses.iter().map(|p| angle(p).powi(2)).sum::<f64>() / poses.len() as f64).sqrt()
    };
    assert!((rms(|p| p.pitch_rad).to_degrees() / 1.5 - 1.0).abs() < 0.05);
    assert!((rms(|p| p.roll_rad).to_degrees() / 1.5 - 1.0).abs() < 0.05);

    let mut walking = technician(vec![Leg::To(To { east_m: 0.0, north_m: 5.0, pace_m_s: None })]);
    walking.sway.footfall_deg = 0.4;
    let poses = walk(walking, 30.0, |_| None);
    let peak = poses.iter().fold(0.0f64, |a, p| a.max(p.pitch_rad)).to_degrees();
    // The first quarter of a turn at 9 Hz, 28 ms after the step, has decayed by exp(-28/60).
    assert!((0.2..0.3).contains(&peak), "{peak}");
}

fn any_leg() -> impl Strategy<Value = Leg> {
    prop_oneof![
        (0.0..5.0).prop_map(|seconds| Leg::Stand(Stand { seconds })),
        (3.0..20.0).prop_map(|seconds| Leg::Sweep(Sweep { seconds })),
        (-9.0..9.0, -9.0..9.0, proptest::option::of(0.3..1.5))
            .prop_map(|(east_m, north_m, pace_m_s)| Leg::To(To { east_m, north_m, pace_m_s })),
        (0.0..15.0).prop_map(|max_m| Leg::Home(Home { max_m })),
        (0.5..9.0, -360.0..360.0).prop_map(|(length_m, bearing)| Leg::Lane(Lane {
            direction: Direction::Bearing(bearing),
            length_m
        })),
        (0.5..9.0).prop_map(|length_m| Leg::Lane(Lane { direction: Direction::Across, length_m })),
        (0.0..8.0).prop_map(|seconds| Leg::Settle(Settle { seconds })),
        (0.0..1.5, 0.0..5.0).prop_map(|(height_m, seconds)| Leg::Lift(Lift { height_m, seconds })),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Whatever the legs and the cues, each leg ends, and nobody runs or jumps.
    #[test]
    fn every_walk_ends_at_a_human_pace(
        legs in proptest::collection::vec(any_leg(), 1..5),
        turn in proptest::option::of(-4.0f32..4.0),
        mark in proptest::option::of([-8.0..8.0, -8.0..8.0]),
        lay in proptest::option::of(0.0f32..3.2),
    ) {
        // The longest leg is a lane that finds nothing: 12.6 m straight on and back over it four times,
        // each with 2 x 12.6 m / 0.6 m/s + 20 s to get there, 21 s for the lane and a turn.
        let most_s = 400.0 * legs.len() as f64;
        let cue = Cue { turn_rad: turn, near: false, lay_rad: lay, mark_enu_m: mark, ..Cue::default() };
        let poses = walk(technician(legs), most_s, |_| Some(cue));
        for w in poses.windows(2) {
            prop_assert!((w[1].enu_m - w[0].enu_m).length() / DT_S < 1.6);
            prop_assert!((w[1].heading_rad - w[0].heading_rad).abs() / DT_S < 2.2);
        }
    }
}
