//! The second demonstration: what lies in a yard, before anyone digs in it.

use std::path::Path;

use super::locate::{Wish, locate_site, open};
use super::trace::{cautions, change_of, done};
use super::{Done, Failure, rank, report};
use crate::run::Listen;
use crate::site::Seek;
use crate::trace::{Lane, Plan, Settings, Trace, Visit};

const STORY: &str = "\
A drain backs up and is to be dug up in the yard. First the sonde in it says where. Then, before anyone digs:
is live power in the way? And where does the metal water service run? Everything here is simulated: samples,
noise, gait, currents. The instrument knows none of the truth.
";
const DRAIN: &str = "
1. The drain: a sonde is pushed up it to two places.

";
const SWEEP: &str = "
2. Live power over the place to dig: three lanes, listening for the grid itself.
";
const LOADED: &str = "
3. Nothing was heard, and that is no proof. A heater indoors is switched on, and the same lanes are walked again.
";
const SERVICE: &str = "
4. The water service: a transmitter at the meter sends 8192 Hz into it. It is crossed before, at and beyond its
   bend, and where a neighbour's pipe runs beside it that some of the current has strayed onto.
";
const CHANGED: &str = "
5. What the heater changed, place by place: the field of the cable that feeds it, whatever else may hum.
";
const NEXT: &str = "
Next: nullwalk sites yard, nullwalk trace yard --station 8 --soil loam, nullwalk record yard DIR
";

pub fn run(out: &Path, seed: u64) -> Result<Done, Failure> {
    report::print(&format!("{STORY}{DRAIN}"))?;
    let site = open("yard")?;
    let drain = locate_site(&site, &Wish { seed, ..Wish::default() })?;
    report::tell(&drain, false)?;

    let stations = site.stations();
    let settings = Settings { ground_up_m: site.ground.up_m, ..Settings::default() };
    let visits = (0..).zip(&stations).map(|(n, here)| Visit { site: &site, n, here, seed, array: None });
    let (mut traces, mut lanes) = (Vec::new(), Vec::new());
    let mut trace = |visit: &Visit<'_>, heading: &str| -> Result<(), Failure> {
        let listen = if visit.here.seek == Seek::Mains { Listen::Mains(None) } else { Listen::Tone };
        let walk = visit.walk(listen)?;
        let found = visit.traced(&walk, listen, &settings)?;
        report::print(&format!("{heading}\n{found}"))?;
        lanes.push(Lane::of(&walk));
        traces.push(found);
        Ok(())
    };
    let (sweeps, services): (Vec<_>, Vec<_>) = visits
        .filter(|visit| visit.here.seek != Seek::Sonde)
        .partition(|visit| visit.here.seek == Seek::Mains);
    for (sweep, heading) in sweeps.iter().zip([SWEEP, LOADED]) {
        trace(sweep, heading)?;
    }
    for (n, service) in services.iter().enumerate() {
        trace(service, if n == 0 { SERVICE } else { "" })?;
    }
    if let [before, during, ..] = sweeps.as_slice() {
        let listen = Listen::Mains(None);
        let change = change_of(&before.walks()?, &during.walks()?)?;
        let changed = Trace {
            name: "what the heater changed".to_owned(),
            ..during.traced(&change, listen, &settings)?
        };
        report::print(&format!("{CHANGED}\n{changed}"))?;
    }
    report::print(&format!("\n{}", cautions(true, true)))?;

    report::make_folder(out)?;
    let mut run = drain.clone();
    run.stations.extend(traces.iter().map(Trace::station));
    report::keep(&run, None, &out.join("yard.job"))?;
    let plan = Plan { stations: drain.stations.clone(), traces, lanes, ..Plan::of(&site) };
    let svg = plan.svg().ok_or("nothing in the yard has a place")?;
    let path = out.join("plan.svg");
    report::write(&path, svg.as_bytes())?;
    report::wrote("plan", &path);
    report::print(NEXT)?;
    let (sondes, lines) = (Done::with(&drain), done(&plan.traces));
    Ok(if rank(sondes.verdict) > rank(lines.verdict) { sondes } else { lines })
}
