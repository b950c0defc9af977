//! One number that changes when any bit of any result does.

use glam::Vec3;
use nullwalk_core::tone::Phasors;
use num_complex::Complex32;

/// Results that can be taken bit by bit.
pub trait Bits {
    /// Hand over the bits, 32 at a time.
    fn each(&self, take: &mut impl FnMut(u32));
}

impl Bits for f32 {
    fn each(&self, take: &mut impl FnMut(u32)) {
        take(self.to_bits());
    }
}

impl Bits for Vec3 {
    fn each(&self, take: &mut impl FnMut(u32)) {
        self.to_array().each(take);
    }
}

impl<T: Bits, U: Bits> Bits for (T, U) {
    fn each(&self, take: &mut impl FnMut(u32)) {
        self.0.each(take);
        self.1.each(take);
    }
}

impl<T: Bits, const N: usize> Bits for [T; N] {
    fn each(&self, take: &mut impl FnMut(u32)) {
        self.iter().for_each(|item| item.each(take));
    }
}

impl<T: Bits> Bits for Option<T> {
    fn each(&self, take: &mut impl FnMut(u32)) {
        take(self.is_some().into());
        self.iter().for_each(|item| item.each(take));
    }
}

impl Bits for Complex32 {
    fn each(&self, take: &mut impl FnMut(u32)) {
        [self.re, self.im].each(take);
    }
}

impl<const C: usize> Bits for Phasors<C> {
    fn each(&self, take: &mut impl FnMut(u32)) {
        self.value_v.each(take);
        self.sigma_v.each(take);
        self.carrier_offset_hz.each(take);
    }
}

/// Hash of the results of all steps from `state` on: Fowler-Noll-Vo (FNV-1a with the 32-bit prime), by words.
pub fn of<S, R: Bits>(steps: u32, mut state: S, step: impl Fn(&mut S, u32) -> R) -> u32 {
    let mut hash = 0x811c_9dc5_u32;
    for number in 0..steps {
        step(&mut state, number).each(&mut |word| hash = (hash ^ word).wrapping_mul(0x0100_0193));
    }
    hash
}
