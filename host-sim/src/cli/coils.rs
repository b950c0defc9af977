//! Captures whose coils form no nodes: what each coil heard, and what one of them tells of a lane.

use std::fmt::Write as _;

use nullwalk_core::locate::Settings;
use serde::Serialize;

use super::report::{self, CAUTION};
use super::{Done, Failure};
use crate::book::{Reason, Verdict};
use crate::quantity::{self, Quantity};
use crate::run::{self, CoilFeatures, LaneKnown, LengthKnown, MARK_SIGMA_S, PacedLane, Ratio, Refused};
use crate::units;

/// The one length that a lane without positions needs.
#[derive(clap::Args)]
pub struct Length {
    /// Without positions: distance between two marks that the lane passed, like `4 m` or `13 ft 1 in ± 1 in`
    #[arg(long, value_name = "LENGTH", value_parser = quantity::length, requires = "between", conflicts_with = "pace")]
    apart: Option<Quantity>,
    /// When the lane passed them, in seconds since the recording began
    #[arg(long, num_args = 2, value_names = ["FIRST", "SECOND"], requires = "apart")]
    between: Option<Vec<f64>>,
    /// Without positions: the pace, like `0.5 m/s` or `1.6 ft/s ± 5 %`
    #[arg(long, value_name = "SPEED", value_parser = quantity::pace)]
    pace: Option<Quantity>,
    /// How far the pace strays from its mean, in per cent (standard deviation) [default: 5]
    #[arg(long, value_name = "PERCENT")]
    unevenness: Option<f64>,
}

/// Which coil is which, where they form no nodes.
#[derive(clap::Args)]
pub struct Coils {
    /// Height above the ground at which a lone coil was carried
    #[arg(long, value_name = "LENGTH", value_parser = quantity::length)]
    coil_height: Option<Quantity>,
    /// Channel of the lone coil that pointed along the lane [default: the one that heard most]
    #[arg(long, value_name = "CHANNEL")]
    forward_coil: Option<usize>,
    /// Channel of a lone coil that stood upright, if there was one
    #[arg(long, value_name = "CHANNEL")]
    upright_coil: Option<usize>,
    /// How a lone coil swayed, in degrees (standard deviation); 0 on a cart [default: 1.5]
    #[arg(long, value_name = "DEGREES")]
    sway: Option<f64>,
}

/// A distance between marks is good to this, metres, and a pace to this share, unless it is said how good they are
/// (common practice, no source).
const APART_SIGMA_M: f64 = 0.02;
const PACE_SHARE: f64 = 0.05;
/// and the height of a coil carried in the hand to this, metres (common practice, no source).
const HEIGHT_SIGMA_M: f64 = 0.02;

/// What was said of the walk, checked.
#[derive(Clone, Copy)]
pub struct Walk {
    /// The one length.
    pub length: Option<LengthKnown>,
    /// Relative standard deviation of the pace.
    pub unevenness: Option<f64>,
}

impl Walk {
    /// Settings of a locate by nodes.
    pub fn settings(self) -> Settings {
        let usual = Settings::default();
        Settings {
            pace_m_per_s: self.length.map(LengthKnown::pace_m_per_s),
            unevenness: self.unevenness.map_or(usual.unevenness, |share| share as f32),
            ..usual
        }
    }
}

impl Length {
    /// As given, checked.
    pub fn walk(&self) -> Result<Walk, Failure> {
        let unevenness = self.unevenness.map(|percent| 0.01 * percent);
        if unevenness.is_some_and(|share| !(0.001..=0.3).contains(&share)) {
            return Err("--unevenness: must be 0.1 to 30 per cent".into());
        }
        let marks = match (self.apart, self.between.as_deref()) {
            (Some(apart), Some(&[first_s, second_s])) => Some((apart, [first_s, second_s])),
            _ => None,
        };
        let length = match (marks, self.pace) {
            (Some((apart, times_s)), _) => {
                let [first_s, second_s] = times_s;
                // Closer together than this, the instants themselves are too uncertain.
                if !(first_s >= 0.0 && second_s >= first_s + 10.0 * MARK_SIGMA_S) {
                    let problem =
                        "give two times in seconds, the second at least one second after the first";
                    return Err(format!("--between {first_s} {second_s}: {problem}").into());
                }
                if apart.value < 10.0 * APART_SIGMA_M {
                    return Err(
                        "--apart: marks must be at least 0.2 m apart; take them as far apart as the lane"
                            .into(),
                    );
                }
                Some(LengthKnown::Marks { apart_m: apart.or_sigma(APART_SIGMA_M), times_s })
            }
            (None, Some(pace)) => Some(LengthKnown::Pace(pace.or_sigma(PACE_SHARE * pace.value))),
            (None, None) => None,
        };
        Ok(Walk { length, unevenness })
    }
}

impl Coils {
    /// Complain of what was said of lone coils, where there are none.
    pub fn must_be_absent(&self) -> Result<(), Failure> {
        let given = [
            ("--coil-height", self.coil_height.is_some()),
            ("--forward-coil", self.forward_coil.is_some()),
            ("--upright-coil", self.upright_coil.is_some()),
            ("--sway", self.sway.is_some()),
        ];
        match given.iter().find(|(_, given)| *given) {
            Some((option, _)) => Err(format!(
                "{option}: the capture's coils form nodes, which are described there; leave this out"
            )
            .into()),
            None => Ok(()),
        }
    }

    /// The coil along the lane, and the upright one.
    fn of<'a>(
        &self,
        heard: &'a [CoilFeatures],
    ) -> Result<(&'a CoilFeatures, Option<&'a CoilFeatures>), Failure> {
        let channel = |option: &str, channel: Option<usize>| {
            let coil = channel.map(|n| heard.get(n).ok_or(n)).transpose();
            coil.map_err(|n| {
                format!("--{option} {n}: the channels are 0 to {}", heard.len().saturating_sub(1))
            })
        };
        let upright = channel("upright-coil", self.upright_coil)?;
        let forward = channel("forward-coil", self.forward_coil)?;
        if self.upright_coil.is_some() && self.upright_coil == self.forward_coil {
            return Err("--upright-coil: one coil cannot point along the lane and stand upright".into());
        }
        let others = heard.iter().filter(|coil| Some(coil.channel) != self.upright_coil);
        let forward = forward.or(others.max_by(|a, b| a.best_snr_db.total_cmp(&b.best_snr_db)));
        let missing = "--upright-coil: there is no other coil, and one along the lane is needed";
        Ok((forward.ok_or(missing)?, upright))
    }
}

/// Tell what lone coils heard.
pub fn tell(heard: &[CoilFeatures], walk: Walk, coils: &Coils, as_json: bool) -> Result<Done, Failure> {
    let Walk { length, unevenness } = walk;
    if let Some(LengthKnown::Marks { times_s: [_, second_s], .. }) = length
        && let Some(duration_s) = heard.first().map(|coil| coil.duration_s).filter(|end| second_s > *end)
    {
        return Err(
            format!("--between: the recording ends at {duration_s:.2} s, before {second_s} s").into()
        );
    }
    let (forward, upright) = coils.of(heard)?;
    if coils.sway.is_some_and(|degrees| !(0.0..=10.0).contains(&degrees)) {
        return Err("--sway: must be 0 to 10 degrees".into());
    }
    let sway_rad = coils.sway.map(f64::to_radians);
    let coil_height_m = coils.coil_height.map(|height| height.or_sigma(HEIGHT_SIGMA_M));
    let lane =
        run::paced_lane(forward, upright, &LaneKnown { unevenness, sway_rad, length, coil_height_m });
    if as_json {
        report::json(&heard.iter().map(|coil| Heard::new(coil, forward, &lane)).collect::<Vec<_>>())?;
    } else {
        report::print(&text(heard, &lane, length)?)?;
    }
    let verdict = match &lane {
        // Where no length was given, no depth was asked for.
        _ if length.is_none() => Verdict::Agree,
        Ok(lane) => lane.result.as_ref().map_or(Verdict::Refuse, |result| result.verdict),
        Err(_) => Verdict::Refuse,
    };
    Ok(Done { verdict })
}

/// A coil as machines read it.
#[derive(Serialize)]
struct Heard<'a> {
    #[serde(flatten)]
    coil: &'a CoilFeatures,
    /// The lane, with the coil that pointed along it.
    lane: Option<&'a PacedLane>,
    /// Why there is none.
    no_lane: Option<&'a Reason>,
    caution: &'a str,
}

impl<'a> Heard<'a> {
    fn new(coil: &'a CoilFeatures, forward: &CoilFeatures, lane: &'a Result<PacedLane, Refused>) -> Self {
        let own = (coil.channel == forward.channel).then_some(lane.as_ref());
        let (lane, no_lane) = own.map_or((None, None), |lane| (lane.ok(), lane.err()));
        Self { coil, lane, no_lane, caution: CAUTION }
    }
}

fn text(
    heard: &[CoilFeatures],
    lane: &Result<PacedLane, Refused>,
    length: Option<LengthKnown>,
) -> Result<String, Failure> {
    let mut text = String::new();
    for coil in heard {
        writeln!(
            text,
            "channel {}: tone {:.1} dB above the noise at best, carrier off by {:+.2} Hz",
            coil.channel,
            coil.best_snr_db,
            units::hundredths(f64::from(coil.carrier_offset_hz))
        )?;
        for f in &coil.features {
            writeln!(
                text,
                "  {:7.2} s ± {:.2}  {:6}  {:+.3e} V",
                f.time_s,
                2.0 * f.sigma_s,
                f.kind,
                f.value_v
            )?;
        }
    }
    match lane {
        Ok(lane) => {
            writeln!(text, "\nAs a straight lane along the pipe, over the sonde, at an even pace:")?;
            describe(&mut text, lane)?;
        }
        Err(why) if length.is_some() => {
            writeln!(text, "\n  verdict    REFUSED: no figure may be given")?;
            writeln!(text, "  reason     {} {}", why.sentence, why.remedy)?;
        }
        Err(_) => {}
    }
    let about = if length.is_some() {
        "No nodes are described: there is no place, and no second method."
    } else {
        "No nodes are described, so there is no place and no depth. One known length gives a depth: the pace\n\
         (--pace), or the distance between two marks that the lane passed (--apart and --between)."
    };
    writeln!(text, "\n{about}\n\n{CAUTION}")?;
    Ok(text)
}

/// A lane for a person. A `±` is half a 95 % range.
fn describe(text: &mut String, lane: &PacedLane) -> std::fmt::Result {
    let mut row = |name: &str, value: String| writeln!(text, "  {name:<10} {value}");
    let ratio = |r: Ratio| {
        format!("{:.2} ± {:.2}; over one sonde {:.2}", r.measured.value, 2.0 * r.measured.sigma, r.expected)
    };
    let told = match lane.misfit {
        None => "too few nulls and peaks to tell whether it is one sonde's".to_owned(),
        Some(m) => {
            let whose =
                if m.is_gross { "not that of one sonde at an even pace" } else { "that of one sonde" };
            let plural = if m.freedom == 1 { "" } else { "s" };
            format!("{whose} (chi-square {:.1}, {} degree{plural} of freedom)", m.chi_square, m.freedom)
        }
    };
    row("pattern", told)?;
    for (name, shape) in [
        ("vertical extrema apart", lane.vertical_over_nulls),
        ("side peaks apart", lane.sides_over_nulls),
        ("peak behind the middle", lane.asymmetry),
    ] {
        if let Some(shape) = shape {
            let unit = if name.ends_with("apart") { "null spacings" } else { "half null spacings" };
            row("", format!("{name}, in {unit}: {}", ratio(shape)))?;
        }
    }
    let pitch = lane.pitch_deg;
    row(
        "pitch",
        format!(
            "{:+.0} ± {:.0} degrees, of sonde and coil together",
            pitch.value,
            (2.0 * pitch.sigma).max(1.0)
        ),
    )?;
    let place = lane.between_marks.map_or(String::new(), |between| {
        let m = between.from_first_m;
        format!(", {:.2} m ± {:.2} m from the first mark", m.value, 2.0 * m.sigma)
    });
    row(
        "overhead",
        format!("at {:.2} s ± {:.2} s{place}", lane.overhead_s.value, 2.0 * lane.overhead_s.sigma),
    )?;
    let Some(result) = &lane.result else { return Ok(()) };
    let verdict = match result.verdict {
        Verdict::Refuse => "REFUSED: no figure may be given",
        _ => "DOUBT: a figure that nothing confirms",
    };
    row("verdict", verdict.to_owned())?;
    if let Some(d) = result.depth_below_coil_m {
        row("depth", format!("{}  below the coil, 95 %", units::with_range(d.value, d.low95, d.high95)))?;
    }
    let below_ground = match result.depth_to_source_m {
        Some(d) => format!("{}  to the source, 95 %", units::with_range(d.value, d.low95, d.high95)),
        None => "below the ground: give --coil-height, at which the coil was carried".to_owned(),
    };
    if result.depth_below_coil_m.is_some() {
        row("", below_ground)?;
    }
    row("reason", format!("{} {}", result.reason.sentence, result.reason.remedy))
}
