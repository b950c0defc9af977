//! Looking before digging.

use std::path::PathBuf;

use glam::DVec2;

use super::carried::Carried;
use super::trace::{Order, SoilClass, order};
use super::{Done, Failure, report};
use crate::book::Verdict;
use crate::run::Listen;
use crate::survey::{self, DigBox, Phase, Question, Walk};

#[derive(clap::Args)]
pub struct Options {
    /// Captures walked over the box, in any number
    #[arg(required = true)]
    captures: Vec<PathBuf>,
    /// The box to be dug: its south-west corner, its width and its height, metres in the captures' site frame
    #[arg(long = "box", value_name = "EAST,NORTH,WIDTH,HEIGHT", allow_hyphen_values = true)]
    dig: String,
    /// Listen for passive mains: --mains for the strongest harmonic that is heard, --mains=3 for that one
    #[arg(long, value_name = "ORDER", num_args = 0..=1, require_equals = true, default_missing_value = "auto", value_parser = order)]
    mains: Option<Order>,
    /// Whether all fields share the transmitter's phase
    #[arg(long, value_enum, default_value = "free")]
    phase: Phase,
    /// The chance that a sweep over nothing finds something
    #[arg(long, value_name = "SHARE", default_value = "0.01")]
    false_alarm: f64,
    /// A place counts as swept where a line of this peak current would be noticed at --depth
    #[arg(long, value_name = "MA", default_value = "10")]
    current: f64,
    /// How deep the line of --current is taken to lie, metres below the ground
    #[arg(long, value_name = "M", default_value = "1")]
    depth: f64,
    /// What the ground is: it makes a line's depth read shallow
    #[arg(long, value_enum, default_value_t = SoilClass::Unknown)]
    soil: SoilClass,
    #[command(flatten)]
    carried: Carried,
    /// Draw the map, as SVG
    #[arg(long, value_name = "FILE")]
    draw: Option<PathBuf>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl Options {
    fn question(&self) -> Result<Question, Failure> {
        let within = |option: &str, value: f64, range: std::ops::RangeInclusive<f64>, unit: &str| {
            if range.contains(&value) {
                return Ok(value);
            }
            Err(format!("{option}: {value} cannot be; give {} to {}{unit}", range.start(), range.end()))
        };
        Ok(Question {
            false_alarm: within("--false-alarm", self.false_alarm, 1e-4..=0.2, "")?,
            current_ma: within("--current", self.current, 0.01..=1e5, " mA")?,
            depth_m: within("--depth", self.depth, 0.5..=4.5, " m")?,
            soil: self.soil.soil(),
        })
    }
}

/// The numbers of a list, as many as there must be.
pub fn numbers<const N: usize>(option: &str, text: &str) -> Result<[f64; N], Failure> {
    let numbers: Result<Vec<f64>, _> = text.split(',').map(|number| number.trim().parse()).collect();
    let numbers: Option<[f64; N]> = numbers.ok().and_then(|numbers| numbers.try_into().ok());
    let finite = numbers.filter(|numbers| numbers.iter().all(|number| number.is_finite()));
    finite.ok_or_else(|| format!("{option} {text}: give {N} numbers in metres with commas between").into())
}

/// What is listened for.
fn listen(mains: Option<Order>) -> Listen {
    mains.map_or(Listen::Tone, |Order(order)| Listen::Mains(order))
}

/// Sweep.
pub fn run(options: &Options) -> Result<Done, Failure> {
    let [east, north, wide, high] = numbers("--box", &options.dig)?;
    let dig = DigBox::new(DVec2::new(east, north), wide, high)?;
    let question = options.question()?;
    let (walk, notices) =
        Walk::open(&options.captures, listen(options.mains), options.phase, options.carried.carried)?;
    report::capture_notices(&notices);
    let sweep = survey::sweep(&walk, &dig, &question)?;
    report::show(&sweep, options.json)?;
    if let Some(path) = &options.draw {
        report::write_svg(path, &survey::svg(&sweep, &walk))?;
    }
    let verdict = if sweep.is_clear() { Verdict::Agree } else { Verdict::Doubt };
    Ok(Done { verdict })
}
