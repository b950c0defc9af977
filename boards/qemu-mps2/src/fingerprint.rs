//! One number that changes when any bit of any result does.

use glam::Vec3;
use nullwalk_core::depth::Depth;
use nullwalk_core::tone::Phasors;
use nullwalk_core::verdict::{Fix, Place};
use num_complex::Complex32;

use crate::{Plan, Work};

/// Results that can be taken bit by bit.
pub trait Bits {
    /// Hand over the bits, 32 at a time.
    fn each(&self, take: &mut impl FnMut(u32));
}

impl Bits for u32 {
    fn each(&self, take: &mut impl FnMut(u32)) {
        take(*self);
    }
}

impl Bits for f32 {
    fn each(&self, take: &mut impl FnMut(u32)) {
        self.to_bits().each(take);
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
        u32::from(self.is_some()).each(take);
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

impl Bits for Depth {
    fn each(&self, take: &mut impl FnMut(u32)) {
        [self.depth_m, self.sigma_m].each(take);
    }
}

impl Bits for Place {
    fn each(&self, take: &mut impl FnMut(u32)) {
        [self.east_m, self.north_m, self.sigma_m].each(take);
    }
}

impl Bits for Fix {
    fn each(&self, take: &mut impl FnMut(u32)) {
        self.place.each(take);
        self.lay_rad.map(|lay| [lay.value, lay.sigma]).each(take);
        self.depths.map(Result::ok).each(take);
        self.pitch_rad.map(|pitch| [pitch.value, pitch.sigma]).each(take);
        self.moment_a_m2.map(|moment| [moment.value, moment.sigma]).each(take);
        (self.judgement.verdict as u32).each(take);
        self.judgement.depth.each(take);
    }
}

/// Hash of the outcomes of all steps: Fowler-Noll-Vo (FNV-1a with the 32-bit prime), by words.
pub fn of(plan: Plan, mut work: impl Work) -> u32 {
    let mut hash = 0x811c_9dc5_u32;
    for round in 0..plan.rounds {
        work.prepare();
        for step in round * plan.steps..(round + 1) * plan.steps {
            work.step(step).each(&mut |word| hash = (hash ^ word).wrapping_mul(0x0100_0193));
        }
    }
    hash
}
