//! What every sheet says, whatever it found.

use super::block::{Block, Para, Role};
use super::brief::Brief;
use super::options::{Options, both};

/// The first thing a reader sees under the title.
pub fn notice(brief: &Brief) -> Block {
    let ticket = &brief.ticket;
    let words = Para::new(Role::Body, "").bold("Never permission to dig.").add(
        " This sheet is one piece of evidence about one line. Before the ground is opened, have all utilities notified and \
         marked as your local code asks, and expose by safe means. The cautions at the end belong to every figure.",
    );
    let fill = Para::new(Role::Body, "")
        .add("Utility notification no. ")
        .known_or_blank(&ticket.number, 34.0)
        .add(" valid from ")
        .known_or_blank(&ticket.valid_from, 20.0)
        .add(" until ")
        .known_or_blank(&ticket.valid_until, 20.0)
        .add(" responsible on site ")
        .known_or_blank(&ticket.responsible, 34.0);
    Block::Framed { broken: false, paras: vec![words, fill] }
}

/// The cautions in full.
pub fn cautions(brief: &Brief, options: &Options) -> [Block; 2] {
    let item = |title: &str, words: &str| Para::new(Role::Fine, "").bold(title).add(words);
    let items = vec![
        item(
            "Never permission to dig.",
            " A competent person decides, under the local code, licence and contract that apply; where any of them \
             differs from this sheet, it prevails. No survey grade or quality level is claimed here: that is a \
             professional’s judgement.",
        ),
        item(
            "Notify first.",
            " Call the one-call service or the utility owners and wait for their marks. In the United States 29 CFR \
             1926.651(b) asks for the estimated location before opening, for the exact location by safe and acceptable \
             means as digging comes near, and for protection of what is open; in Great Britain HSG47 says plan, locate \
             and identify, dig safely. Elsewhere the local equivalent.",
        ),
        zone(brief, options),
        item(
            "Depth to source is not depth of cover.",
            " It runs from the ground surface under the instrument, as it was that day, to the beacon inside the pipe. \
             The top of the pipe lies higher. Ground is filled and cut.",
        ),
        item(
            "One in twenty",
            " true values lies outside a 95 % range even when all is well, and iron, bends and neighbouring conductors \
             can bend the field unnoticed. Between stations nothing was measured.",
        ),
        item(
            "Nothing detected never means nothing there.",
            " One tone from one beacon was listened for. A line that is not on this sheet may be there all the same. A \
             live cable cannot be told by looking at it.",
        ),
    ];
    [Block::Heading("Cautions".to_owned()), Block::Numbered(items)]
}

fn zone(brief: &Brief, options: &Options) -> Para {
    let zone = &brief.run.tolerance_zone;
    let legal = both(&options.units.up(zone.legal_m));
    let para = Para::new(Role::Fine, "").bold("The tolerance zone is horizontal.").add(&format!(
        " It is the larger of {legal} (a setting; 18 or 24 in on each side beyond the outer edge is usual in the United \
         States; your local law goes before it) and the measured 95 % radius, "
    ));
    let para = match zone.width_m(&brief.run.pipe) {
        Some(width_m) => {
            para.add(&format!("plus half the pipe’s width of {}.", both(&options.units.up(width_m))))
        }
        None => para.bold("and the pipe’s width is not known: add half of it on each side yourself."),
    };
    para.add(
        " Inside it expose by hand or another safe means. A depth never narrows the zone and never replaces safe exposure.",
    )
}
