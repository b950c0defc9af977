//! What is made of a job for others.

use std::fmt::Write as _;
use std::path::PathBuf;

use serde::Serialize;

use super::{parse, tell};
use crate::alignment::{Joined, Stake, join};
use crate::cli::{Done, Failure, report};
use crate::job::Job;
use crate::maps::{self, Format};
use crate::quantity::length;
use crate::units::{hundredths, metres, metres_range, metres_up};

#[derive(clap::Args)]
pub struct JoinRun {
    /// The job
    job: PathBuf,
    /// Which run; may be left out where there is one
    #[arg(long)]
    run: Option<String>,
    /// Farthest that stakes may be apart
    #[arg(long, default_value = "2 m")]
    stakes: String,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

#[derive(clap::Args)]
pub struct Export {
    /// The job
    job: PathBuf,
    /// The file; its name's end says what kind: geojson, gpkg, csv, dxf, kml
    #[arg(long)]
    out: PathBuf,
    /// What kind it is, whatever its name
    #[arg(long)]
    format: Option<Format>,
    /// Scale that a DXF is to be plotted at, as 100 for 1:100; its letters are sized for it
    #[arg(long, default_value_t = 100.0)]
    scale: f64,
}

#[derive(Serialize)]
struct Told<'a> {
    #[serde(flatten)]
    joined: &'a Joined,
    stakes: Vec<Stake>,
    caution: &'static str,
}

pub fn join_run(options: &JoinRun) -> Result<Done, Failure> {
    let job = Job::open(&options.job)?;
    let id = parse::run(&job, options.run.as_deref())?;
    let spacing = length(&options.stakes).map_err(|e| format!("--stakes {:?}: {e}", options.stakes))?.value;
    if spacing < LEAST_SPACING_M {
        return Err(format!("--stakes {:?}: must be 10 cm at least", options.stakes).into());
    }
    let places = tell::places(&job)?;
    for notice in &places.notices {
        eprintln!("notice: {notice}");
    }
    let joined = join(job.state(), &places, id).map_err(|e| format!("{}, {e}", job.path().display()))?;
    let stakes = joined.stakes(spacing);
    if options.json {
        report::json(&Told { joined: &joined, stakes, caution: report::CAUTION })?;
        return Ok(Done::WORK);
    }
    report::print(&text(&joined, &stakes)?)?;
    Ok(Done::WORK)
}

const LEAST_SPACING_M: f64 = 0.1;

fn text(joined: &Joined, stakes: &[Stake]) -> Result<String, std::fmt::Error> {
    let mut text = String::new();
    writeln!(
        text,
        "Run {:?}, {} long in plan, {} stations",
        joined.run,
        metres(joined.length_m),
        joined.stations.len()
    )?;
    for station in joined.stations.iter().filter(|s| s.bend_deg.is_some()) {
        let turn = station.bend_deg.unwrap_or_default();
        let hand = if turn < 0.0 { "left" } else { "right" };
        writeln!(text, "  bends {:.0}° to the {hand} at station {}", turn.abs(), station.number)?;
    }
    writeln!(text, "\nsegment     length     fall, 95 %         cable longer by, 95 %")?;
    for s in &joined.segments {
        let fall = s.fall.map_or("not known".to_owned(), |f| {
            format!("{:+.1} % ± {:.1} %", 100.0 * f.value, 196.0 * f.sigma)
        });
        let cable = s
            .cable_spare_m
            .map_or(String::new(), |c| format!("{:+.2} m ± {:.2} m", c.value, 1.96 * c.sigma));
        let mut words = Vec::new();
        for (is, word) in
            [(s.gap, "GAP: nothing known between"), (s.uphill, "UPHILL"), (s.doubt, "IN DOUBT")]
        {
            if is {
                words.push(word);
            }
        }
        let row = format!(
            "{:>3} to {:<4} {:>8}   {fall:<18} {cable:<20} {}",
            s.from,
            s.to,
            metres(s.length_m),
            words.join(", ")
        );
        writeln!(text, "{}", row.trim_end())?;
    }
    for trouble in &joined.trouble {
        let along = trouble.chainage_m;
        writeln!(text, "\nTrouble spot, by {}", trouble.by)?;
        writeln!(
            text,
            "  along      {} ({}) from the first station",
            metres(along.value),
            metres_range(along.low95, along.high95)
        )?;
        let aside = metres_up(trouble.aside95_m);
        let [east, north] = [trouble.east_m, trouble.north_m].map(hundredths);
        writeln!(text, "  place      {east:.2} m east, {north:.2} m north, within {aside} aside")?;
        match trouble.depth_m {
            Some(d) => {
                writeln!(text, "  depth      {} to the source, 95 %", metres_range(d.low95, d.high95))?
            }
            None => {
                writeln!(text, "  depth      not stated: it takes a depth at every station of the run")?
            }
        }
    }
    writeln!(text, "\nstake     along       east      north    aside   depth to source, 95 %   what")?;
    for (n, s) in stakes.iter().enumerate() {
        let depth = s
            .depth_low95_m
            .zip(s.depth_high95_m)
            .map_or("not stated".to_owned(), |(a, b)| metres_range(a, b));
        let (n, aside) = (n + 1, metres_up(s.aside95_m));
        let [along, east, north] = [s.chainage_m, s.east_m, s.north_m].map(hundredths);
        writeln!(
            text,
            "{n:>5} {along:>9.2} {east:>10.2} {north:>10.2} {aside:>8}   {depth:<23} {}",
            s.what
        )?;
    }
    if !joined.flags.is_empty() {
        text.push('\n');
    }
    for flag in &joined.flags {
        writeln!(text, "look at: {}", flag.sentence)?;
    }
    writeln!(
        text,
        "\nBetween stations nothing was measured: the pipe may run otherwise.\n{}",
        report::CAUTION
    )?;
    Ok(text)
}

pub fn export(options: &Export) -> Result<Done, Failure> {
    let job = Job::open(&options.job)?;
    let out = options.out.display();
    let format = options.format.or_else(|| Format::of(&options.out)).ok_or_else(|| {
        format!("{out}: no kind of file that is known; end its name with geojson, gpkg, csv, dxf or kml, or give --format")
    })?;
    if !(1.0..=10_000.0).contains(&options.scale) {
        return Err(format!("--scale {}: must be 1 to 10000, as 100 for 1:100", options.scale).into());
    }
    for notice in job.notices() {
        eprintln!("notice: {}: {notice}", job.path().display());
    }
    let drawing = maps::draw(&job)?;
    maps::write(&drawing, format, options.scale, &options.out)?;
    report::wrote("map", &options.out);
    Ok(Done::WORK)
}
