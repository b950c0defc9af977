//! Gives the firmware its memory map; a build for the host needs none.

use std::path::PathBuf;
use std::{env, fs};

/// What a build script does.
pub fn main() {
    println!("cargo:rerun-if-changed=memory.x");
    if env::var("CARGO_CFG_TARGET_OS").is_ok_and(|os| os == "none") {
        let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
        fs::copy("memory.x", out.join("memory.x")).expect("memory.x lies beside the manifest");
        println!("cargo:rustc-link-search={}", out.display());
        println!("cargo:rustc-link-arg-bins=-Tlink.x");
        println!("cargo:rustc-link-arg-bins=--nmagic");
    }
}
