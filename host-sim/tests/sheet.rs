//! The dig sheet and the book, from outside.

mod invented_run;

use invented_run::{invented_run, refused_run};

#[test]
fn draw() {
    let dir = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    for (name, run) in [("doubt", invented_run()), ("refuse", refused_run())] {
        std::fs::write(dir.join(format!("{name}.html")), nullwalk::sheet::html(&run).unwrap()).unwrap();
    }
}
