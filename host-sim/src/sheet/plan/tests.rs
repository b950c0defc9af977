//! What the plan must keep to.

use glam::DVec2;

use super::plan;
use super::spots::{links, spots};
use super::view::{Axes, View};
use super::zones::band;
use crate::book::{Run, SitePosition, Station, Verdict};
use crate::sheet::block::Block;
use crate::sheet::brief::Brief;
use crate::sheet::draw::WIDTH_MM;
use crate::sheet::options::{Options, Units};

const TALLEST_MM: f64 = 92.0;

fn station(number: u32, east_m: f64, north_m: f64, verdict: Verdict) -> Station {
    let position = Some(SitePosition { east_m, north_m, sigma_m: 0.05 });
    Station { number, position, verdict, ..Station::default() }
}

fn run(stations: Vec<Station>) -> Run {
    Run { stations, ..Run::default() }
}

#[test]
fn the_plan_is_to_scale_and_north_is_up() {
    let run = run(vec![station(1, 0.0, 0.0, Verdict::Agree), station(2, 13.0, 3.0, Verdict::Agree)]);
    let spots = spots(&run);
    let view = View::around(&spots, &[], Units::default(), TALLEST_MM);
    let (a, b) = (view.at(spots[0].place_m), view.at(spots[1].place_m));
    assert_eq!((view.ratio, view.axes), (100.0, Axes::NorthUp));
    assert!(((b - a) - DVec2::new(130.0, -30.0)).length() < 1e-9);
    for p in [a, b] {
        assert!(p.x > 0.0 && p.x < WIDTH_MM && p.y > 0.0 && p.y < view.height_mm);
    }
}

#[test]
fn a_run_to_the_north_is_turned_and_not_mirrored() {
    let run = run(vec![station(1, 0.0, 0.0, Verdict::Agree), station(2, -3.0, 13.0, Verdict::Agree)]);
    let spots = spots(&run);
    let view = View::around(&spots, &[], Units::default(), TALLEST_MM);
    assert_eq!((view.ratio, view.axes), (100.0, Axes::NorthRight));
    let run_mm = view.at(spots[1].place_m) - view.at(spots[0].place_m);
    // North to the right puts west up.
    assert!((run_mm - DVec2::new(130.0, -30.0)).length() < 1e-9);
    let (north, east) = (view.axes.turn(DVec2::Y), view.axes.turn(DVec2::X));
    assert_eq!(north.perp_dot(east), Axes::NorthUp.turn(DVec2::Y).perp_dot(Axes::NorthUp.turn(DVec2::X)));
}

#[test]
fn a_refused_station_leaves_a_gap_without_zone() {
    let verdicts = [Verdict::Agree, Verdict::Doubt, Verdict::Refuse, Verdict::Agree];
    let stations = verdicts.iter().zip(1..).map(|(&v, n)| station(n, f64::from(n) * 4.0, 0.0, v));
    let run = run(stations.collect());
    let spots = spots(&run);
    let links = links(&spots);
    let ends: Vec<_> = links.iter().map(|l| (l.from.station.number, l.to.station.number, l.gap)).collect();
    assert_eq!(ends, [(1, 2, false), (2, 4, true)]);
    let Block::Drawing(drawing) = plan(&Brief::from(run.clone()), &Options::default(), TALLEST_MM) else {
        panic!("there is a plan")
    };
    let drawn = drawing.content.into_string();
    // One band, drawn in three layers.
    assert_eq!(drawn.matches("<polygon").count(), 3);
}

#[test]
fn the_band_touches_both_circles() {
    let run = Run {
        stations: vec![
            station(1, 0.0, 0.0, Verdict::Agree),
            Station {
                position: Some(SitePosition { east_m: 8.0, north_m: 2.0, sigma_m: 0.5 }),
                ..station(2, 0.0, 0.0, Verdict::Agree)
            },
        ],
        ..Run::default()
    };
    let spots = spots(&run);
    let view = View::around(&spots, &[], Units::default(), TALLEST_MM);
    let links = links(&spots);
    let corners: Vec<DVec2> = band(&view, &links[0])
        .unwrap()
        .split(' ')
        .map(|p| p.split_once(',').unwrap())
        .map(|(x, y)| DVec2::new(x.parse().unwrap(), y.parse().unwrap()))
        .collect();
    let (a, b) = (view.at(spots[0].place_m), view.at(spots[1].place_m));
    let (ra, rb) = (spots[0].zone_m.unwrap(), spots[1].zone_m.unwrap());
    assert!(rb > ra * 1.5, "the second circle is the larger one");
    for (corner, centre, radius) in [(corners[0], a, ra), (corners[1], b, rb)] {
        let spoke = corner - centre;
        assert!((spoke.length() - radius * view.mm_per_m).abs() < 0.02);
        // A tangent stands square on its spoke.
        let edge = (corners[1] - corners[0]).normalize();
        assert!(spoke.normalize().dot(edge).abs() < 1e-3);
    }
}
