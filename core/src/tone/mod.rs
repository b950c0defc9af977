//! Tone detection: from blocks of samples to one phasor per channel, ten times a second.
//!
//! Three stages, each where it is cheapest:
//!
//! 1. `front`: at the full rate. Samples are multiplied by a table of the nominal tone and summed over
//!    *boxcars* of 5 ms, one sample after the other, so nothing depends on how the stream is cut.
//! 2. `bridge`: at 200 Hz, boxcars hit by an impulse or by a settling amplifier are replaced by what the
//!    mains and the tone predict for them.
//! 3. `window`: every 20 boxcars, 120 of them are weighted into a phasor, stamped at their middle.
//!    `floor` does the same at neighbouring frequencies for the noise, `carrier` keeps the oscillator on
//!    the beacon's true frequency.

mod bridge;
mod carrier;
mod floor;
mod front;
mod peak;
mod scout;
mod window;

use num_complex::Complex32;

use crate::error::ConfigError;
use crate::frame::{Block, SampleIndex};
use crate::gain::Ladder;
use crate::math;

use bridge::Bridge;
use carrier::Carrier;
use floor::Floor;
use front::{Front, FrontState};
use peak::Peak;
pub use scout::{CANDIDATES_HZ, Scout, StrayTone};
use window::{BASE_HOPS, History};
pub use window::{HOP_BOXCARS, HOPS, Overlap, Response, Window};

/// The carrier may be this far from its nominal frequency, hertz.
pub const CARRIER_RANGE_HZ: f32 = 3.0;

/// Distance the tone keeps from half the sampling rate, hertz: nearer, its mirror image cannot be told from it.
pub const NYQUIST_MARGIN_HZ: f32 = 10.0;

/// What happened to the samples behind a value. Marks add up and are never lost on the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Marks {
    /// A sample touched the rail.
    pub clipped: bool,
    /// The amplifier was settling after a change of rung; the time was bridged.
    pub settling: bool,
    /// Impulses were bridged.
    pub impulses: bool,
    /// Samples were missing.
    pub gap: bool,
}

impl Marks {
    /// Both sets of marks together.
    pub const fn and(self, other: Self) -> Self {
        Self {
            clipped: self.clipped | other.clipped,
            settling: self.settling | other.settling,
            impulses: self.impulses | other.impulses,
            gap: self.gap | other.gap,
        }
    }
}

/// The tone on every channel at one instant, in volts at the coils (peak).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phasors<const C: usize> {
    /// Middle of the window.
    pub centre: SampleIndex,
    /// Complex amplitude per channel: `value` stands for `Re(value e^{+i w t})`.
    pub value_v: [Complex32; C],
    /// Standard deviation of the real (and of the imaginary) part of `value_v`, from neighbouring frequencies.
    pub sigma_v: [f32; C],
    /// Offset of the tracked carrier from nominal, hertz.
    pub carrier_offset_hz: f32,
    /// Fraction of the window that had to be bridged.
    pub bridged: f32,
    /// What happened within the window.
    pub marks: Marks,
}

impl<const C: usize> Phasors<C> {
    /// Signal-to-noise ratio of a channel in decibels: tone power over noise power within the window's bandwidth.
    pub fn snr_db(&self, channel: usize) -> f32 {
        match (self.value_v.get(channel), self.sigma_v.get(channel)) {
            (Some(z), Some(&s)) if s > 0.0 => math::db(math::sqrt(z.norm_sqr() / (2.0 * s * s))),
            _ => 0.0,
        }
    }
}

/// A tone to listen for: the immutable half of the detector.
#[derive(Debug, Clone)]
pub struct Tone {
    front: Front,
    window: Window,
    rate_hz: f32,
    tone_hz: f32,
}

/// What happened in one hop.
#[derive(Debug, Clone, Copy, Default)]
struct HopLog {
    marks: Marks,
    /// One bit per boxcar.
    bridged: u32,
}

/// What the detector remembers between blocks.
#[derive(Debug, Clone)]
pub struct ToneState<const C: usize> {
    front: FrontState<C>,
    /// Boxcars in volts at the tracked carrier.
    history: [History; C],
    /// The last three outputs of the base window, oldest first.
    weighed: [[Complex32; 3]; C],
    /// What happened in the hop being filled and those before it, newest first.
    log: [HopLog; HOPS],
    /// Hop being filled, and the next boxcar in it.
    hop: usize,
    boxcar: usize,
    /// Hops completed since the last restart, up to [`HOPS`].
    filled: usize,
    /// Index of the first sample of the boxcar being filled; `None` before the first block.
    boxcar_start: Option<SampleIndex>,
    rung: u8,
    settling: u32,
    gap: bool,
    /// The largest sample since it was last asked for.
    peak: Peak,
    value_v: [Complex32; C],
    bridge: Bridge,
    floor: Floor<C>,
    carrier: Carrier,
}

impl Tone {
    /// A detector for `tone_hz` in samples at `rate_hz`.
    ///
    /// ```
    /// use nullwalk_core::tone::Tone;
    /// assert!(Tone::new(512.0, 8000.0).is_ok());
    /// assert_eq!(Tone::new(8192.0, 16384.0).unwrap_err().parameter, "signal.tone_hz");
    /// ```
    ///
    /// # Errors
    /// When the rate is not 4 to 48 kHz, or the tone not between 50 Hz and 10 Hz below half the rate.
    pub fn new(tone_hz: f32, rate_hz: f32) -> Result<Self, ConfigError> {
        ConfigError::unless_rate(rate_hz)?;
        ConfigError::unless(
            tone_hz >= 50.0 && tone_hz <= 0.5 * rate_hz - NYQUIST_MARGIN_HZ,
            "signal.tone_hz",
            "must be at least 50 and at least 10 below half the sampling rate",
        )?;
        let front = Front::new(tone_hz, rate_hz);
        let window = Window::new(rate_hz / front.length() as f32);
        Ok(Self { front, window, rate_hz, tone_hz })
    }

    /// Time from one output to the next, seconds: 0.1 or a little less.
    pub fn hop_s(&self) -> f32 {
        self.hop_samples() as f32 / self.rate_hz
    }

    /// Samples from one output to the next.
    pub fn hop_samples(&self) -> u32 {
        (self.front.length() * HOP_BOXCARS) as u32
    }

    /// Samples in one boxcar.
    pub fn boxcar_samples(&self) -> u32 {
        self.front.length() as u32
    }

    /// Nominal frequency, hertz.
    pub fn tone_hz(&self) -> f32 {
        self.tone_hz
    }

    /// Sampling rate, hertz.
    pub fn rate_hz(&self) -> f32 {
        self.rate_hz
    }

    /// The published response: bandwidth, gain over frequency, settling time.
    pub fn response(&self) -> Response<'_> {
        Response::new(&self.window, self.front.length(), self.rate_hz)
    }

    /// The window's weight of each boxcar, oldest first; they sum to one.
    pub fn taps(&self) -> &[f32] {
        self.window.taps()
    }

    /// Samples until an abrupt change has wholly passed through the window.
    pub fn settling_samples(&self) -> u32 {
        self.hop_samples() * HOPS as u32
    }

    /// State for a recording that begins now.
    pub fn start<const C: usize>(&self) -> ToneState<C> {
        ToneState {
            front: FrontState::default(),
            history: [[[Complex32::ZERO; HOP_BOXCARS]; BASE_HOPS]; C],
            weighed: [[Complex32::ZERO; 3]; C],
            log: [HopLog::default(); HOPS],
            hop: 0,
            boxcar: 0,
            filled: 0,
            boxcar_start: None,
            rung: 0,
            settling: 0,
            gap: false,
            peak: Peak::default(),
            value_v: [Complex32::ZERO; C],
            bridge: Bridge::default(),
            floor: Floor::default(),
            carrier: Carrier::new(&self.front),
        }
    }

    /// Take a block in; call `output` for every phasor that falls due.
    pub fn push<const C: usize>(
        &self,
        state: &mut ToneState<C>,
        ladder: &Ladder,
        block: &Block<'_, C>,
        mut output: impl FnMut(&Phasors<C>),
    ) {
        self.catch_up(state, ladder, block.start, &mut output);
        if block.rung != state.rung {
            // The boxcar in progress mixes two gains: it is bridged together with the settling time.
            let settle_s = ladder.rung(block.rung).settle_s;
            let boxcars = settle_s * self.rate_hz / self.front.length() as f32;
            state.settling = boxcars as u32 + 2;
            state.rung = block.rung;
        }
        let mut frames = block.frames;
        while !frames.is_empty() {
            frames = self.front.accumulate(&mut state.front, frames, ladder.rail_counts());
            if self.front.is_full(&state.front) {
                self.finish_boxcar(state, ladder, &mut output);
            }
        }
    }

    /// Bridge the frames that are missing before `start`, or begin afresh when there are too many.
    fn catch_up<const C: usize>(
        &self,
        state: &mut ToneState<C>,
        ladder: &Ladder,
        start: SampleIndex,
        output: &mut impl FnMut(&Phasors<C>),
    ) {
        let Some(boxcar_start) = state.boxcar_start else {
            state.boxcar_start = Some(start);
            return;
        };
        let expected = boxcar_start.wrapping_add(state.front.frames() as u64);
        let missing = start.wrapping_sub(expected);
        if missing == 0 {
            return;
        }
        if missing > u64::from(self.hop_samples()) * 2 {
            let carrier = state.carrier;
            let peak = state.peak;
            *state = self.start();
            state.carrier = carrier;
            state.peak = peak;
            state.gap = true;
            state.boxcar_start = Some(start);
            return;
        }
        for _ in 0..missing {
            state.gap = true;
            self.front.skip(&mut state.front);
            if self.front.is_full(&state.front) {
                self.finish_boxcar(state, ladder, output);
            }
        }
        // The next boxcar is whole if the gap ended with the last.
        state.gap = state.front.frames() > 0;
    }

    fn finish_boxcar<const C: usize>(
        &self,
        state: &mut ToneState<C>,
        ladder: &Ladder,
        output: &mut impl FnMut(&Phasors<C>),
    ) {
        let (hop, boxcar) = (state.hop % BASE_HOPS, state.boxcar % HOP_BOXCARS);
        let before = (hop + BASE_HOPS - 1) % BASE_HOPS;
        let to_volts =
            state.carrier.rotation() * (self.front.unit * ladder.coil_volts_per_count(state.rung));
        let forecast = state.carrier.forecast();
        let (mut surprise, mut tone_power) = (0.0, 0.0);
        let channels = state.front.sums.iter().zip(&mut state.history).zip(&state.value_v);
        for ((sum, history), &tone) in channels {
            let fresh = sum * to_volts;
            surprise += (fresh - forecast.one_hop_on(history[before][boxcar], tone)).norm_sqr();
            tone_power += tone.norm_sqr();
            history[hop][boxcar] = fresh;
        }
        let mut marks = Marks {
            clipped: state.front.peak.is_clipped(ladder.rail_counts()),
            settling: state.settling > 0,
            gap: core::mem::take(&mut state.gap),
            impulses: false,
        };
        state.settling = state.settling.saturating_sub(1);
        let [log, log_before @ ..] = &mut state.log;
        // A forecast that itself rests on a bridged boxcar is no ground for bridging the next.
        let sound = state.filled > 0 && log_before[0].bridged >> boxcar & 1 == 0;
        if sound && !marks.settling && !marks.gap {
            marks.impulses = state.bridge.is_impulse(surprise, tone_power);
        }
        let bridged = marks.settling || marks.gap || marks.impulses;
        if bridged {
            // Where nothing sound is left in the window, only the tone is known. A forecast of a forecast of itself
            // would grow without end, since the tone is read from it, too.
            let is_known = log_before.iter().take(BASE_HOPS).any(|log| log.bridged >> boxcar & 1 == 0);
            for (history, &tone) in state.history.iter_mut().zip(&state.value_v) {
                let from = if is_known { history[before][boxcar] } else { tone };
                history[hop][boxcar] = forecast.one_hop_on(from, tone);
            }
        }
        log.marks = log.marks.and(marks);
        log.bridged |= u32::from(bridged) << boxcar;
        state.peak = state.peak.and(state.front.peak);
        state.front = FrontState::default();
        let length = self.front.length() as u64;
        state.boxcar_start = state.boxcar_start.map(|s| s.wrapping_add(length));
        state.carrier.advance();
        state.boxcar = boxcar + 1;
        if state.boxcar == HOP_BOXCARS {
            self.finish_hop(state, output);
        }
    }

    fn finish_hop<const C: usize>(&self, state: &mut ToneState<C>, output: &mut impl FnMut(&Phasors<C>)) {
        state.boxcar = 0;
        let oldest = (state.hop + 1) % BASE_HOPS;
        state.hop = oldest;
        for (weighed, history) in state.weighed.iter_mut().zip(&state.history) {
            let [_, before, middle] = *weighed;
            *weighed = [before, middle, self.window.weigh(history, oldest)];
        }
        state.filled = (state.filled + 1).min(HOPS);
        if state.filled == HOPS
            && let Some(end) = state.boxcar_start
        {
            let earlier = state.value_v;
            for (value, &weighed) in state.value_v.iter_mut().zip(&state.weighed) {
                *value = self.window.flatten(weighed);
            }
            state.floor.listen(&self.window, &state.history, oldest);
            let sigma_v = state.floor.sigma();
            state.carrier.track(&earlier, &state.value_v, &sigma_v);
            let half = u64::from(self.settling_samples() / 2);
            let bridged: u32 = state.log.iter().map(|hop| hop.bridged.count_ones()).sum();
            output(&Phasors {
                centre: end.wrapping_sub(half),
                value_v: state.value_v,
                sigma_v,
                carrier_offset_hz: state.carrier.offset_hz(),
                bridged: bridged as f32 / (HOPS * HOP_BOXCARS) as f32,
                marks: state.log.iter().fold(Marks::default(), |all, hop| all.and(hop.marks)),
            });
        }
        state.log.copy_within(..HOPS - 1, 1);
        state.log[0] = HopLog::default();
    }
}

impl<const C: usize> ToneState<C> {
    /// The largest magnitude on any channel since the last call, counts: what the gain stepper watches. It is
    /// exact from half of the rail on; below that it may be too large, by at most the square root of `C`.
    pub fn take_peak(&mut self) -> i32 {
        core::mem::take(&mut self.peak).counts()
    }

    /// Whether the amplifier is settling, so that peaks are no guide to the gain.
    pub fn is_settling(&self) -> bool {
        self.settling > 0
    }
}
