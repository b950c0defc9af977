//! The verdict with its figures.

use super::{Reason, Reasons, Verdict};
use crate::depth::Depth;

/// Half width of a normal 95 % range in sigmas.
const SIGMAS_95: f32 = 1.96;

/// The 95 % range of a depth, metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range95 {
    /// Lower end.
    pub low_m: f32,
    /// Upper end.
    pub high_m: f32,
}

impl Range95 {
    fn of(depth: &Depth) -> Self {
        let half_m = SIGMAS_95 * depth.sigma_m;
        Self { low_m: depth.depth_m - half_m, high_m: depth.depth_m + half_m }
    }

    fn with(self, other: Self) -> Self {
        Self { low_m: self.low_m.min(other.low_m), high_m: self.high_m.max(other.high_m) }
    }
}

/// What the methods and checks amount to.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// Depth from the ground down to the source, with its sigma; `None` when refused.
    pub depth: Option<Depth>,
    /// Its 95 % range; widened to hold every method when in doubt.
    pub range: Option<Range95>,
    /// The shallow bound, metres below the ground: how near the surface the source has to be reckoned with. It allows
    /// for what the range does not: every method's own range and, in doubt of a bent field, a neighbour that makes all
    /// of them read too deep. That the ground above it is free is promised by nothing.
    pub shallow_m: Option<f32>,
    /// Why the verdict is not `Agree`.
    pub reasons: Reasons,
}

/// What a depth is judged by.
pub(crate) struct Evidence<'a> {
    /// The stated depth.
    pub stated: Depth,
    /// The same with everything in its sigma that may make it too deep: it counts for the shallow bound alone.
    pub cautious: Depth,
    /// What every method says.
    pub methods: &'a [Option<Depth>],
    /// By so much a neighbour may make all of them read too deep where the field is seen to be bent.
    pub over_read: f32,
}

impl Judgement {
    /// The verdict without a figure.
    ///
    /// ```
    /// use nullwalk_core::verdict::{Judgement, Reason, Reasons, Verdict};
    /// let mut reasons = Reasons::default();
    /// reasons.add(Reason::TooNoisy);
    /// let judgement = Judgement::refused(reasons);
    /// assert!(judgement.verdict == Verdict::Refuse && judgement.shallow_m.is_none());
    /// ```
    pub fn refused(reasons: Reasons) -> Self {
        Self { verdict: Verdict::Refuse, depth: None, range: None, shallow_m: None, reasons }
    }

    /// From a depth and what speaks against it to a verdict: in doubt the range grows to hold every method's own, and a
    /// bent field brings the shallow bound nearer.
    pub(crate) fn of(evidence: &Evidence<'_>, reasons: Reasons) -> Self {
        let verdict = reasons.severity();
        if verdict == Verdict::Refuse {
            return Self::refused(reasons);
        }
        let agreed = Range95::of(&evidence.stated);
        let methods = evidence.methods.iter().flatten();
        let widest = methods.map(Range95::of).fold(agreed, Range95::with);
        let range = if verdict == Verdict::Doubt { widest } else { agreed };
        let shallowest_m = widest.with(Range95::of(&evidence.cautious)).low_m;
        let bent = reasons.as_slice().iter().any(|reason| reason.bends());
        let shallow_m = if bent { shallowest_m / evidence.over_read } else { shallowest_m };
        Self {
            verdict,
            depth: Some(evidence.stated),
            range: Some(Range95 { low_m: range.low_m.max(0.0), ..range }),
            shallow_m: Some(shallow_m.max(0.0)),
            reasons,
        }
    }

    /// The same with one more reason, which may forbid a figure.
    #[must_use]
    pub fn with(mut self, reason: Reason) -> Self {
        self.reasons.add(reason);
        self.verdict = self.verdict.max(reason.severity());
        if self.verdict == Verdict::Refuse {
            (self.depth, self.range, self.shallow_m) = (None, None, None);
        }
        self
    }
}
