//! Small parts of the core, one entry each.

use glam::Vec3;
use nullwalk_core::array::{Circumstances, CommonPhase, Glimpse, NodeField};
use nullwalk_core::depth::soil::{Soil, returned_per_m};
use nullwalk_core::depth::{self, Measured, Standing};
use nullwalk_core::extrema::{Extrema, Prominence};
use nullwalk_core::fit::{Dipole, Look, Priors, Ring, Shared, Undetermined, glimpse, line, traverse};
use nullwalk_core::frame::{MastReading, Tilt};
use nullwalk_core::grid::Grid;
use nullwalk_core::mains::compare;
use nullwalk_core::paced::{Passed, Walking, pattern};
use nullwalk_core::tone::Overlap;
use nullwalk_core::tuning::{Filter, FrontEnd, plan};
use nullwalk_core::{field, math};

use crate::samples::{ROUND_BLOCKS, TONE_HZ};
use crate::{Meter, Plan, Work as _, mains, tone, walk};

/// What is seen at one of 256 places on three lanes over a sonde 1.5 m down.
fn look(n: u32) -> Look {
    let at_m = Vec3::new(0.07 * (n % 86) as f32 - 3.0, 0.5 * (n / 86) as f32 - 0.5, 0.15);
    let upper_m = Vec3::new(0.01, -0.01, 0.4);
    let seen = |at_m: Vec3| {
        let from_source = at_m + Vec3::new(0.0, 0.0, 1.5);
        Vec3::from_array(field::dipole([0.2, 0.01, -0.02], from_source.to_array())) * 1e9
    };
    Look {
        at_m,
        upper_m,
        fields_nt: [seen(at_m), seen(at_m + upper_m)],
        sigma_nt: [0.03; 2],
        pose_sigma_m: Vec3::new(0.02, 0.02, 0.005),
        spread_m: Vec3::ZERO,
    }
}

/// The same places over a line 1.5 m down, somewhat athwart.
fn line_look(n: u32) -> Look {
    let plain = look(n);
    let seen = |at_m: Vec3| {
        let from_line = at_m + Vec3::new(0.1, 0.0, 1.5);
        Vec3::from_array(field::long_line(0.02, [0.2, 1.0, 0.02], from_line.to_array())) * 1e9
    };
    Look { fields_nt: [seen(plain.at_m), seen(plain.at_m + plain.upper_m)], ..plain }
}

/// What is seen over and around sondes from 0.5 to 4 m down, from on top of them to 4 m off, with more noise or less.
fn glance(n: u32) -> Look {
    let [forward, left, down, quiet] = [n % 8, n / 8 % 4, n / 32 % 8, n / 256].map(|n| n as f32);
    let sigma_nt = 0.1 / (1.0 + 20.0 * quiet * quiet * quiet);
    let from_source = Vec3::new(0.6 * forward - 0.9, 0.5 * left - 0.2, 0.5 * (1.0 + down));
    let upper_m = Vec3::new(0.01, -0.01, 0.4);
    let seen = |r: Vec3| Vec3::from_array(field::dipole([0.15, 0.13, 0.02 * left], r.to_array())) * 1e9;
    Look {
        at_m: Vec3::ZERO,
        upper_m,
        fields_nt: [seen(from_source), seen(from_source + upper_m)],
        sigma_nt: [sigma_nt; 2],
        pose_sigma_m: Vec3::ZERO,
        spread_m: Vec3::ZERO,
    }
}

pub fn measure_all(meter: &mut impl Meter) {
    meter.measure("array", Plan::steps(64), || {
        let array = walk::array();
        let mut listening = tone::Listening::start();
        let phasors = (0..ROUND_BLOCKS).find_map(|n| listening.step(n)).expect("two in a round");
        let mut phase = CommonPhase::default();
        move |n: u32| {
            let tilt = Tilt { pitch_rad: 0.001 * n as f32, roll_rad: -0.02 };
            let mast = MastReading { tilt: Some(tilt), ..MastReading::default() };
            let fields = array.fields(TONE_HZ, &phasors);
            let glimpse = Glimpse::new(0, &fields, &mut phase, mast, Circumstances::default());
            let mut fields = glimpse.nodes.iter().map(|node| (node.field_t, node.sigma_t));
            [fields.next(), fields.next()]
        }
    });
    let standing = mains::stood();
    meter.measure("mains.compare", Plan::steps(1), || {
        |_: u32| compare(&standing, &standing).and_then(|compared| compared.phasors(3))
    });
    meter.measure("tuning.plan", Plan::steps(1), || {
        let band = Filter::BandPass { low_hz: 31_000.0, high_hz: 35_000.0, order: 3 };
        move |_: u32| {
            let tuning = plan(32_768.0, 48_000.0, &FrontEnd::Undersampled { band }, &Grid::BOTH).ok();
            tuning.map(|tuning| (tuning.lands_hz, tuning.image.loss_db))
        }
    });
    meter.measure("extrema", Plan::steps(1024), || {
        let mut search = Extrema::new(Prominence::default(), Overlap::NONE);
        move |n: u32| {
            let (value, _) = math::sin_cos_turn(n.wrapping_mul(1 << 26));
            let mut last = None;
            search.push(value * 20e-9, 0.1e-9, |f| last = Some((f.fraction, f.sigma_samples)));
            last
        }
    });
    meter.measure("depth.ratio", Plan::steps(64), || {
        let at = |r: f32| NodeField { field_t: Vec3::new(2e-8, 1e-9, 0.0) / (r * r * r), sigma_t: 1e-12 };
        let standing = Standing {
            aside_m: Measured::new(0.05, 0.02),
            along_m: Measured::new(-0.03, 0.02),
            pitch: Measured::new(0.1, 0.02),
        };
        move |n: u32| {
            let r = 0.5 + n as f32 / 64.0;
            let depth = depth::ratio(at(r), at(r + 0.4), 0.4, 0.01, standing);
            depth.ok().map(|depth| (depth.depth_m, depth.sigma_m))
        }
    });
    meter.measure("fit.push", Plan::steps(256), || {
        let mut walk = Ring::<128>::default();
        (0..256).for_each(|n| walk.push(look(n)));
        move |n: u32| {
            walk.push(look(n));
            walk.looks().last().map(|look| (look.at_m, look.spread_m))
        }
    });
    let glimpsed = |n: u32| {
        let seen = glimpse(&glance(n), &Priors::default(), 0.005);
        seen.map(|seen| (seen.place_m, (seen.depth_m().sigma, seen.lay_rad.sigma)))
    };
    meter.measure("fit.glimpse", Plan::one_by_one(1024), || glimpsed);
    meter.measure("fit.glimpse_at_most", Plan::dearest_of(1024), || glimpsed);
    // From a start some ten per cent off.
    let shared = Shared { node_ratio: 0.005, field: 0.01, place_m: Vec3::splat(0.01) };
    let start = Dipole { at_m: Vec3::new(0.1, -0.1, -1.35), moment: Vec3::new(0.17, 0.02, 0.0) };
    meter.measure("fit.traverse", Plan::steps(1), || {
        let mut walk = Ring::<128>::default();
        (0..256).for_each(|n| walk.push(look(n)));
        move |_: u32| traverse(&walk, start, &shared).ok().map(|t| (t.dipole.at_m, t.sigma(2)))
    });
    // A walk that no dipole explains, and that never settles: all rounds are made.
    meter.measure("fit.traverse_at_most", Plan::steps(1), || {
        let mut walk = Ring::<128>::default();
        (0..256).for_each(|n| walk.push(Look { fields_nt: look(n * 89 % 256).fields_nt, ..look(n) }));
        move |_: u32| f32::from(traverse(&walk, start, &shared).err() == Some(Undetermined::Unsettled))
    });
    let soil = returned_per_m(8192.0, Soil::Unknown);
    meter.measure("fit.line_glimpse", Plan::one_by_one(16), || {
        move |n: u32| {
            let seen = line::glimpse(&line_look(n), 0.005, 0.05, soil).ok();
            seen.map(|seen| (seen.source.at_m, seen.depth_below_m(Vec3::ZERO).sigma))
        }
    });
    meter.measure("fit.line", Plan::steps(1), || {
        let mut walk = Ring::<128>::default();
        (0..256).for_each(|n| walk.push(line_look(n)));
        move |_: u32| {
            let found =
                line::start(&walk).and_then(|start| line::traverse(&walk, start, &shared, soil).ok());
            found.map(|t| (t.source.at_m, t.sigma(1)))
        }
    });
    // Everything a lane can show, over a sonde pitched by seven to ten degrees.
    meter.measure("paced.pattern", Plan::steps(4), || {
        let at = |time_s: f32| Some(Measured::new(time_s, 0.02));
        let passed = move |n: u32| Passed {
            nulls: [at(-1.60), at(1.22)],
            peak: at(-0.09 - 0.01 * n as f32),
            side_peaks: [at(-2.70), at(2.25)],
            vertical_null: at(-0.18),
            vertical_extrema: [at(-1.13), at(0.88)],
            marks: Some([Measured::new(-3.0, 0.1), Measured::new(4.0, 0.1)]),
        };
        move |n: u32| {
            let found = pattern(&passed(n), Walking::default()).ok();
            found.map(|p| ((p.overhead_s.value, p.depth_s.sigma), (p.pitch.value, p.depth_s.value)))
        }
    });
    meter.measure("field.dipole", Plan::steps(256), || {
        |n: u32| field::dipole([0.2, 0.01, -0.02], [0.1, -0.4, 0.5 + n as f32 / 64.0])
    });
    meter.measure("math.sin_cos_turn", Plan::steps(256), || {
        |n: u32| math::sin_cos_turn(n.wrapping_mul(0x9e37_79b9))
    });
    meter.measure("math.exp", Plan::steps(256), || |n: u32| math::exp(0.37 - 0.01 * n as f32));
    meter.measure("math.cbrt", Plan::steps(256), || |n: u32| math::cbrt(0.37 + n as f32));
}
