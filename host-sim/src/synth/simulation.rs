//! One station of a site as a stream of samples.

use std::convert::Infallible;

use nullwalk_core::frame::{BlockInfo, MastReading, SampleIndex, SampleSource};

use super::coils::{Coils, Mast};
use super::earth::EarthEmf;
use super::emission::Wave;
use super::front_end::Chain;
use super::impulses::Crackle;
use super::mains::Hum;
use super::pose::Pose;
use super::random::{Purpose, Random, normal, stream};
use super::tone::Tone;
use super::track::Sensors;
use super::walker::{Cue, Guided, Technician};
use crate::site::{Site, SiteError, Truth};

/// Blocks in a second. A rung that was asked for comes into force, and the sensors speak, at the start
/// of a block.
const BLOCKS_PER_S: f64 = 20.0;
/// Steps of the field's simulation in one block: 500 in a second.
const STEPS: usize = 25;

/// A station of a site, walked by the simulated technician and heard by `C` channels.
///
/// ```
/// use nullwalk::site::Site;
/// use nullwalk::synth::Simulation;
/// use nullwalk_core::frame::SampleSource;
///
/// let mut simulation = Simulation::<6>::new(&Site::default(), 0, 1)?;
/// let mut frames = [[0; 6]; 400];
/// let Ok(block) = simulation.read(&mut frames);
/// assert_eq!(block.map(|b| (b.start, b.frames)), Some((0, 400)));
/// # Ok::<(), nullwalk::site::SiteError>(())
/// ```
#[derive(Debug, Clone)]
pub struct Simulation<const C: usize> {
    truth: Option<Truth>,
    sample_rate_hz: f64,
    technician: Technician,
    sensors: Sensors,
    coils: Coils<C>,
    tones: Vec<Tone<C>>,
    hum: Option<Hum<C>>,
    crackle: Option<Crackle>,
    earth: EarthEmf<C>,
    hiss: Random,
    chain: Chain<C>,
    /// The block in hand: what it holds, and how much of it has been read.
    block: Vec<[i32; C]>,
    block_start: SampleIndex,
    read: usize,
    reading: Option<MastReading>,
    // Scratch space, kept so that no memory is taken while running.
    volts: Vec<[f64; C]>,
    waves: [Wave; 2],
}

impl<const C: usize> Simulation<C> {
    /// Station number `station` (counted from 0) of a site. The calibration and compass errors belong to
    /// the `seed` alone, everything else random to the seed and the station.
    ///
    /// # Errors
    /// When the site does not hold water, has another number of channels, or no such station.
    pub fn new(site: &Site, station: usize, seed: u64) -> Result<Self, SiteError> {
        site.validate()?;
        if site.signal.channels != C {
            let problem = format!("= {}: must be {C} here", site.signal.channels);
            return Err(SiteError::new("signal.channels", problem));
        }
        if site.array.node.is_empty() {
            let problem = "is empty: must list at least one node of coils to simulate";
            return Err(SiteError::new("array.node", problem));
        }
        let stations = site.stations();
        let Some(here) = stations.get(station) else {
            let problem = format!("has {} entries: there is no number {}", stations.len(), station + 1);
            return Err(SiteError::new("station", problem));
        };
        let site = &site.tuned(here);
        let place = (seed, station);
        let coils = Coils::new(site, seed);
        let technician = Technician::new(site, here, place);
        let mast = coils.mast(&technician.pose());
        let noise = &site.noise;
        let quiet = |rate: f64| rate <= 0.0;
        let impulses = noise.impulses.as_ref().filter(|i| !quiet(i.rate_per_s));
        Ok(Self {
            truth: site.truth().into_iter().nth(station).flatten(),
            sample_rate_hz: site.signal.sample_rate_hz,
            tones: Tone::all(site, here, &coils, &mast),
            hum: noise.mains.as_ref().map(|m| Hum::new(m, site, here, &coils, &mast, place)),
            crackle: impulses.map(|i| Crackle::new(i, site, seed, station)),
            earth: EarthEmf::new(noise, &coils, &mast),
            sensors: Sensors::new(&noise.track, seed, station),
            hiss: stream(seed, station, Purpose::Hiss),
            chain: Chain::new(site, seed, station)?,
            technician,
            coils,
            block: Vec::new(),
            block_start: 0,
            read: 0,
            reading: None,
            volts: Vec::new(),
            waves: <[Wave; 2]>::default(),
        })
    }

    /// What is really there; `None` where there is no source.
    pub fn truth(&self) -> Option<&Truth> {
        self.truth.as_ref()
    }

    /// Where the mast really is at the end of the block in hand.
    pub fn pose(&self) -> Pose {
        self.technician.pose()
    }

    fn frames_per_block(&self) -> usize {
        (self.sample_rate_hz / BLOCKS_PER_S).round() as usize
    }

    fn make_block(&mut self) {
        let frames = self.frames_per_block();
        self.block_start += self.block.len() as SampleIndex;
        self.read = 0;
        self.chain.begin_block();
        let pose = self.technician.pose();
        self.reading = Some(self.sensors.read(&pose, frames as f64 / self.sample_rate_hz));

        self.block.resize(frames, [0; C]);
        let mut block = std::mem::take(&mut self.block);
        let mut done = 0;
        for step in 1..=STEPS {
            let until = frames * step / STEPS;
            if let Some(counts) = block.get_mut(done..until) {
                self.make_step(counts);
            }
            done = until;
        }
        self.block = block;
    }

    fn make_step(&mut self, counts: &mut [[i32; C]]) {
        let dt_s = counts.len() as f64 / self.sample_rate_hz;
        self.technician.step(dt_s);
        let mast: Mast = self.coils.mast(&self.technician.pose());

        let (coils, volts, [wave, other]) = (&self.coils, &mut self.volts, &mut self.waves);
        let sigma_v = coils.hiss_v();
        volts.clear();
        volts.extend(counts.iter().map(|_| sigma_v.map(|sigma| sigma * normal(&mut self.hiss))));
        for tone in &mut self.tones {
            tone.add(volts, wave, coils, &mast, dt_s);
        }
        if let Some(hum) = &mut self.hum {
            hum.add(volts, [wave, other], coils, &mast, dt_s);
        }
        if let Some(crackle) = &mut self.crackle {
            crackle.add(volts, wave, coils, &mast);
        }
        self.earth.add(volts, coils, &mast, dt_s);
        self.chain.convert(volts, counts);
    }
}

impl<const C: usize> SampleSource<C> for Simulation<C> {
    type Error = Infallible;

    /// Reads at most the rest of the block in hand, 50 ms. The sensors speak once a block: when a short
    /// buffer splits one, only its first part carries a mast reading.
    fn read(&mut self, frames: &mut [[i32; C]]) -> Result<Option<BlockInfo>, Infallible> {
        if self.read == self.block.len() {
            if self.technician.has_finished() {
                return Ok(None);
            }
            self.make_block();
        }
        let ready = self.block.get(self.read..).unwrap_or_default();
        let info = BlockInfo {
            frames: ready.len().min(frames.len()),
            start: self.block_start + self.read as SampleIndex,
            rung: self.chain.rung(),
            mast: self.reading.filter(|_| self.read == 0),
        };
        for (frame, ready) in frames.iter_mut().zip(ready) {
            *frame = *ready;
        }
        self.read += info.frames;
        Ok(Some(info))
    }

    fn set_rung(&mut self, rung: u8) {
        self.chain.set_rung(rung);
    }
}

impl<const C: usize> Guided for Simulation<C> {
    /// The technician goes where the instrument *says* the mark is, so the errors of position and compass
    /// of the moment shift the walk with them.
    fn respond(&mut self, cue: Cue) {
        let [east, north] = self.sensors.offset_m();
        let compass_rad = self.sensors.compass_rad() as f32;
        let true_enu_m = |place: Option<[f64; 2]>| place.map(|[e, n]| [e - east, n - north]);
        self.technician.respond(Cue {
            mark_enu_m: true_enu_m(cue.mark_enu_m),
            source_enu_m: true_enu_m(cue.source_enu_m),
            lay_rad: cue.lay_rad.map(|lay| lay - compass_rad),
            ..cue
        });
    }
}
