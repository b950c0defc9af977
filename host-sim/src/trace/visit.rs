//! A walk across a line on simulated ground, and what was found there.

use std::error::Error;

use super::{Settings, Trace, trace};
use crate::equipment::{ArrayFile, coupled};
use crate::run::{self, Kit, Listen, Walk};
use crate::site::{Site, Station};
use crate::synth::Simulation;
use crate::with_channels;

/// A station of a simulated site that is walked.
#[derive(Debug, Clone, Copy)]
pub struct Visit<'a> {
    /// The site.
    pub site: &'a Site,
    /// Which of the stations, from 0.
    pub n: usize,
    /// That station.
    pub here: &'a Station,
    /// Which randomness.
    pub seed: u64,
    /// What the instrument believes of its coils, if not what the site says.
    pub array: Option<&'a ArrayFile>,
}

impl Visit<'_> {
    fn kit(&self) -> Result<Kit, Box<dyn Error>> {
        let signal = self.site.signal(self.here);
        let believed = self.array.unwrap_or(&self.site.array);
        let array = coupled(believed, &self.site.front_end, &signal)?;
        let array = array.ok_or("a site needs an array with nodes")?;
        Ok(Kit { signal, ladder: self.site.front_end.ladder()?, array })
    }

    /// Walk it, and listen.
    ///
    /// # Errors
    /// When the site cannot be, or its instrument.
    pub fn walk(&self, listen: Listen) -> Result<Walk, Box<dyn Error>> {
        let kit = self.kit()?;
        with_channels!(kit.signal.channels, C => {
            let mut simulation = Simulation::<C>::new(self.site, self.n, self.seed)?;
            let Ok(walk) = run::walk::<C, _>(&kit, listen, &mut simulation)?;
            Ok(walk)
        })
        .ok_or("signal.channels must be 1 to 8")?
    }

    /// Walk it, and listen to every harmonic of mains.
    ///
    /// # Errors
    /// As [`Visit::walk`].
    pub fn walks(&self) -> Result<Vec<Walk>, Box<dyn Error>> {
        let kit = self.kit()?;
        with_channels!(kit.signal.channels, C => {
            let mut simulation = Simulation::<C>::new(self.site, self.n, self.seed)?;
            let Ok(hums) = run::mains_walk::<C, _>(&kit, &mut simulation)?;
            Ok(hums.walks())
        })
        .ok_or("signal.channels must be 1 to 8")?
    }

    /// What that walk amounts to, beside what is really there.
    ///
    /// # Errors
    /// As [`trace`].
    pub fn traced(
        &self,
        walk: &Walk,
        listen: Listen,
        settings: &Settings,
    ) -> Result<Trace, Box<dyn Error>> {
        let mains = listen != Listen::Tone;
        let mut trace = trace(walk, mains, settings)?;
        trace.number = self.n as u32 + 1;
        trace.name.clone_from(&self.here.name);
        if let Some(place) = trace.place.filter(|_| !mains || walk.order.is_some()) {
            trace.truth = self.site.line_near(self.here, [place.east_m, place.north_m], walk.order);
        }
        Ok(trace)
    }
}
