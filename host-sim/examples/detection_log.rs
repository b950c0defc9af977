//! What the core made of a six-channel recording, output by output, as CSV:
//! `cargo run --release --example detection_log -- CAPTURE > log.csv`.

use std::env;
use std::error::Error;
use std::path::Path;

use nullwalk::capture::Capture;
use nullwalk::run;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = env::args().nth(1).ok_or("give the folder of a capture")?;
    let capture = Capture::open(Path::new(&folder))?;
    let array = capture.array.clone().ok_or("the capture describes no nodes")?;
    let signal = &capture.description.signal;
    let instrument = run::instrument::<6>(signal, capture.ladder.clone(), array)?;
    let mut reader = capture.reader::<6>()?;
    println!("time_s,phase,snr_db,offset_hz,forward_nt,left_nt,up_nt,ellipticity,bridged,trouble");
    run::locate(&instrument, &mut reader, None, |update| {
        let (glimpse, guidance) = (&update.glimpse, &update.guidance);
        let field_nt = glimpse.lower().field_t * 1e9;
        println!(
            "{:.3},{:?},{:.1},{:.2},{:.4},{:.4},{:.4},{:.3},{:.2},{}",
            guidance.at as f64 / signal.sample_rate_hz,
            guidance.phase,
            guidance.snr_db,
            guidance.carrier_offset_hz,
            field_nt.x,
            field_nt.y,
            field_nt.z,
            glimpse.ellipticity,
            glimpse.bridged,
            guidance.trouble.map_or("", |reason| reason.code()),
        );
    })?;
    Ok(())
}
