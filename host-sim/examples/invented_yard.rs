//! Writes the capture behind the book's chapter on sweeps: `cargo run --release --example invented_yard -- FOLDER`.

#[path = "../tests/yard/mod.rs"]
mod yard;

fn main() {
    let folder = std::env::args().nth(1).expect("give the folder to write the captures to");
    let folder = std::path::Path::new(&folder);
    std::fs::create_dir_all(folder).expect("the folder can be made");
    yard::write(&yard::of_the_book(), &folder.join("sweep"));
}
