//! Writes the captures behind the book's chapter on sweeps, circles and currents: `cargo run --release --example invented_yard -- FOLDER`.

#[path = "../tests/yard/mod.rs"]
mod yard;

fn main() {
    let folder = std::env::args().nth(1).expect("give the folder to write the captures to");
    let folder = std::path::Path::new(&folder);
    std::fs::create_dir_all(folder).expect("the folder can be made");
    yard::write(&yard::of_the_book(), &folder.join("sweep"));
    yard::write(&yard::circle_of_the_book(), &folder.join("circle"));
    std::fs::write(folder.join("currents.csv"), yard::CURRENTS_OF_THE_BOOK)
        .expect("the table can be written");
}
