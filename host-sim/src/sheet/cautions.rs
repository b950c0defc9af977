//! What every sheet says, whatever it found.

use maud::{Markup, html};

use crate::book::Run;
use crate::units::{feet_inches_up, metres_up};

/// The first thing a reader sees under the title.
pub fn notice() -> Markup {
    html! {
        aside.notice {
            p {
                strong { "Never permission to dig." }
                " This sheet is one piece of evidence about one pipe. Before the ground is opened, have all \
                 utilities notified and marked as your local code asks, and expose by safe means. The cautions at the end belong to every figure."
            }
            p.fill {
                "Utility notification no. " span.blank.long {} " valid until " span.blank {}
                " responsible on site " span.blank.long {}
            }
        }
    }
}

/// The cautions in full.
pub fn cautions(run: &Run) -> Markup {
    html! {
        section.cautions {
            h2 { "Cautions" }
            ol {
                li {
                    b { "Never permission to dig." }
                    " A competent person decides, under the local code, licence and contract that apply; where any of \
                     them differs from this sheet, it prevails. No survey grade or quality level is claimed here: that \
                     is a professional’s judgement."
                }
                li {
                    b { "Notify first." }
                    " Call the one-call service or the utility owners and wait for their marks. In the United States \
                     29 CFR 1926.651(b) asks for the estimated location before opening, for the exact location by safe \
                     and acceptable means as digging comes near, and for protection of what is open; in Great Britain \
                     HSG47 says plan, locate and identify, dig safely. Elsewhere the local equivalent."
                }
                li {
                    b { "The tolerance zone is horizontal." }
                    (zone(run))
                    " Inside it expose by hand or another safe means. A depth never narrows the zone and never \
                     replaces safe exposure."
                }
                li {
                    b { "Depth to source is not depth of cover." }
                    " It runs from the ground surface under the instrument, as it was that day, to the beacon inside \
                     the pipe. The top of the pipe lies higher. Ground is filled and cut."
                }
                li {
                    b { "One in twenty" }
                    " true values lies outside a 95 % range even when all is well, and iron, bends and neighbouring \
                     conductors can bend the field unnoticed. Between stations nothing was measured."
                }
                li {
                    b { "Nothing detected never means nothing there." }
                    " One tone from one beacon was listened for. Cables, gas, water and other drains are not on this \
                     sheet. A live cable cannot be told by looking at it."
                }
            }
        }
    }
}

fn zone(run: &Run) -> Markup {
    let legal_m = run.tolerance_zone.legal_m;
    html! {
        " It is the larger of " (metres_up(legal_m)) " / " (feet_inches_up(legal_m))
        " (a setting: use your local distance) and the measured 95 % radius, "
        @match run.tolerance_zone.width_m(&run.pipe) {
            Some(width_m) => { "plus half the pipe’s width of " (metres_up(width_m)) " / " (feet_inches_up(width_m)) "." }
            None => { b { "and the pipe’s width is not known: add half of it on each side yourself." } }
        }
    }
}
