//! The plan of the second demonstration.

use std::error::Error;

use crate::run::{self, Listen};
use crate::site::{Seek, builtin};
use crate::synth::Simulation;
use crate::trace::{Lane, Plan, Settings, Visit};

const SEED: u64 = 1;

/// What `nullwalk demo yard` finds, from above.
pub fn draw() -> Result<String, Box<dyn Error>> {
    let found = builtin().iter().find(|site| site.name == "yard");
    let site = found.ok_or("there is no such site")?.site()?;
    let mut plan = Plan::of(&site);
    for (n, here) in site.stations().iter().enumerate() {
        if here.seek == Seek::Sonde {
            let array = site.array.array()?.ok_or("the site has no array")?;
            let instrument = run::instrument::<6>(&site.signal(here), site.front_end.ladder()?, array)?;
            let Ok(outcome) =
                run::locate(&instrument, &mut Simulation::<6>::new(&site, n, SEED)?, None, |_| ());
            plan.stations.push(run::station(n as u32 + 1, &here.name, &site.signal(here), &outcome));
            continue;
        }
        let listen = if here.seek == Seek::Mains { Listen::Mains(None) } else { Listen::Tone };
        let visit = Visit { site: &site, n, here, seed: SEED, array: None };
        let walk = visit.walk(listen)?;
        plan.traces.push(visit.traced(&walk, listen, &Settings::default())?);
        plan.lanes.push(Lane::of(&walk));
    }
    Ok(plan.svg().ok_or("nothing in the yard has a place")?)
}
