//! d
use nullwalk::{run, site, synth::Simulation};
fn main() {
    let name = std::env::args().nth(1).unwrap();
    let seed: u64 = std::env::args().nth(2).map(|s| s.parse().unwrap()).unwrap_or(1);
    let b = site::builtin().iter().find(|b| b.name == name).unwrap();
    let mut site = b.site().unwrap();
    if let Some(d) = std::env::args().nth(3) {
        site.source[0].depth_m = d.parse().unwrap();
        site.source[0].lay_deg = (seed * 37 % 180) as f64;
    }
    if std::env::var("NOCAL").is_ok() {
        site.noise.calibration_error = false;
    }
    if std::env::var("NOSWAY").is_ok() {
        site.noise.sway.rms_deg = 0.0;
        site.noise.sway.footfall_deg = 0.0;
        site.walker.bob_m = 0.0;
        site.walker.weave_m = 0.0;
    }
    if std::env::var("NONOISE").is_ok() {
        site.noise.field_pt_per_root_hz = 0.01;
    }
    for k in 0..site.stations().len() {
        let mut sim = Simulation::<6>::new(&site, k, seed).unwrap();
        let ins = run::instrument::<6>(
            &site.signal,
            site.front_end.ladder().unwrap(),
            site.array.array().unwrap().unwrap(),
        )
        .unwrap();
        let truth = sim.truth().cloned();
        let t = std::time::Instant::now();
        let trace = std::env::var("TRACE").is_ok();
        let o = run::locate(&ins, &mut sim, None, |u| if trace { let g=&u.guidance; let l=u.glimpse.lower();
            println!("{:6.1} {:?} turn {:?} snr {:.0} B {:.2} {:.2} {:.2} nT s {:.3} ell {:.3} br {:.2} pos {:?} h {:?} mark {:?} off {:?}", g.at as f32/8000., g.phase, g.turn_rad.map(|x| x.to_degrees()), g.snr_db, l.field_t.x*1e9, l.field_t.y*1e9, l.field_t.z*1e9, l.sigma_t*1e9, u.glimpse.ellipticity, u.glimpse.bridged, u.glimpse.mast.position.map(|p| (p.enu_m.x,p.enu_m.y,p.enu_m.z)), u.glimpse.mast.heading_rad.map(|x| x.to_degrees()), g.mark.map(|m| (m.east_m,m.north_m)), g.offset_m); }).unwrap();
        println!(
            "station {k}: {:.1} s in {:?} = {:.0} x",
            o.duration_s,
            t.elapsed(),
            o.duration_s / t.elapsed().as_secs_f64()
        );
        for m in &o.log {
            println!("   {:6.1} {:?}", m.time_s, m.event);
        }
        println!("truth {truth:?}");
        println!("{:#?}", o.judgement);
        if let Some(f) = &o.fix {
            println!(
                "{:?}\n{:?}\nlay {:?} pitch {:?} m {:?}",
                f.place,
                f.depths,
                f.lay_rad.map(|l| l.value.to_degrees()),
                f.pitch_rad.map(|l| l.value.to_degrees()),
                f.moment_a_m2
            );
        }
    }
}
