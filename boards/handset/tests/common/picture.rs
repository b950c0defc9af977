//! Screens as pictures.

use nullwalk_handset::screen::Canvas;

use crate::common;

/// Pixels of the picture for one of the screen, and about and between screens.
const ENLARGED: usize = 3;
const MARGIN: usize = 12;
/// Lit, dark, and what lies around the screens.
const COLOURS: [u8; 9] = [0xF4, 0xF1, 0xE4, 0x12, 0x16, 0x1C, 0x77, 0x7C, 0x84];

/// Screens beside each other, as PNG.
pub fn png<const W: usize, const H: usize>(screens: &[Canvas<W, H>]) -> Vec<u8> {
    let columns = if screens.len() > 1 { 2 } else { 1 };
    let cell = [8 * W * ENLARGED + MARGIN, H * ENLARGED + MARGIN];
    let [width, height] = [cell[0] * columns + MARGIN, cell[1] * screens.len().div_ceil(columns) + MARGIN];
    let mut pixels = vec![2_u8; width * height];
    for (n, screen) in screens.iter().enumerate() {
        let [left, top] = [MARGIN + cell[0] * (n % columns), MARGIN + cell[1] * (n / columns)];
        for y in 0..H * ENLARGED {
            for x in 0..8 * W * ENLARGED {
                let lit = screen.is_lit(x / ENLARGED, y / ENLARGED);
                pixels[(top + y) * width + left + x] = u8::from(!lit);
            }
        }
    }
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, width as u32, height as u32);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(COLOURS.to_vec());
    encoder.write_header().unwrap().write_image_data(&pixels).unwrap();
    file
}

/// Screens that are kept as text.
pub const GOLDEN: [&str; 6] = ["listen", "home", "bracket-mark", "fix-agree", "fix-doubt", "menu"];

/// The pictures of the book, by name.
pub fn of_the_book() -> Vec<(&'static str, Vec<u8>)> {
    let screens = |names: &[&str]| -> Vec<common::Small> {
        names.iter().map(|name| scene(name, common::small)).collect()
    };
    let walk = ["listen", "home", "bracket-mark", "settle"];
    let fixes = ["fix-agree", "fix-doubt", "why", "fix-refuse"];
    let rest = ["menu", "done", "finding", "stuck"];
    vec![
        ("handset-walk", png(&screens(&walk))),
        ("handset-fix", png(&screens(&fixes))),
        ("handset-menu", png(&screens(&rest))),
        ("handset-large", png(&["bracket-mark", "fix-agree-sun"].map(|name| scene(name, common::large)))),
    ]
}

/// One scene by its name.
pub fn scene<T>(wanted: &str, draw: impl Fn(&nullwalk_handset::view::View<'_>) -> T) -> T {
    let mut drawn = None;
    common::scenes(|name, view| {
        if name == wanted {
            drawn = Some(draw(view));
        }
    });
    drawn.unwrap_or_else(|| panic!("there is no scene {wanted}"))
}
