//! The handset's firmware for a Raspberry Pi Pico 2. On the host, it prints what to read while bringing a board up.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod firmware;
#[cfg(not(target_os = "none"))]
mod readings;

#[cfg(not(target_os = "none"))]
fn main() {
    print!("{}", readings::tables());
}
