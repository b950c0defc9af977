//! What makes the field of a tone: dipoles and wires.

use glam::DVec3;
use nullwalk_core::field::{dipole, segment};

use crate::site::{Ground, Iron, Line, Sonde};

/// What makes the field of a tone.
#[derive(Debug, Clone)]
pub(super) enum Emitter {
    /// Magnetic dipoles, each with its place and its moment.
    Dipoles(Vec<(DVec3, DVec3)>),
    /// A wire from corner to corner.
    Wire { corners_m: Vec<DVec3>, current_a: f64 },
}

impl Emitter {
    /// The sonde itself, weakened by the iron about it.
    pub(super) fn sonde(sonde: &Sonde, ground: &Ground) -> Self {
        Self::Dipoles(vec![(place(sonde, ground), axis(sonde) * left(sonde))])
    }

    /// What leaks from the iron about a sonde.
    pub(super) fn leaks(sonde: &Sonde, iron: &Iron, ground: &Ground) -> Self {
        let (place, axis) = (place(sonde, ground), axis(sonde));
        let moment = axis * (left(sonde) * iron.leak_share);
        Self::Dipoles([iron.ahead_m, -iron.behind_m].map(|along_m| (place + axis * along_m, moment)).into())
    }

    /// A conductor at a station with this first sonde.
    pub(super) fn line(line: &Line, first: Option<&Sonde>, ground: &Ground) -> Self {
        let wire = |current_a: f64| Self::Wire { corners_m: corners(line, ground), current_a };
        let as_share = line.share_at_sonde.zip(first).map(|(share, sonde)| {
            let above = place(sonde, ground).with_z(ground.up_m);
            let free = Self::sonde(&Sonde { iron: None, ..*sonde }, ground);
            let of_one_ampere = wire(1.0).field(above).length();
            // In line with a wire there is no field, and no current can give it one.
            if of_one_ampere > 0.0 { share * free.field(above).length() / of_one_ampere } else { 0.0 }
        });
        wire(as_share.unwrap_or(line.current_a))
    }

    /// A conductor, with a current of one ampere.
    pub(super) fn wire(line: &Line, ground: &Ground) -> Self {
        Self::Wire { corners_m: corners(line, ground), current_a: 1.0 }
    }

    /// The peak field at a place, tesla.
    pub(super) fn field(&self, at: DVec3) -> DVec3 {
        let from = |place: DVec3| (at - place).to_array();
        match self {
            Self::Dipoles(list) => list
                .iter()
                .map(|&(place, moment)| DVec3::from_array(dipole(moment.to_array(), from(place))))
                .sum(),
            Self::Wire { corners_m, current_a } => corners_m
                .windows(2)
                .map(|ends| DVec3::from_array(segment(*current_a, from(ends[0]), from(ends[1]))))
                .sum(),
        }
    }
}

fn place(sonde: &Sonde, ground: &Ground) -> DVec3 {
    DVec3::new(sonde.east_m, sonde.north_m, ground.up_m - sonde.depth_m)
}

fn axis(sonde: &Sonde) -> DVec3 {
    let (sin_pitch, cos_pitch) = sonde.pitch_deg.to_radians().sin_cos();
    (course(sonde.lay_deg) * cos_pitch).with_z(sin_pitch)
}

/// The moment that the iron about a sonde leaves of it, A m2.
fn left(sonde: &Sonde) -> f64 {
    let weaken_db = sonde.iron.map_or(0.0, |iron| iron.weaken_db);
    sonde.moment_a_m2 * 10f64.powf(-weaken_db / 20.0)
}

/// The ends of a line and its bend.
fn corners(line: &Line, ground: &Ground) -> Vec<DVec3> {
    line.corners_m().map(|corner| corner.extend(ground.up_m - line.depth_m)).into()
}

/// The level direction of a bearing.
fn course(bearing_deg: f64) -> DVec3 {
    let (sin, cos) = bearing_deg.to_radians().sin_cos();
    DVec3::new(sin, cos, 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn off(got: DVec3, expected: DVec3) -> f64 {
        (got - expected).length() / expected.length()
    }

    /// Far from its ends a line has mu0 I / (2 pi r): Ampere's law, Griffiths, Introduction to Electrodynamics,
    /// ch. 5. It runs north-east here, 1.2 m to the right of its point and 0.8 m below ground.
    #[test]
    fn a_long_line_has_the_field_of_amperes_law() {
        let line = Line {
            bearing_deg: 45.0,
            aside_m: 1.2,
            depth_m: 0.8,
            length_m: 10_000.0,
            current_a: 0.3,
            ..Line::default()
        };
        let emitter = Emitter::line(&line, None, &Ground { up_m: 2.0 });
        // North-east-going current, seen from straight above: the field points to the right, south-east.
        let right = DVec3::new(0.5f64.sqrt(), -0.5f64.sqrt(), 0.0);
        let above = (right * 1.2).with_z(2.0 + 0.4);
        assert!(off(emitter.field(above), right * (2e-7 * 0.3 / 1.2)) < 1e-6);
        // And from 1.2 m to the left at its own depth: up.
        let beside = DVec3::ZERO.with_z(1.2);
        assert!(off(emitter.field(beside), DVec3::Z * (2e-7 * 0.3 / 1.2)) < 1e-6);
    }

    /// The law of Biot and Savart, summed over short pieces of a line that comes from the south and turns to the
    /// east 2 m north of its point.
    #[test]
    fn a_bent_line_has_the_field_of_its_pieces() {
        let line = Line {
            east_m: 1.0,
            bend_deg: 90.0,
            bend_at_m: 2.0,
            length_m: 9.0,
            current_a: 0.05,
            ..Line::default()
        };
        let emitter = Emitter::line(&line, None, &Ground::default());
        // The place on the line after 0 to 18 m.
        let on_line = |s: f64| {
            let (north, east) = if s < 11.0 { (s - 9.0, 0.0) } else { (2.0, s - 11.0) };
            DVec3::new(1.0 + east, north, -0.6)
        };
        for at in [DVec3::new(0.2, 1.5, 0.15), DVec3::new(4.0, -1.0, 0.55), DVec3::new(1.0, 12.0, 0.1)] {
            let (pieces, mut sum) = (18_000, DVec3::ZERO);
            for k in 0..pieces {
                let step = 18.0 / f64::from(pieces);
                let [from, to] = [0.0, 1.0].map(|end| on_line((f64::from(k) + end) * step));
                let away = at - 0.5 * (from + to);
                sum += (to - from).cross(away) * (1e-7 * 0.05 / away.length().powi(3));
            }
            // Pieces of 1 mm seen from half a metre: (1/500)^2/24 is far below 1e-6.
            let error = off(emitter.field(at), sum);
            assert!(error < 1e-6, "{error} at {at}");
        }
    }

    #[test]
    fn a_line_has_the_share_of_the_sondes_field_that_is_asked_for() {
        let ground = Ground { up_m: -1.0 };
        let sonde = Sonde { east_m: 3.0, north_m: -2.0, depth_m: 1.4, ..Sonde::default() };
        let line = Line { aside_m: 1.0, share_at_sonde: Some(0.25), current_a: 9.0, ..Line::default() };
        let above = DVec3::new(3.0, -2.0, -1.0);
        let at_sonde = |sonde: &Sonde| Emitter::line(&line, Some(sonde), &ground).field(above).length();
        // A level sonde has 1e-7 m / d^3 overhead (Jackson, 3rd ed., eq. 5.56).
        let free = 1e-7 * 0.2 / 1.4f64.powi(3);
        assert!((at_sonde(&sonde) / (0.25 * free) - 1.0).abs() < 1e-9);
        let in_iron = Sonde { iron: Some(Iron::default()), ..sonde };
        assert_eq!(at_sonde(&in_iron), at_sonde(&sonde));
    }

    /// 20 dB leave a tenth; the leaks lie along the pipe, here one that climbs by 30 degrees towards the east.
    #[test]
    fn iron_weakens_the_sonde_and_leaks_along_the_pipe() {
        let iron = Iron { weaken_db: 20.0, leak_share: 0.3, ahead_m: 2.0, behind_m: 1.0, lag_deg: 0.0 };
        let sonde = Sonde { pitch_deg: 30.0, depth_m: 1.5, iron: Some(iron), ..Sonde::default() };
        let ground = Ground::default();
        let along = DVec3::new(0.75f64.sqrt(), 0.0, 0.5);
        let by_hand = |list: &[(f64, f64)], at: DVec3| -> DVec3 {
            list.iter()
                .map(|&(along_m, share)| {
                    let r = at - DVec3::new(0.0, 0.0, -1.5) - along * along_m;
                    let moment = along * (0.02 * share);
                    1e-7 * (3.0 * r * moment.dot(r) / r.length().powi(5) - moment / r.length().powi(3))
                })
                .sum()
        };
        for at in [DVec3::new(0.0, 0.0, 0.15), DVec3::new(-2.0, 1.0, 0.55)] {
            let through = Emitter::sonde(&sonde, &ground).field(at);
            assert!(off(through, by_hand(&[(0.0, 1.0)], at)) < 1e-9);
            let leaks = Emitter::leaks(&sonde, &iron, &ground).field(at);
            assert!(off(leaks, by_hand(&[(2.0, 0.3), (-1.0, 0.3)], at)) < 1e-9);
        }
    }
}
