//! What any technician knows of locating a sonde, checked on the instrument.
//!
//! Everything here is common practice, no source, unless a test says otherwise.

use std::path::Path;

use glam::{DVec3, Vec3};
use nullwalk::capture::FieldRecording;
use nullwalk::equipment::ArrayFile;
use nullwalk::run::{self, Event, Outcome};
use nullwalk::site::{Leg, Site, Sonde, Stand, Start, Station, Sway, Sweep as SweepLeg, To, Walker};
use nullwalk_core::extrema::{Extrema, Kind, Prominence};
use nullwalk_core::field;
use nullwalk_core::gain::{Ladder, Rung, Stepper};
use nullwalk_core::instrument::Update;
use nullwalk_core::locate::Sweep;
use nullwalk_core::tone::Overlap;
use nullwalk_core::verdict::Verdict;
use nullwalk_tests::{Compared, instrument, located, simulation, site};
use proptest::prelude::*;

/// A sonde whose lay runs east, its pose known to a millimetre, and a technician who walks as told.
fn ground(depth_m: f64, pitch_deg: f64, start_east_m: f64, walk: Vec<Leg>) -> Site {
    let mut site = site("clean-level");
    site.source = vec![Sonde { depth_m, pitch_deg, lay_deg: 90.0, ..Sonde::default() }];
    let start = Start { east_m: start_east_m, north_m: 0.0, heading_deg: 90.0 };
    site.station = vec![Station { start, ..Station::default() }];
    site.walk = walk;
    site
}

/// Stand, so that the tone is heard, then walk straight to a point on the lay.
fn straight_to(east_m: f64) -> Vec<Leg> {
    vec![
        Leg::Stand(Stand { seconds: 4.0 }),
        Leg::To(To { east_m, ..To::default() }),
        Leg::Stand(Stand { seconds: 2.0 }),
    ]
}

fn walked(site: &Site, seed: u64) -> (Outcome, Vec<Update<6>>) {
    located(&instrument(site), &mut simulation(site, 0, seed))
}

/// A place on the lane along the lay, the field there (east, north, up), and its noise.
fn along_the_lane(updates: &[Update<6>]) -> Vec<(f64, Vec3, f32)> {
    updates
        .iter()
        .filter_map(|u| {
            let place = u.glimpse.mast.position?;
            let to_site = nullwalk_core::frame::heading_rotation(u.glimpse.mast.heading_rad?);
            Some((f64::from(place.enu_m.x), to_site * u.glimpse.lower().field_t, u.glimpse.lower().sigma_t))
        })
        .collect()
}

/// Places of peaks and nulls of one component along a lane.
fn features(lane: &[(f64, Vec3, f32)], component: impl Fn(Vec3) -> f32) -> Vec<(Kind, f64, f32)> {
    let mut search = Extrema::new(Prominence::default(), Overlap { inflation: 3.0, fourth_moment: 0.0 });
    let mut found = Vec::new();
    for (_, field_t, sigma_t) in lane {
        search.push(component(*field_t), *sigma_t, |f| found.push(f));
    }
    let place = |f: &nullwalk_core::extrema::Feature| {
        let at = f64::from(f.index) + f64::from(f.fraction);
        let n = (at.max(0.0) as usize).min(lane.len() - 2);
        lane[n].0 + (lane[n + 1].0 - lane[n].0) * (at - n as f64)
    };
    found.iter().map(|f| (f.kind, place(f), f.value)).collect()
}

/// Height of the lower node while it is carried, metres.
const CARRIED_M: f64 = 0.15;

#[test]
fn there_are_two_nulls_one_on_each_side_and_the_sonde_exactly_between() {
    for (depth_m, seed) in [(0.5, 1), (1.0, 2), (1.5, 3), (2.0, 4)] {
        let below_m = depth_m + CARRIED_M;
        let (_, updates) = walked(&ground(depth_m, 0.0, -3.0 * below_m, straight_to(3.0 * below_m)), seed);
        let found = features(&along_the_lane(&updates), |b| b.x);
        let nulls: Vec<f64> = found.iter().filter(|f| f.0 == Kind::Null).map(|f| f.1).collect();
        let &[before, after] = nulls.as_slice() else { panic!("{depth_m} m: nulls at {nulls:?}") };
        let middle_m = 0.5 * (before + after);
        println!("{depth_m} m deep: nulls at {before:+.3} and {after:+.3} m, middle {middle_m:+.4} m");
        assert!(before < 0.0 && after > 0.0);
        assert!(middle_m.abs() < 0.01 + 0.01 * depth_m, "{depth_m} m: middle {middle_m}");
        // Zeros of 2 x^2 - d^2: Jackson, Classical Electrodynamics, 3rd ed., eq. 5.56, along the axis.
        let expected_m = below_m * std::f64::consts::FRAC_1_SQRT_2;
        assert!(((after - before) / (2.0 * expected_m) - 1.0).abs() < 0.02, "{depth_m} m: {nulls:?}");
    }
}

/// Every mark that was given on the way, east of the sonde, metres.
fn marks(updates: &[Update<6>]) -> Vec<f64> {
    updates.iter().filter_map(|u| u.guidance.mark).map(|mark| f64::from(mark.east_m)).collect()
}

#[test]
fn the_side_peak_of_20_percent_is_never_taken_for_the_peak() {
    for (depth_m, seed) in [(0.6, 1), (1.0, 2), (1.5, 3)] {
        let below_m = depth_m + CARRIED_M;
        // Over both side peaks and the peak: they are there to be mistaken.
        let (_, updates) = walked(&ground(depth_m, 0.0, -4.0 * below_m, straight_to(4.0 * below_m)), seed);
        let found = features(&along_the_lane(&updates), |b| b.x);
        let mut peaks: Vec<f64> =
            found.iter().filter(|f| f.0 != Kind::Null).map(|f| f64::from(f.2.abs())).collect();
        peaks.sort_by(f64::total_cmp);
        let highest = peaks.last().copied().expect("a peak");
        // Less than a tenth is the sway of a mast that waits at the end of the lane.
        let lesser = peaks.iter().map(|peak| peak / highest);
        let side: Vec<f64> = lesser.filter(|share| (0.1..0.9).contains(share)).collect();
        println!("{depth_m} m: lesser peaks {side:.3?} of the highest");
        assert!(side.len() == 2 && side.iter().all(|share| (0.17..0.24).contains(share)), "{side:?}");
        let all = marks(&updates);
        assert!(!all.is_empty(), "{depth_m} m: no mark");
        assert!(all.iter().all(|mark| mark.abs() < 0.1 * depth_m), "{depth_m} m: marks {all:?}");

        // Over a side peak alone, either side, coming or going: no mark at all.
        for (from, to) in [(0.9, 4.0), (4.0, 0.9), (-0.9, -4.0), (-4.0, -0.9)] {
            let site = ground(depth_m, 0.0, from * below_m, straight_to(to * below_m));
            let (outcome, updates) = walked(&site, seed);
            let all = marks(&updates);
            assert!(all.is_empty(), "{depth_m} m deep, walked from {from} to {to} depths: {all:?}");
            assert_eq!(outcome.fix, None);
        }
    }
}

#[test]
fn the_maximum_of_the_total_field_is_not_the_mark() {
    // A tilt of 5 degrees moves the maximum of |B| by 0.228 depths (algebra, see docs/src/theory/tilt.md), the
    // vertical null by 0.058 and the axial peak by 0.029.
    for (depth_m, pitch_deg, seed) in [(1.0, 5.0, 1), (1.0, -5.0, 2), (1.5, 5.0, 3), (2.0, -5.0, 4)] {
        let below_m = depth_m + CARRIED_M;
        let mut site = ground(depth_m, pitch_deg, -3.0 * below_m, straight_to(3.0 * below_m));
        // The top of |B| is flat: bobbing alone would move its maximum by more than the tilt does.
        site.walker = Walker { bob_m: 0.0, weave_m: 0.0, ..Walker::default() };
        site.noise.sway = Sway { rms_deg: 0.0, footfall_deg: 0.0, ..Sway::default() };
        let (_, updates) = walked(&site, seed);
        let lane = along_the_lane(&updates);
        let strongest = lane.iter().max_by(|a, b| a.1.length().total_cmp(&b.1.length())).expect("a lane").0;
        let mark = marks(&updates).last().copied().expect("a mark");
        let share = |m: f64| m / below_m;
        println!(
            "{depth_m} m deep, tilted by {pitch_deg} degrees: |B| is largest at {:+.3} depths, the mark at {:+.3}",
            share(strongest),
            share(mark)
        );
        let trap = 0.228 * pitch_deg.signum();
        assert!((share(strongest) - trap).abs() < 0.1, "the trap is not where it should be: {strongest}");
        assert!(mark.abs() < 0.03 + 0.02 * depth_m, "{mark}");
    }
}

/// A full turn on the spot, some metres from a sonde whose lay runs east.
fn turned(east_m: f64, north_m: f64, moment_a_m2: f64, held_rung: Option<u8>) -> Vec<Sweep> {
    let walk = vec![Leg::Stand(Stand { seconds: 4.0 }), Leg::Sweep(SweepLeg::default())];
    let mut site = ground(1.2, 0.0, 0.0, walk);
    site.source[0].moment_a_m2 = moment_a_m2;
    site.station[0].start = Start { east_m, north_m, heading_deg: 20.0 };
    let instrument = instrument(&site);
    let Ok(outcome) = run::locate(&instrument, &mut simulation(&site, 0, 1), held_rung, |_| ());
    sweeps(&outcome)
}

fn sweeps(outcome: &Outcome) -> Vec<Sweep> {
    let sweep = |event: &Event| if let Event::Sweep(sweep) = event { Some(*sweep) } else { None };
    outcome.log.iter().filter_map(|moment| sweep(&moment.event)).collect()
}

/// Angle between a bearing and the way to the sonde, degrees.
fn off_deg(bearing_rad: f32, east_m: f64, north_m: f64) -> f64 {
    let to_sonde_deg = (-east_m).atan2(-north_m).to_degrees();
    ((f64::from(bearing_rad).to_degrees() - to_sonde_deg + 180.0).rem_euclid(360.0) - 180.0).abs()
}

#[test]
fn a_full_turn_with_the_mast_at_45_degrees_finds_one_direction_when_the_gain_is_right() {
    for (east_m, north_m) in [(-2.0, 0.0), (-3.0, 0.4), (3.0, 0.0), (4.0, -0.8), (-4.5, 0.5)] {
        let found = turned(east_m, north_m, 0.2, None);
        println!("from {east_m} m east, {north_m} m north: {found:?}");
        let &[Sweep::OneBearing(bearing_rad)] = found.as_slice() else { panic!("{found:?}") };
        let off = off_deg(bearing_rad, east_m, north_m);
        assert!(off < 30.0, "from {east_m} m east, {north_m} m north: {off} degrees off");
    }
}

#[test]
fn and_none_when_the_gain_is_too_high() {
    for (east_m, north_m) in [(-2.0, 0.0), (3.0, 0.3)] {
        // The same strong sonde, with the gain held at the top rung and left to step by itself.
        let held = turned(east_m, north_m, 60.0, Some(4));
        let free = turned(east_m, north_m, 60.0, None);
        println!("from {east_m} m east: held {held:?}, free {free:?}");
        assert_eq!(held, [Sweep::HiddenByGain]);
        let &[Sweep::OneBearing(bearing_rad)] = free.as_slice() else { panic!("{free:?}") };
        assert!(off_deg(bearing_rad, east_m, north_m) < 30.0);
    }
}

/// A full turn at the origin by the books: a dipole `away_m` to the west, its axis east-west, 1 m down, and a mast
/// pitched forward and down by `down_deg`. The field comes from the dipole formula alone, not from the simulator.
fn turned_by_the_books(away_m: f64, down_deg: f64) -> Vec<Sweep> {
    let mut table = String::from(
        "time_s,heading_deg,pitch_deg,roll_deg,n0x_re_t,n0x_im_t,n0y_re_t,n0y_im_t,n0z_re_t,n0z_im_t,\
         n1x_re_t,n1x_im_t,n1y_re_t,n1y_im_t,n1z_re_t,n1z_im_t,sigma_t\n",
    );
    for n in 0..160 {
        // Two seconds at rest, a turn of 12 s, two at rest.
        let heading_deg = 10.0 + ((f64::from(n) - 20.0) * 3.0).clamp(0.0, 360.0);
        let (h, p) = (heading_deg.to_radians(), -down_deg.to_radians());
        let forward = DVec3::new(h.sin() * p.cos(), h.cos() * p.cos(), p.sin());
        let left = DVec3::new(-h.cos(), h.sin(), 0.0);
        let up = forward.cross(left);
        let mut row = format!("{},{},{},0", 0.1 * f64::from(n), heading_deg % 360.0, -down_deg);
        for height_m in [0.0, 0.4] {
            let node = up * height_m;
            let b =
                DVec3::from_array(field::dipole([0.2, 0.0, 0.0], [node.x + away_m, node.y, node.z + 1.0]));
            for axis in [forward, left, up] {
                row += &format!(",{:e},0", b.dot(axis));
            }
        }
        table += &format!("{row},1e-12\n");
    }
    let file = Path::new("field.csv");
    let recording = FieldRecording::parse(table.as_bytes(), file, 0.05, &mut Vec::new()).unwrap();
    let array = ArrayFile::default().array().unwrap().unwrap();
    sweeps(&run::locate_phasors(array, &recording).unwrap())
}

#[test]
fn a_level_mast_shows_two_opposite_directions_a_pitched_one_only_one() {
    for away_m in [2.0, 3.0, 4.0] {
        let level = turned_by_the_books(away_m, 0.0);
        let pitched = turned_by_the_books(away_m, 45.0);
        println!("{away_m} m away: level {level:?}, pitched {pitched:?}");
        let &[Sweep::TwoBearings(either_rad)] = level.as_slice() else { panic!("{level:?}") };
        let off = off_deg(either_rad, away_m, 0.0);
        assert!(off.min(180.0 - off) < 10.0, "{off} degrees off the line through the sonde");
        let &[Sweep::OneBearing(bearing_rad)] = pitched.as_slice() else { panic!("{pitched:?}") };
        assert!(off_deg(bearing_rad, away_m, 0.0) < 10.0, "{bearing_rad}");
    }
}

/// Rungs in force while a stepper sees a steady signal of `coil_counts` (at gain 1), block by block. It starts at
/// `start`, and a rung that is asked for comes into force with the next block.
fn rungs_in_force(ladder: &Ladder, start: u8, coil_counts: f32, blocks: usize) -> Vec<u8> {
    const BLOCK_S: f32 = 0.05;
    let mut stepper = Stepper::default();
    stepper.hold(Some(start));
    stepper.push(ladder, 0, start, false, BLOCK_S);
    stepper.hold(None);
    let (mut rung, mut settling_s, mut rungs) = (start, 0.0, Vec::new());
    for _ in 0..blocks {
        let reading = coil_counts * ladder.rung(rung).gain;
        let peak = reading.min(ladder.rail_counts() as f32) as i32;
        stepper.push(ladder, peak, rung, settling_s > 0.0, BLOCK_S);
        rungs.push(rung);
        settling_s = f32::max(settling_s - BLOCK_S, 0.0);
        if stepper.wanted() != rung {
            rung = stepper.wanted();
            settling_s = ladder.rung(rung).settle_s;
        }
    }
    rungs
}

prop_compose! {
    /// A ladder of up to 16 rungs, steps of a factor of 1.05 to 30.
    fn ladders()(
        steps in prop::collection::vec((1.05_f32..30.0, 0.0_f32..0.2), 1..16),
        lowest in 0.01_f32..10.0,
    ) -> Ladder {
        let mut gain = lowest;
        let rungs: Vec<Rung> = steps
            .iter()
            .map(|&(step, settle_s)| {
                gain *= step;
                Rung { gain, settle_s }
            })
            .collect();
        Ladder::new(&rungs, 2.5, 1 << 23, 1.0).unwrap()
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    /// The gain is taken down when the reading reaches full scale: at once, and as far as it can.
    #[test]
    fn at_full_scale_the_gain_goes_down_at_once(ladder in ladders(), start in 0_u8..16, over in 1.0_f32..100.0) {
        let start = start.min(ladder.top());
        let coil_counts = over * ladder.rail_counts() as f32 / ladder.rung(start).gain;
        let rungs = rungs_in_force(&ladder, start, coil_counts, 400);
        prop_assert!(start == 0 || rungs[1] < start, "{rungs:?}");
        let last = *rungs.last().unwrap();
        let still_clips = coil_counts * ladder.rung(last).gain >= ladder.rail_counts() as f32;
        prop_assert!(last == 0 || !still_clips, "{rungs:?}");
    }

    /// On a steady signal the rung comes to rest: having gone down it never goes up again, nor the other way round.
    #[test]
    fn on_a_steady_signal_the_gain_never_oscillates(
        ladder in ladders(),
        start in 0_u8..16,
        coil_db in -160.0_f32..20.0,
    ) {
        let start = start.min(ladder.top());
        let coil_counts = 10_f32.powf(coil_db / 20.0) * (1 << 23) as f32 / ladder.rung(0).gain;
        let rungs = rungs_in_force(&ladder, start, coil_counts, 600);
        let up = rungs.windows(2).any(|w| w[1] > w[0]);
        let down = rungs.windows(2).any(|w| w[1] < w[0]);
        prop_assert!(!(up && down), "{rungs:?}");
        let rest = &rungs[rungs.len() - 100..];
        prop_assert!(rest.iter().all(|rung| *rung == rest[0]), "{rungs:?}");
    }
}

#[test]
fn sondes_of_512_hz_are_what_is_listened_for_unless_told_otherwise() {
    assert_eq!(nullwalk::equipment::Signal::default().tone_hz, 512.0);
}

#[test]
fn stations_10_to_20_feet_apart_are_located_anew_each() {
    // The built-in run: the sonde is pushed on by some 5 m, and every station has a place of its own.
    const FOOT_M: f64 = 0.3048;
    let run = site("drain-run");
    let truths: Vec<_> = run.truth().into_iter().flatten().collect();
    for pair in truths.windows(2) {
        let apart_m = (pair[1].east_m - pair[0].east_m).hypot(pair[1].north_m - pair[0].north_m);
        assert!((10.0 * FOOT_M..=20.0 * FOOT_M).contains(&apart_m), "{apart_m} m");
    }
    let places: Vec<Compared> = (0..4)
        .map(|station| {
            let (outcome, _) = located(&instrument(&run), &mut simulation(&run, station, 4));
            assert_eq!(outcome.judgement.verdict, Verdict::Agree);
            Compared::new(&outcome, &truths[station]).unwrap()
        })
        .collect();
    // Nearer to its own sonde than a tenth of the way to the next.
    assert!(places.iter().all(|p| p.off_m.is_some_and(|off| off < FOOT_M)), "{places:?}");
}
