//! The core's figures as the book has them.

use nullwalk_core::depth::{Depth, Measured as CoreMeasured, Unusable};
use nullwalk_core::verdict as core;

use crate::book::{Estimate, Measured, MethodResult, Reason, SitePosition, Verdict};

/// The book's word for the core's verdict.
pub fn verdict(verdict: core::Verdict) -> Verdict {
    match verdict {
        core::Verdict::Agree => Verdict::Agree,
        core::Verdict::Doubt => Verdict::Doubt,
        core::Verdict::Refuse => Verdict::Refuse,
    }
}

/// A reason in the words of the book.
pub fn reason(reason: &core::Reason) -> Reason {
    let sentence = match reason {
        core::Reason::OtherTone(hz) => format!("{} It is at {hz:.0} Hz.", reason.sentence()),
        _ => reason.sentence().to_owned(),
    };
    Reason { code: reason.code().to_owned(), sentence, remedy: reason.remedy().to_owned() }
}

/// A ground point.
pub fn place(place: core::Place) -> SitePosition {
    SitePosition {
        east_m: f64::from(place.east_m),
        north_m: f64::from(place.north_m),
        sigma_m: f64::from(place.sigma_m),
    }
}

/// An angle, from radians.
pub fn degrees(m: CoreMeasured) -> Measured {
    Measured { value: f64::from(m.value).to_degrees(), sigma: f64::from(m.sigma).to_degrees() }
}

/// A depth with a 95 % range of its own sigma.
pub fn depth(depth: Depth) -> Estimate {
    Estimate::of_size(f64::from(depth.depth_m), f64::from(depth.sigma_m))
}

/// The depth of a verdict, with the range that this gives it.
pub fn stated_depth(judgement: &core::Judgement) -> Option<Estimate> {
    judgement.depth.zip(judgement.range).map(|(depth, range)| Estimate {
        value: f64::from(depth.depth_m),
        sigma: f64::from(depth.sigma_m),
        low95: f64::from(range.low_m),
        high95: f64::from(range.high_m),
    })
}

/// What a method of this name says.
pub fn method(name: &str, found: Result<Depth, Unusable>) -> MethodResult {
    MethodResult {
        method: name.to_owned(),
        estimate: found.ok().map(depth),
        refused: found.err().map(|why| why.sentence().to_owned()),
    }
}
