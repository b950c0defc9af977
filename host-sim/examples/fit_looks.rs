//! Walks out of a table fitted one after the other, with the time that each took, as CSV:
//! `cargo run --release --example fit_looks -- LOOKS.csv STARTS.csv TIMES > fits.csv`.
//! Columns are read in this order: of a look, the number of its walk (from 0), place, way from the lower to the upper
//! node, field at the lower and at the upper node, sigma of both, sigma of the place; of a start, place, moment and the
//! sigma of the ratio of the nodes' gains. Metres, nanotesla, A m2.

use std::env;
use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

use glam::Vec3;
use nullwalk_core::fit::{Dipole, Look, Ring, Shared, traverse};

type LookRow = (usize, [f32; 3], [f32; 3], [f32; 3], [f32; 3], [f32; 2], [f32; 3]);
type StartRow = ([f32; 3], [f32; 3], f32);

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = env::args().skip(1).collect();
    let [looks, starts, times] = arguments.as_slice() else {
        return Err("give a table of looks, a table of starts, and how often to fit each walk".into());
    };
    let times: usize = times.parse()?;
    let starts: Vec<StartRow> =
        csv::Reader::from_path(starts)?.into_deserialize().collect::<Result<_, _>>()?;
    // As many looks as the instrument keeps; more would be merged.
    let mut walks = vec![Ring::<128>::default(); starts.len()];
    for row in csv::Reader::from_path(looks)?.into_deserialize() {
        let (walk, at_m, upper_m, lower_nt, upper_nt, sigma_nt, pose_sigma_m): LookRow = row?;
        walks.get_mut(walk).ok_or("a look of a walk without a start")?.push(Look {
            at_m: at_m.into(),
            upper_m: upper_m.into(),
            fields_nt: [lower_nt, upper_nt].map(Vec3::from_array),
            sigma_nt,
            pose_sigma_m: pose_sigma_m.into(),
            spread_m: Vec3::ZERO,
        });
    }
    println!("x_m,y_m,z_m,mx_a_m2,my_a_m2,mz_a_m2,gain,seconds");
    for (walk, (at_m, moment, node_ratio)) in walks.iter().zip(starts) {
        let shared = Shared { node_ratio, ..Shared::default() };
        let start = Dipole { at_m: at_m.into(), moment: moment.into() };
        let begun = Instant::now();
        for _ in 1..times {
            let _ = black_box(traverse(black_box(walk), black_box(start), &shared));
        }
        let found = traverse(walk, start, &shared);
        let seconds = begun.elapsed().as_secs_f64() / times as f64;
        // A walk that gave no fit has an empty line of its own.
        let numbers = found.map(|found| {
            let Dipole { at_m, moment } = found.dipole;
            let [x, y, z, mx, my, mz] = [at_m.x, at_m.y, at_m.z, moment.x, moment.y, moment.z];
            format!("{x},{y},{z},{mx},{my},{mz},{}", found.upper_gain)
        });
        println!("{},{seconds:e}", numbers.unwrap_or_else(|_| ",,,,,,".into()));
    }
    Ok(())
}
