//! Gives the firmware its memory map, and puts what it says in words into a part of the image that is not loaded.

#[path = "../memory_map.rs"]
mod memory_map;

fn main() {
    memory_map::main();
    if std::env::var("CARGO_CFG_TARGET_OS").is_ok_and(|os| os == "none") {
        println!("cargo:rustc-link-arg-bins=-Tdefmt.x");
    }
}
