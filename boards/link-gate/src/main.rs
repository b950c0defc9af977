//! Proof that the core, the drivers and the handset's application cannot panic, given by the linker.
//!
//! The panic handler below calls a function that nobody defines, and every public entry point of the core, as well as
//! what firmware calls of the drivers and of the application, is kept alive by its address, with nothing known about its inputs. Optimised
//! and linked as a whole, the program can only be linked if the optimiser found every panic unreachable.
//! It is never run. With the feature `handset-alone`, its size is what the core adds to a handset; with
//! `handset-whole`, it is that of a handset without its board.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(all(target_os = "none", not(feature = "handset-alone")))]
mod application;
#[cfg(all(target_os = "none", not(any(feature = "handset-alone", feature = "handset-whole"))))]
mod display;
#[cfg(all(target_os = "none", not(feature = "handset-alone")))]
mod drivers;
#[cfg(all(target_os = "none", not(feature = "handset-whole")))]
mod handset;
#[cfg(all(target_os = "none", not(any(feature = "handset-alone", feature = "handset-whole"))))]
mod parts;

/// Channels of two 3-axis nodes.
#[cfg(target_os = "none")]
const CHANNELS: usize = 6;

/// Hand the address of an entry point to code the optimiser cannot see.
#[cfg(target_os = "none")]
fn keep(entry_point: *const ()) {
    core::hint::black_box(entry_point);
}

#[cfg(target_os = "none")]
mod gate {
    /// Where an image starts that nobody starts.
    #[unsafe(no_mangle)]
    extern "C" fn _start() {
        #[cfg(not(feature = "handset-whole"))]
        crate::handset::keep_all();
        #[cfg(not(feature = "handset-alone"))]
        {
            crate::application::keep_all();
            crate::drivers::keep_all();
        }
        #[cfg(not(any(feature = "handset-alone", feature = "handset-whole")))]
        crate::parts::keep_all();
    }

    #[cfg(not(feature = "open-gate"))]
    #[panic_handler]
    fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
        unsafe extern "C" {
            fn a_panic_is_reachable() -> !;
        }
        // SAFETY: never executed: the symbol does not exist, so an image with this call does not link.
        unsafe { a_panic_is_reachable() }
    }

    #[cfg(feature = "open-gate")]
    #[panic_handler]
    fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
        // The location must survive into the image: it is what one opens the gate for.
        core::hint::black_box(info.location());
        loop {}
    }
}

#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!(
        "The link gate is built for a microcontroller and never run:\n  \
         cargo build -p nullwalk-link-gate --profile firmware --target thumbv7em-none-eabihf"
    );
    std::process::exit(2);
}
