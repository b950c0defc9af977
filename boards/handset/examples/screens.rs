//! Draws the screens of the handset as pictures, three times as large:
//!
//! ```sh
//! cargo run -p nullwalk-handset --example screens -- docs/src/figures   # those of the book
//! cargo run -p nullwalk-handset --example screens -- /tmp/all all       # every one, on three displays
//! cargo run -p nullwalk-handset --example screens -- boards/handset/tests/golden text   # for the tests
//! ```

#[path = "../tests/common/mod.rs"]
mod common;
#[path = "../tests/common/picture.rs"]
mod picture;

use std::path::PathBuf;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let folder = PathBuf::from(arguments.next().expect("a folder to draw into"));
    let what = arguments.next();
    std::fs::create_dir_all(&folder).expect("a folder that can be made");
    let write = |name: &str, png: Vec<u8>| {
        std::fs::write(folder.join(format!("{name}.png")), png).expect("a folder that can be written to");
    };
    if what.as_deref() == Some("text") {
        for name in picture::GOLDEN {
            let text = picture::scene(name, |view| common::as_text(&common::small(view)));
            std::fs::write(folder.join(format!("{name}.txt")), text)
                .expect("a folder that can be written to");
        }
    } else if what.is_some() {
        common::scenes(|name, view| {
            write(name, picture::png(&[common::small(view)]));
            write(&format!("large-{name}"), picture::png(&[common::large(view)]));
            write(&format!("high-{name}"), picture::png(&[common::high(view)]));
        });
    } else {
        picture::of_the_book().into_iter().for_each(|(name, png)| write(name, png));
    }
}
