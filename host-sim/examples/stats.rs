//! d
use nullwalk::{run, site, synth::Simulation};
use std::thread;
fn main() {
    let n: u64 = std::env::args().nth(1).unwrap().parse().unwrap();
    let site0 = site::builtin().iter().find(|b| b.name == "clean-level").unwrap().site().unwrap();
    for d in [0.5, 1.0, 1.5, 2.0, 3.0] {
        let rows: Vec<_> = thread::scope(|s| {
            let hs: Vec<_> = (0..2)
                .map(|w| {
                    let mut site = site0.clone();
                    s.spawn(move || {
                        let mut out = vec![];
                        for seed in (w..n).step_by(2) {
                            site.source[0].depth_m = d;
                            site.source[0].lay_deg = (seed * 37 % 180) as f64;
                            let lay = site.source[0].lay_deg; let off: f64 = ((seed * 29 % 51) as f64) - 25.0; let b = (lay + 180.0 + off).to_radians(); site.station = vec![site::Station { start: site::Start { east_m: 4.5*b.sin(), north_m: 4.5*b.cos(), heading_deg: 0.0 }, ..Default::default() }];
 let mut sim = Simulation::<6>::new(&site, 0, seed).unwrap();
                            let ins = run::instrument::<6>(
                                &site.signal,
                                site.front_end.ladder().unwrap(),
                                site.array.array().unwrap().unwrap(),
                            )
                            .unwrap();
                            let o = run::locate(&ins, &mut sim, None, |_| ()).unwrap();
                            out.push((seed, site.source[0].lay_deg, o));
                        }
                        out
                    })
                })
                .collect();
            hs.into_iter().flat_map(|h| h.join().unwrap()).collect()
        });
        let mut pos = vec![];
        let mut lay = vec![];
        let mut z: Vec<Vec<f64>> = vec![vec![]; 4];
        let mut er: Vec<Vec<f64>> = vec![vec![]; 4];
        let mut v = [0; 3];
        let mut none = vec![];
        let mut inside = 0;
        let mut dur = 0.;
        for (seed, l, o) in &rows {
            v[o.judgement.verdict as usize] += 1;
            dur += o.duration_s;
            if let Some(r) = o.judgement.range {
                if (r.low_m as f64) < d && d < r.high_m as f64 {
                    inside += 1;
                }
            }
            if let Some(r) = &o.fix {
                if r.depths.iter().flatten().any(|x| (x.depth_m as f64 - d).abs() > 0.15 * d) {
                    println!(
                        "   bad seed {seed} lay {l} {:?} {:?} {:?}",
                        r.place, r.depths, r.judgement.reasons
                    );
                }
            }
            let Some(f) = &o.fix else {
                none.push(*seed);
                continue;
            };
            if let Some(p) = f.place {
                pos.push((p.east_m as f64).hypot(p.north_m as f64));
            }
            if let Some(y) = f.lay_rad {
                let mut e = (y.value as f64).to_degrees() - l;
                e -= 180.0 * (e / 180.0).round();
                lay.push(e.abs());
            }
            for k in 0..4 {
                if let Ok(x) = f.depths[k] {
                    z[k].push((x.depth_m as f64 - d) / x.sigma_m as f64);
                    er[k].push(x.depth_m as f64 - d);
                }
            }
        }
        pos.sort_by(f64::total_cmp);
        lay.sort_by(f64::total_cmp);
        let q = |v: &Vec<f64>, p: f64| {
            v.get(((v.len() as f64 * p) as usize).min(v.len().saturating_sub(1)))
                .copied()
                .unwrap_or(f64::NAN)
        };
        println!(
            "d {d}: n {} mean dur {:.0} none {:?} verdicts {:?} inside {} pos p50 {:.3} p95 {:.3} max {:.3} (allowed {:.3}) lay p95 {:.2} max {:.2}",
            rows.len(),
            dur / rows.len() as f64,
            &none[..none.len().min(9)],
            v,
            inside,
            q(&pos, 0.5),
            q(&pos, 0.95),
            q(&pos, 1.0),
            0.03 + 0.02 * d,
            q(&lay, 0.95),
            q(&lay, 1.0)
        );
        for k in 0..3 {
            let m = z[k].len() as f64;
            let mean = er[k].iter().sum::<f64>() / m;
            let rms = (z[k].iter().map(|x| x * x).sum::<f64>() / m).sqrt();
            let in2 = z[k].iter().filter(|x| x.abs() < 2.0).count() as f64 / m;
            println!(
                "   m{k}: n {m} mean err {mean:.4} rms z {rms:.2} within 2s {in2:.3} rms err {:.4}",
                (er[k].iter().map(|x| x * x).sum::<f64>() / m).sqrt()
            );
        }
    }
}
