//! What looks wrong with the wiring. Suspicions only: the field itself may look like any of them.

use std::fmt;

use serde::Serialize;

use super::levels::Channel;
use super::lines;
use super::spectrum::Spectrum;
use crate::capture::Capture;

/// Below a tenth of full scale no chain clips; a quiet signal repeats its few counts anyway.
const LOWEST_RAIL_DB: f64 = -20.0;
/// Correlation of the noise of two channels from which they must be one and the same.
const SAME: f64 = 0.999;
/// Bins quieter than this many floors hold noise only.
const QUIET_RATIO: f64 = 4.0;
/// Bins louder than this many floors hold hum that tells the direction of its field.
const LOUD_RATIO: f64 = 100.0;
/// How much of the hum the nodes must agree on in another wiring, and how much more than as described.
const AGREEMENT: f64 = 0.9;
const BETTER_BY: f64 = 0.3;
/// A coil that holds less than this of the hum does not tell how it is wired.
const SHARE: f64 = 0.05;

/// Something that looks wrong.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Suspicion {
    /// The channel never changes.
    Flat {
        /// The channel.
        channel: usize,
    },
    /// The channel is far below its siblings.
    Weak {
        /// The channel.
        channel: usize,
        /// How far.
        among_siblings_db: f64,
    },
    /// The channel stands still at its extreme, below the rail described.
    RailLower {
        /// The channel.
        channel: usize,
        /// Where it stops, relative to full scale.
        fraction: f64,
        /// Samples there.
        samples: u64,
    },
    /// Two channels carry the same noise, so the same signal.
    Same {
        /// The one.
        a: usize,
        /// The other.
        b: usize,
        /// With opposite signs.
        inverted: bool,
    },
    /// All channels carry the same noise, so nothing can be said of their wiring.
    AllAlike,
    /// The hum, which is nearly the same at both nodes, agrees only if the upper node is wired otherwise.
    Crossed {
        /// For each wrong pair: the channel of the lower node, the one of the upper node that goes with
        /// it, and whether inverted.
        pairs: Vec<(usize, usize, bool)>,
    },
}

impl fmt::Display for Suspicion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flat { channel } => write!(f, "channel {channel} is dead: it never changes"),
            Self::Weak { channel, among_siblings_db } => {
                write!(f, "channel {channel} looks dead: {:.0} dB below the others", -among_siblings_db)
            }
            Self::RailLower { channel, fraction, samples } => write!(
                f,
                "channel {channel} stops at {:.1} % of full scale ({samples} samples): rail_fraction may be \
                 too high",
                100.0 * fraction
            ),
            Self::Same { a, b, inverted: false } => {
                write!(f, "channels {a} and {b} carry the same signal: one coil on both?")
            }
            Self::Same { a, b, inverted: true } => {
                write!(f, "channels {a} and {b} carry the same signal, inverted: one coil on both?")
            }
            Self::AllAlike => {
                f.write_str("all channels carry the same noise: their wiring cannot be judged here")
            }
            Self::Crossed { pairs } => {
                f.write_str("the nodes look wired differently, from the hum they share:")?;
                pairs.iter().try_for_each(|(lower, upper, inverted)| {
                    let how = if *inverted { " inverted" } else { "" };
                    write!(f, " channel {upper} goes with {lower}{how};")
                })?;
                f.write_str(" see which node is wrong by moving a source along each axis")
            }
        }
    }
}

/// What the levels alone tell.
pub(super) fn from_levels(channels: &[Channel]) -> Vec<Suspicion> {
    channels.iter().filter_map(from_level).collect()
}

fn from_level(c: &Channel) -> Option<Suspicion> {
    let channel = c.channel;
    if c.rms_counts == 0.0 {
        Some(Suspicion::Flat { channel })
    } else if c.dead {
        Some(Suspicion::Weak { channel, among_siblings_db: c.among_siblings_db })
    } else if c.stuck_at_peak > 0 && c.clipped == 0 && c.peak_dbfs > LOWEST_RAIL_DB {
        let fraction = 10_f64.powf(c.peak_dbfs / 20.0);
        Some(Suspicion::RailLower { channel, fraction, samples: c.stuck_at_peak })
    } else {
        None
    }
}

/// What the spectra of living channels tell together.
pub(super) fn from_spectrum(
    spectrum: &Spectrum,
    channels: &[Channel],
    capture: &Capture,
    tone_hz: f64,
) -> Vec<Suspicion> {
    let total = spectrum.total();
    let floor = lines::floor(&total);
    let bins = |choose: &dyn Fn(f64, f64, f64) -> bool| -> Vec<usize> {
        let hz = |bin: usize| bin as f64 * spectrum.bin_hz;
        (0..total.len())
            .zip(total.iter().zip(&floor))
            .filter(|&(bin, (&power, &floor))| hz(bin) > 20.0 && choose(hz(bin), power, floor))
            .map(|(bin, _)| bin)
            .collect()
    };
    let quiet = bins(&|_, power, floor| power < QUIET_RATIO * floor);
    // Not the tone: near a sonde the nodes see its field from different sides.
    let loud = bins(&|hz, power, floor| power > LOUD_RATIO * floor && (hz - tone_hz).abs() > 5.0);
    let alive: Vec<usize> = channels.iter().filter(|c| !c.dead).map(|c| c.channel).collect();
    let mut found = same(spectrum, &quiet, &alive);
    if !found.contains(&Suspicion::AllAlike) && alive.len() == channels.len() {
        found.extend(crossed(spectrum, &loud, capture));
    }
    found
}

/// Pairs of channels whose noise is the same. Coils have noise of their own, so two of them never agree
/// in the quiet parts of the spectrum, however strong a hum they share in the loud ones.
fn same(spectrum: &Spectrum, quiet: &[usize], alive: &[usize]) -> Vec<Suspicion> {
    let correlation = |a: usize, b: usize| {
        let of = |bin: &usize| {
            let power = spectrum.cross(a, a, *bin).re * spectrum.cross(b, b, *bin).re;
            if power > 0.0 { spectrum.cross(a, b, *bin).re / power.sqrt() } else { 0.0 }
        };
        quiet.iter().map(of).sum::<f64>() / quiet.len().max(1) as f64
    };
    let pairs: Vec<(usize, usize)> = (alive.iter().enumerate())
        .flat_map(|(at, &b)| alive.iter().take(at).map(move |&a| (a, b)))
        .collect();
    let found: Vec<Suspicion> = pairs
        .iter()
        .map(|&(a, b)| (a, b, correlation(a, b)))
        .filter(|(_, _, correlation)| correlation.abs() > SAME)
        .map(|(a, b, correlation)| Suspicion::Same { a, b, inverted: correlation < 0.0 })
        .collect();
    // An impulse in every segment is in all channels at once.
    if pairs.len() > 1 && 2 * found.len() > pairs.len() { vec![Suspicion::AllAlike] } else { found }
}

/// Compares the hum at both nodes. Its source is far away as a rule, so its field is the same at both; if
/// another order or sign of the upper node's coils makes the two agree far better, that is how it is wired.
fn crossed(spectrum: &Spectrum, loud: &[usize], capture: &Capture) -> Option<Suspicion> {
    let [lower, upper] = capture.description.array.node.as_slice() else {
        return None;
    };
    let channels = |node: &crate::equipment::NodeFile| -> Option<[usize; 3]> {
        let along = |axis: usize| {
            let is = |coil: &&crate::equipment::CoilFile| coil.axis.get(axis).is_some_and(|&x| x > 0.9);
            node.coil.iter().find(is).map(|coil| usize::from(coil.channel))
        };
        Some([along(0)?, along(1)?, along(2)?])
    };
    let (lower, upper) = (channels(lower)?, channels(upper)?);
    // Every line has one vote, however strong: one source alone would only tell of one direction.
    let power = |node: [usize; 3], bin| node.iter().map(|&c| spectrum.cross(c, c, bin).re).sum::<f64>();
    let votes: Vec<(usize, f64)> = loud
        .iter()
        .map(|&bin| (bin, (power(lower, bin) * power(upper, bin)).sqrt()))
        .filter(|(_, both)| *both > 0.0)
        .collect();
    if votes.is_empty() {
        return None;
    }
    let agreed = |a: usize, b: usize| {
        votes.iter().map(|&(bin, both)| spectrum.cross(a, b, bin).re / both).sum::<f64>()
            / votes.len() as f64
    };
    const ORDERS: [[usize; 3]; 6] = [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]];
    let wirings = ORDERS.map(|order| {
        let coils = lower.into_iter().zip(order);
        coils
            .filter_map(|(lower, to)| upper.get(to).map(|&u| (lower, u, agreed(lower, u))))
            .collect::<Vec<_>>()
    });
    // Of the two signs of each coil the one that agrees.
    let agreement = |wiring: &Vec<(usize, usize, f64)>| wiring.iter().map(|w| w.2.abs()).sum::<f64>();
    let described: f64 = lower.iter().zip(upper).map(|(&lower, upper)| agreed(lower, upper)).sum();
    let best = wirings.iter().max_by(|a, b| agreement(a).total_cmp(&agreement(b)))?;
    if agreement(best) < AGREEMENT || agreement(best) - described < BETTER_BY {
        return None;
    }
    let as_described = |l: usize, u: usize| lower.iter().zip(upper).any(|(&a, b)| (a, b) == (l, u));
    let pairs = best
        .iter()
        .filter(|wire| wire.2.abs() > SHARE)
        .map(|&(lower, upper, agreed)| (lower, upper, agreed < 0.0))
        .filter(|&(lower, upper, inverted)| inverted || !as_described(lower, upper))
        .collect();
    Some(Suspicion::Crossed { pairs })
}
