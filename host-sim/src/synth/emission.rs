//! How anything periodic gets into the coils: a wave that all channels share, and a slowly varying
//! complex coupling for each of them.

use std::array;

use num_complex::Complex64;

/// The samples of a complex wave over one step of the simulation.
#[derive(Debug, Clone, Default)]
pub(super) struct Wave {
    pub(super) re: Vec<f64>,
    pub(super) im: Vec<f64>,
}

impl Wave {
    /// Fill with `frames` samples of a rotation (or a decay) that begins at `first`.
    pub(super) fn rotate(&mut self, first: Complex64, step: Complex64, frames: usize) {
        self.re.clear();
        self.im.clear();
        let mut z = first;
        for _ in 0..frames {
            self.re.push(z.re);
            self.im.push(z.im);
            z *= step;
        }
    }
}

/// What each channel makes of a wave: the real part of the product is its voltage.
#[derive(Debug, Clone, Copy)]
pub(super) struct Coupling<const C: usize> {
    re: [f64; C],
    im: [f64; C],
}

impl<const C: usize> Coupling<C> {
    /// The coupling with the given complex factors.
    pub(super) fn new(factors: [Complex64; C]) -> Self {
        Self { re: factors.map(|z| z.re), im: factors.map(|z| z.im) }
    }
}

/// Add a wave to `volts` while its coupling goes evenly from `from` to `to`.
pub(super) fn add<const C: usize>(
    volts: &mut [[f64; C]],
    wave: &Wave,
    from: &Coupling<C>,
    to: &Coupling<C>,
) {
    let part = 1.0 / volts.len().max(1) as f64;
    let (mut re, mut im) = (from.re, from.im);
    let slope_re: [f64; C] = array::from_fn(|c| (to.re[c] - from.re[c]) * part);
    let slope_im: [f64; C] = array::from_fn(|c| (to.im[c] - from.im[c]) * part);
    for ((frame, &wave_re), &wave_im) in volts.iter_mut().zip(&wave.re).zip(&wave.im) {
        for c in 0..C {
            frame[c] += re[c] * wave_re - im[c] * wave_im;
            re[c] += slope_re[c];
            im[c] += slope_im[c];
        }
    }
}
