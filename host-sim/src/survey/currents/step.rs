//! Where the current of a run steps, and what that means.

use serde::Serialize;

use crate::survey::text::figure;

/// What a step of the current means.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "flag", rename_all = "kebab-case")]
pub enum Flag {
    /// The current falls at once.
    Down,
    /// The current rises: what no line does by itself.
    Up {
        /// Whether the depth rises with it.
        deeper: bool,
    },
    /// The phase turns out of step.
    OutOfStep {
        /// By so much, degrees.
        by_deg: f64,
    },
    /// The phase turns round.
    Against {
        /// By so much, degrees.
        by_deg: f64,
    },
    /// There is no signal any more.
    End,
    /// The sum at a tee is too small.
    SumShort {
        /// Where, metres.
        tee_m: f64,
        /// What is missing, milliamperes.
        missing_ma: f64,
    },
    /// The sum at a tee is too large.
    SumOver {
        /// Where, metres.
        tee_m: f64,
        /// What is too much, milliamperes.
        over_ma: f64,
    },
    /// Loss and steps do not explain the currents.
    Unexplained,
}

impl Flag {
    /// What it means, which way depths are wrong, and what to do.
    pub fn sentence(&self) -> String {
        match self {
            Self::Down => "current leaves here: a tee, a bond to another line, or a fault to ground. Look for the branch; \
                           beside a tee depths are read too great on the near side, the dangerous way"
                .to_owned(),
            Self::Up { deeper: true } => "current and depth rise together: a neighbour bleeds over in step. The depth is \
                                          read TOO GREAT, the dangerous way: reckon with the shallower figure"
                .to_owned(),
            Self::Up { deeper: false } => "the current rises, which no line does by itself: a neighbour bleeds over, or \
                                           current comes in by a bond. Depths here may be read TOO GREAT, the dangerous way"
                .to_owned(),
            Self::OutOfStep { by_deg } => format!(
                "the phase turns by {by_deg:.0}°: part of this current is another line's, coupled and not connected"
            ),
            Self::Against { by_deg } => format!(
                "the phase turns by {by_deg:.0}°: the current runs the other way. This is the return on a parallel or a \
                 bonded line, not the one that was traced up to here"
            ),
            Self::End => "end of signal: the line ends, is cut or insulated, or all current has left. It may go on unheard; \
                          depths within three depths of an end are read too small"
                .to_owned(),
            Self::SumShort { tee_m, missing_ma } => format!(
                "at the tee at {tee_m} m {} mA are missing behind it: there is another branch, a bond or a fault",
                figure(*missing_ma)
            ),
            Self::SumOver { tee_m, over_ma } => format!(
                "at the tee at {tee_m} m {} mA too much come out: current comes in from another line, and depths there may \
                 be read TOO GREAT, the dangerous way",
                figure(*over_ma)
            ),
            Self::Unexplained => "loss and steps do not explain the currents within their sigmas: neighbours, or sigmas \
                                  that claim too much"
                .to_owned(),
        }
    }
}

/// A place on a run of which something has to be said.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// Between these distances, metres.
    pub from_m: f64,
    /// The latter.
    pub to_m: f64,
    /// What the current does there, as a share of it: minus what leaves; none where it does not step.
    pub change: Option<f64>,
    /// Standard uncertainty of that.
    pub change_sigma: Option<f64>,
    /// What it means.
    #[serde(flatten)]
    pub flag: Flag,
}
