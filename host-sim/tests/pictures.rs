//! Pictures of a locate, from a simulated capture.

use std::collections::BTreeSet;

use nullwalk::capture::{Capture, CaptureWriter, Description, Made, Recording};
use nullwalk::figures::figures;
use nullwalk::pictures::{self, Picture, Walk};
use nullwalk::run;
use nullwalk::site::builtin;
use nullwalk::synth::Simulation;
use nullwalk_core::verdict::Verdict;

/// Okabe and Ito 2008, Color Universal Design.
const PALETTE: [&str; 6] = ["#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00"];
/// Shades of maps, and their hatching.
const SHADES: [&str; 5] = ["#e3e3e3", "#c4c4c4", "#a2a2a2", "#7d7d7d", "url(#bare)"];
/// Ink, greys and paper.
const NEUTRAL: [&str; 6] = ["#16191d", "#4a5058", "#8a9097", "#dcdfe3", "#f1f2f4", "#fff"];

fn record(folder: &std::path::Path) -> Capture {
    let site = builtin().iter().find(|b| b.name == "drain-run").unwrap().site().unwrap();
    let description = Description {
        made: Made::default(),
        signal: site.signal.clone(),
        front_end: site.front_end.clone(),
        array: site.array.clone(),
    };
    let array = site.array.array().unwrap().unwrap();
    let instrument = run::instrument::<6>(&site.signal, site.front_end.ladder().unwrap(), array).unwrap();
    let writer = CaptureWriter::create(folder, &description).unwrap();
    let mut recording = Recording::new(Simulation::<6>::new(&site, 0, 1).unwrap(), writer);
    run::locate(&instrument, &mut recording, None, |_| ()).unwrap();
    recording.finish().unwrap();
    Capture::open(folder).unwrap()
}

fn text_of(svg: &str) -> String {
    let document = roxmltree::Document::parse(svg).unwrap();
    document.descendants().filter_map(|n| n.text()).collect::<Vec<_>>().join("\n")
}

fn colours(svg: &str) -> BTreeSet<String> {
    let document = roxmltree::Document::parse(svg).unwrap();
    let painted = document.descendants().flat_map(|n| [n.attribute("fill"), n.attribute("stroke")]);
    painted.flatten().filter(|c| *c != "none").map(str::to_owned).collect()
}

fn find<'a>(drawn: &'a [Picture], file: &str) -> &'a Picture {
    drawn.iter().find(|p| p.file == file).unwrap()
}

#[test]
fn a_capture_has_a_picture_of_everything() {
    let folder = tempfile::tempdir().unwrap();
    let capture = record(&folder.path().join("capture"));
    let walk = Walk::of_capture(&capture).unwrap().unwrap();
    assert_eq!(walk.outcome.judgement.verdict, Verdict::Agree);
    let drawn = pictures::of_capture(&capture).unwrap();
    let units = [
        ("components.svg", &["time, s", "nT", "dB re 1 pT"][..]),
        (
            "plan.svg",
            &["east, m", "north, m", "95 %", "no permission to dig", "local codes and licensed practice"],
        ),
        ("residuals.svg", &["time, s", "field, nT", "residual, %"]),
        ("spectrum.svg", &["frequency, Hz", "dB re 1 pT"]),
        ("waterfall.svg", &["time, s", "frequency, Hz", "mains", "dB"]),
        ("gain.svg", &["time, s", "dB re the rail", "rung"]),
    ];
    assert_eq!(drawn.iter().map(|p| p.file).collect::<Vec<_>>(), units.map(|(file, _)| file));
    let out = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    for (picture, (_, words)) in drawn.iter().zip(units) {
        // Left on disk for whoever wants to look at them.
        std::fs::write(out.join(picture.file), &picture.svg).unwrap();
        let png = picture.png().unwrap();
        std::fs::write(out.join(picture.file).with_extension("png"), &png).unwrap();
        // The size stands at a fixed place of every PNG (ISO/IEC 15948, 11.2.2).
        assert!(png.starts_with(b"\x89PNG") && png[16..20] == 1520_u32.to_be_bytes(), "{}", picture.file);
        let text = text_of(&picture.svg);
        for word in words {
            assert!(text.contains(word), "{} lacks {word:?}", picture.file);
        }
        assert!(!picture.svg.contains("NaN") && !picture.svg.contains("inf"), "{}", picture.file);
    }
    // What the fix leaves is small on a clean site: 2 cm of position noise at 1 m is 6 % of the field.
    let told = text_of(&find(&drawn, "residuals.svg").svg);
    let rms = told.split("rms ").nth(1).and_then(|t| t.split(' ').next()).unwrap();
    assert!(rms.parse::<f64>().unwrap() < 6.0, "{rms}");
    // Both nulls beside the sonde are marked on the forward component, and its peak.
    let components = &find(&drawn, "components.svg").svg;
    assert!(components.matches("<circle").count() >= 4, "too few nulls");
}

#[test]
fn a_wrong_fix_leaves_more() {
    let folder = tempfile::tempdir().unwrap();
    let capture = record(&folder.path().join("capture"));
    let mut walk = Walk::of_capture(&capture).unwrap().unwrap();
    let rms = |walk: &Walk| {
        let told = text_of(&find(&pictures::of_walk(walk), "residuals.svg").svg);
        told.split("rms ").nth(1).and_then(|t| t.split(' ').next()).unwrap().parse::<f64>().unwrap()
    };
    let before = rms(&walk);
    walk.outcome.fix.as_mut().unwrap().place.as_mut().unwrap().east_m += 0.3;
    assert!(rms(&walk) > 3.0 * before);
}

#[test]
fn all_pictures_share_one_style() {
    let folder = tempfile::tempdir().unwrap();
    let capture = record(&folder.path().join("capture"));
    let drawn = pictures::of_capture(&capture).unwrap().into_iter().filter(|p| p.file != "waterfall.svg");
    let drawn =
        drawn.map(|p| (p.file, p.svg)).chain(figures().unwrap().into_iter().map(|f| (f.file, f.svg)));
    // Those of the book that a command draws.
    let survey = ["sweep.svg", "circle.svg", "currents.svg"].map(|file| {
        let path = format!("{}/../docs/src/survey/{file}", env!("CARGO_MANIFEST_DIR"));
        (file, std::fs::read_to_string(path).unwrap())
    });
    for (file, svg) in drawn.chain(survey) {
        let ours =
            [&PALETTE[..], &NEUTRAL, if svg.contains("id=\"bare\"") { &SHADES } else { &[] }].concat();
        let foreign: Vec<String> =
            colours(&svg).into_iter().filter(|colour| !ours.contains(&colour.as_str())).collect();
        assert!(foreign.is_empty(), "{file} has colours of its own: {foreign:?}");
        assert!(svg.contains("font-family=\"Liberation Sans, "), "{file} has letters of its own");
    }
}

#[test]
fn what_cannot_be_drawn_is_no_picture() {
    let walk = |steps| Walk {
        title: "<b>&\"'</b>".to_owned(),
        steps,
        outcome: run::Outcome {
            fix: None,
            judgement: nullwalk_core::verdict::Judgement::refused(
                nullwalk_core::verdict::Reasons::default(),
            ),
            duration_s: 0.0,
            log: Vec::new(),
            carrier_offset_hz: 0.0,
            best_snr_db: 0.0,
            fixes: 0,
        },
        overlap: nullwalk_core::tone::Overlap::NONE,
        foot_m: 0.05,
        spacing_m: None,
    };
    assert!(pictures::of_walk(&walk(Vec::new())).is_empty());
    let step = pictures::Step {
        time_s: 0.0,
        phase: nullwalk_core::locate::Phase::Listen,
        at_m: None,
        lower_nt: [1.0, 0.0, 0.0].into(),
        upper_nt: None,
        sigma_nt: 0.01,
        heading_rad: None,
        marks: Default::default(),
    };
    let drawn = pictures::of_walk(&walk(vec![step]));
    assert_eq!(drawn.iter().map(|p| p.file).collect::<Vec<_>>(), ["components.svg"]);
    assert!(text_of(&drawn[0].svg).contains("<b>&\"'</b>"));
    assert!(nullwalk::raster::png("no drawing", 1.0).is_err());
    assert!(nullwalk::raster::png(&drawn[0].svg, 1000.0).unwrap_err().to_string().contains("too many"));
}
