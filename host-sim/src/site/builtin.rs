//! The sites that come with the program.

use super::{Site, SiteError};

/// A site that comes with the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Builtin {
    /// The name it is called by.
    pub name: &'static str,
    /// What it shows, in one line.
    pub summary: &'static str,
    /// Its site file, with comments that explain it.
    pub toml: &'static str,
}

impl Builtin {
    /// The site it describes.
    ///
    /// # Errors
    /// As [`Site::from_toml`]; the tests see to it that there are none.
    pub fn site(&self) -> Result<Site, SiteError> {
        Site::from_toml(self.toml, self.name).map(|(site, _)| site)
    }
}

/// The sites that come with the program.
pub fn builtin() -> &'static [Builtin] {
    &[
        Builtin {
            name: "drain-run",
            summary: "the demonstration: four stations along a falling drain, one tilted, one near hum",
            toml: include_str!("../../sites/drain-run.toml"),
        },
        Builtin {
            name: "yard",
            summary: "the second demonstration: a drain, a cable that shows only under load, a water service, a neighbour",
            toml: include_str!("../../sites/yard.toml"),
        },
        Builtin {
            name: "clean-level",
            summary: "one level sonde at a known place, white noise only: for statistics",
            toml: include_str!("../../sites/clean-level.toml"),
        },
        Builtin {
            name: "empty-lot",
            summary: "noise, hum and impulses, and no sonde: nothing must be found",
            toml: include_str!("../../sites/empty-lot.toml"),
        },
        Builtin {
            name: "wrong-tone",
            summary: "the sonde sends 640 Hz while the instrument listens for 512 Hz",
            toml: include_str!("../../sites/wrong-tone.toml"),
        },
        Builtin {
            name: "too-close",
            summary: "a strong, shallow sonde: the gain ladder must step down",
            toml: include_str!("../../sites/too-close.toml"),
        },
        Builtin {
            name: "over-range",
            summary: "stronger still: clips on the lowest rung, no figure may be given",
            toml: include_str!("../../sites/over-range.toml"),
        },
    ]
}
