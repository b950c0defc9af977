//! Whatever sends a tone, in the coils.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::coils::{Coils, Mast};
use super::emission::{Coupling, Wave, add};
use super::emitter::Emitter;
use crate::site::{Line, Site, Sonde, Station};

/// The oscillation behind a tone at one instant, and how it goes on.
#[derive(Debug, Clone, Copy)]
struct Carrier {
    frequency_hz: f64,
    drift_hz_per_s: f64,
    phase_rad: f64,
    /// Strength relative to the first sample, and the share of itself that it gains in a second.
    strength: f64,
    growth_per_s: f64,
}

impl Carrier {
    /// That of a sonde, at `tone_hz` unless it says otherwise.
    fn sonde(sonde: &Sonde, tone_hz: f64) -> Self {
        Self {
            frequency_hz: sonde.tone_hz.unwrap_or(tone_hz) + sonde.offset_hz,
            drift_hz_per_s: sonde.drift_hz_per_s,
            phase_rad: sonde.phase_deg.to_radians(),
            strength: 1.0,
            growth_per_s: sonde.moment_drift_per_s,
        }
    }

    /// That of a line: the first sonde's, unless it has one of its own.
    fn line(line: &Line, first: Option<&Sonde>, tone_hz: f64) -> Self {
        let driven = first.filter(|_| line.tone_hz.is_none());
        let carrier = driven.map(|sonde| Self::sonde(sonde, tone_hz)).unwrap_or(Self {
            frequency_hz: line.tone_hz.unwrap_or(tone_hz),
            drift_hz_per_s: 0.0,
            phase_rad: 0.0,
            strength: 1.0,
            growth_per_s: 0.0,
        });
        carrier.later_by(-line.phase_deg)
    }

    fn later_by(self, lag_deg: f64) -> Self {
        Self { phase_rad: self.phase_rad - lag_deg.to_radians(), ..self }
    }

    /// How far it turns in the next `dt_s`, radians, and what it is then.
    fn turned(self, dt_s: f64) -> (f64, Self) {
        // The mean frequency of the step is that at its middle.
        let turn = TAU * (self.frequency_hz + 0.5 * self.drift_hz_per_s * dt_s) * dt_s;
        let after = Self {
            phase_rad: (self.phase_rad + turn).rem_euclid(TAU),
            frequency_hz: self.frequency_hz + self.drift_hz_per_s * dt_s,
            strength: self.strength * (self.growth_per_s * dt_s).exp(),
            ..self
        };
        (turn, after)
    }
}

/// Something that sends a tone.
#[derive(Debug, Clone)]
pub(super) struct Tone<const C: usize> {
    emitter: Emitter,
    carrier: Carrier,
    along_t: [f64; C],
    coupling: Coupling<C>,
}

impl<const C: usize> Tone<C> {
    /// Everything that sends a tone at a station, heard by a mast at rest.
    pub(super) fn all(site: &Site, station: &Station, coils: &Coils<C>, mast: &Mast) -> Vec<Self> {
        let (ground, tone_hz) = (&site.ground, site.signal.tone_hz);
        let sources = site.sources(station);
        let first = sources.first();
        let mut tones = Vec::new();
        for sonde in &sources {
            let carrier = Carrier::sonde(sonde, tone_hz);
            tones.push(Self::new(Emitter::sonde(sonde, ground), carrier, coils, mast));
            if let Some(iron) = &sonde.iron {
                let leaks = Emitter::leaks(sonde, iron, ground);
                tones.push(Self::new(leaks, carrier.later_by(iron.lag_deg), coils, mast));
            }
        }
        let lines = site.lines(station);
        let carries = |line: &&Line| line.current_a > 0.0 || line.share_at_sonde.is_some();
        tones.extend(lines.iter().filter(carries).map(|line| {
            let carrier = Carrier::line(line, first, tone_hz);
            Self::new(Emitter::line(line, first, ground), carrier, coils, mast)
        }));
        tones
    }

    fn new(emitter: Emitter, carrier: Carrier, coils: &Coils<C>, mast: &Mast) -> Self {
        let mut tone =
            Self { emitter, carrier, along_t: [0.0; C], coupling: Coupling::new([Complex64::ZERO; C]) };
        tone.along_t = tone.field(coils, mast);
        tone.coupling = tone.couple(coils, &tone.along_t, 1.0);
        tone
    }

    fn field(&self, coils: &Coils<C>, mast: &Mast) -> [f64; C] {
        coils.along_axes(mast, |at| self.emitter.field(at) * self.carrier.strength)
    }

    /// The EMF is the derivative of the flux: of `B cos(wt)`, `(i w B + dB/dt)` as a phasor. The second
    /// part is what carrying the coils through the field adds, and what the field itself gains.
    fn couple(&self, coils: &Coils<C>, along_t: &[f64; C], dt_s: f64) -> Coupling<C> {
        let w = TAU * self.carrier.frequency_hz;
        let mut factors = coils.volts();
        for ((factor, now), before) in factors.iter_mut().zip(along_t).zip(&self.along_t) {
            *factor *= Complex64::new((now - before) / dt_s, w * now);
        }
        Coupling::new(factors)
    }

    /// Add the next `volts.len()` samples while the mast moves to `mast`.
    pub(super) fn add(
        &mut self,
        volts: &mut [[f64; C]],
        wave: &mut Wave,
        coils: &Coils<C>,
        mast: &Mast,
        dt_s: f64,
    ) {
        let (turn, after) = self.carrier.turned(dt_s);
        let step = Complex64::cis(turn / volts.len().max(1) as f64);
        wave.rotate(Complex64::cis(self.carrier.phase_rad), step, volts.len());

        self.carrier = after;
        let along_t = self.field(coils, mast);
        let coupling = self.couple(coils, &along_t, dt_s);
        add(volts, wave, &self.coupling, &coupling);
        (self.along_t, self.coupling) = (along_t, coupling);
    }
}

#[cfg(test)]
mod tests {
    use glam::DVec3;
    use nullwalk_core::field::dipole;

    use super::*;
    use crate::site::Iron;
    use crate::synth::pose::Pose;

    /// Carried past whatever sends at 1 m/s, turning and tilting, the samples are the derivative of the flux
    /// through each coil, worked out here by differences of the flux itself. `field` is that at a time and place.
    fn check(mut site: Site, field: impl Fn(f64, DVec3) -> DVec3) {
        site.noise.calibration_error = false;
        let coils = Coils::<6>::new(&site, 1);
        let pose = |t: f64| Pose {
            enu_m: DVec3::new(-0.5 + t, 0.1, 0.15),
            heading_rad: 1.2 + 0.5 * t,
            pitch_rad: 0.3 * t,
            roll_rad: -0.2 * t,
        };
        let rate_hz = 8000.0;
        let mut tones = Tone::all(&site, &Station::default(), &coils, &coils.mast(&pose(0.0)));
        let flux =
            |t: f64| coils.along_axes(&coils.mast(&pose(t)), |at| field(t, at)).map(|along| 20.0 * along);
        let (mut wave, mut worst, mut largest) = (Wave::default(), 0.0f64, 0.0f64);
        for step in 0..500 {
            let mut volts = [[0.0; 6]; 16];
            let end = f64::from(step + 1) * 16.0 / rate_hz;
            for tone in &mut tones {
                tone.add(&mut volts, &mut wave, &coils, &coils.mast(&pose(end)), 16.0 / rate_hz);
            }
            // The mast began at rest, so its first step has an acceleration no person has.
            for (k, volts) in (0..).zip(&volts).filter(|_| step > 0) {
                let t = f64::from(step * 16 + k) / rate_hz;
                let (before, after) = (flux(t - 1e-6), flux(t + 1e-6));
                for c in 0..6 {
                    let expected = (after[c] - before[c]) / 2e-6;
                    worst = worst.max((volts[c] - expected).abs());
                    largest = largest.max(expected.abs());
                }
            }
        }
        // Differences over 2 us are good to (w dt)^2/6 = 2e-6; linear interpolation to about 1e-5. What
        // motion adds is about 3 v/(w d) = 1e-3 of the signal: leaving it out would show.
        assert!(worst < 2e-5 * largest, "{worst} of {largest}");
    }

    fn at_phase(t: f64, phase_deg: f64) -> f64 {
        (TAU * 512.0 * t + phase_deg.to_radians()).cos()
    }

    /// The field of the sonde of these tests as it goes along its pipe, of this moment.
    fn tilted(moment_a_m2: f64, along_m: f64, at: DVec3) -> DVec3 {
        let along = DVec3::new(10f64.to_radians().cos(), 0.0, 10f64.to_radians().sin());
        let place = DVec3::new(0.0, 0.0, -0.6) + along * along_m;
        DVec3::from_array(dipole((along * moment_a_m2).to_array(), (at - place).to_array()))
    }

    fn tilted_sonde() -> Sonde {
        Sonde { depth_m: 0.6, pitch_deg: 10.0, phase_deg: 33.0, ..Sonde::default() }
    }

    #[test]
    fn moving_coils_give_the_derivative_of_the_flux() {
        let site = Site { source: vec![tilted_sonde()], ..Site::default() };
        check(site, |t, at| tilted(0.2, 0.0, at) * at_phase(t, 33.0));
    }

    /// A moment that loses 10 % in a second: e^-0.1t.
    #[test]
    fn a_moment_fades_as_stated() {
        let sonde = Sonde { moment_drift_per_s: -0.1, ..tilted_sonde() };
        let site = Site { source: vec![sonde], ..Site::default() };
        check(site, |t, at| tilted(0.2 * (-0.1 * t).exp(), 0.0, at) * at_phase(t, 33.0));
    }

    /// What leaks from iron has its own phase.
    #[test]
    fn leaks_lag_behind_the_sonde_in_iron() {
        let iron = Iron { weaken_db: 20.0, leak_share: 0.5, ahead_m: 0.4, behind_m: 0.3, lag_deg: 60.0 };
        let site = Site { source: vec![Sonde { iron: Some(iron), ..tilted_sonde() }], ..Site::default() };
        check(site, |t, at| {
            let leaks = tilted(0.01, 0.4, at) + tilted(0.01, -0.3, at);
            tilted(0.02, 0.0, at) * at_phase(t, 33.0) + leaks * at_phase(t, 33.0 - 60.0)
        });
    }

    /// A line has the carrier of the first sonde, drifts and all, and a phase relative to it. With the sonde's moment
    /// at nothing, the line alone is heard.
    #[test]
    fn a_line_follows_the_sonde() {
        let sonde = Sonde {
            moment_a_m2: 0.0,
            offset_hz: 1.5,
            drift_hz_per_s: 0.5,
            moment_drift_per_s: 0.1,
            ..tilted_sonde()
        };
        let line = Line { aside_m: 1.0, length_m: 1e4, phase_deg: 70.0, ..Line::default() };
        let site = Site { source: vec![sonde], line: vec![line], ..Site::default() };
        check(site, |t, at| {
            let away = at - DVec3::new(1.0, at.y, -0.6);
            let field = DVec3::Y.cross(away) * (2e-7 * 0.02 / away.length_squared());
            let turns = 513.5 * t + 0.25 * t * t;
            field * (0.1 * t).exp() * (TAU * turns + 103f64.to_radians()).cos()
        });
    }

    #[test]
    fn a_line_may_have_a_tone_of_its_own() {
        let tone_hz = Some(640.0);
        let line = Line { aside_m: 1.0, length_m: 1e4, phase_deg: 70.0, tone_hz, ..Line::default() };
        let site = Site { source: vec![tilted_sonde()], line: vec![line], ..Site::default() };
        check(site, |t, at| {
            let away = at - DVec3::new(1.0, at.y, -0.6);
            let field = DVec3::Y.cross(away) * (2e-7 * 0.02 / away.length_squared());
            let own = field * (TAU * 640.0 * t + 70f64.to_radians()).cos();
            tilted(0.2, 0.0, at) * at_phase(t, 33.0) + own
        });
    }
}
