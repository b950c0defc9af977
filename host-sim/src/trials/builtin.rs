//! The plans that come with the program.

/// A plan that comes with the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BuiltinPlan {
    /// The name it is called by.
    pub name: &'static str,
    /// What it shows, in one line.
    pub summary: &'static str,
    /// Its plan file, with comments that explain it.
    pub toml: &'static str,
}

/// The plans that come with the program.
pub fn builtin() -> &'static [BuiltinPlan] {
    &[
        BuiltinPlan {
            name: "nominal",
            summary: "what a technician may meet: depth, tilt, hum, gait and positions of every usual kind",
            toml: include_str!("../../plans/nominal.toml"),
        },
        BuiltinPlan {
            name: "clean",
            summary: "a level sonde at five depths, white noise only, every pose known",
            toml: include_str!("../../plans/clean.toml"),
        },
        BuiltinPlan {
            name: "distorted",
            summary: "what must be noticed: lines, second sondes, iron, bends, wrong tones, an instrument that errs",
            toml: include_str!("../../plans/distorted.toml"),
        },
    ]
}
