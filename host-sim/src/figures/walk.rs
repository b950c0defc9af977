//! The pictures that any capture gets, of the demonstration's first station.

use std::error::Error;

use super::Figure;
use crate::pictures::{Gatherer, of_walk};
use crate::run;
use crate::site::builtin;
use crate::synth::Simulation;

const SITE: &str = "drain-run";
const STATION: usize = 0;
const SEED: u64 = 1;
/// Names in the book, where other figures are called alike.
const NAMES: [(&str, &str); 2] =
    [("components.svg", "walk-components.svg"), ("residuals.svg", "walk-residuals.svg")];

pub fn draw() -> Result<Vec<Figure>, Box<dyn Error>> {
    let site = builtin().iter().find(|b| b.name == SITE).ok_or("no such built-in site")?.site()?;
    let array = site.array.array()?.ok_or("the site has no array")?;
    let instrument = run::instrument::<6>(&site.signal, site.front_end.ladder()?, array.clone())?;
    let mut gathered = Gatherer::new(site.signal.sample_rate_hz);
    let mut simulation = Simulation::new(&site, STATION, SEED)?;
    let Ok(outcome) = run::locate(&instrument, &mut simulation, None, |update| {
        gathered.note(&update.glimpse, &update.guidance);
    });
    let overlap = instrument.tone().response().overlap();
    let drawn = of_walk(&gathered.walk("a simulated station", outcome, overlap, &array));
    let figure = |(picture, file): &(&str, &'static str)| {
        let found = drawn.iter().find(|p| p.file == *picture).ok_or("a picture is missing")?;
        Ok(Figure { file, svg: found.svg.clone() })
    };
    NAMES.iter().map(figure).collect()
}
