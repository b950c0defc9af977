//! The dig sheet as its reader gets it.

mod invented_run;

use invented_run::{invented_run, refused_run};
use nullwalk::book::{Pipe, Provenance, Run, Station, Verdict};
use nullwalk::job::{Job, OtherLine, Sweep, Ticket, Utility};
use nullwalk::sheet::{self, Brief, Options, Paper, TieLine, Units};
use nullwalk::units::{feet_inches, feet_inches_range, metres, metres_range};
use proptest::prelude::*;

/// What must stand on every sheet, whatever it found.
const CAUTIONS: [&str; 10] = [
    "Never permission to dig.",
    "Notify first.",
    "29 CFR 1926.651(b)",
    "HSG47",
    "local code",
    "The tolerance zone is horizontal.",
    "never replaces safe exposure",
    "Depth to source is not depth of cover.",
    "Nothing detected never means nothing there.",
    "A live cable cannot be told by looking at it.",
];

fn draw(run: &Run) -> String {
    sheet::html(&Brief::from(run.clone()), &Options::default()).unwrap()
}

/// The sheet avoids everything HTML has and XML lacks but for its head, so that an XML reader can vouch
/// for every bracket and quote of it.
fn assert_well_formed(page: &str) {
    let (_, body) = page.split_once("<body>").unwrap();
    let body = body.strip_suffix("</body></html>").expect("the page ends with its body");
    let document = format!("<body>{body}</body>");
    roxmltree::Document::parse(&document).unwrap_or_else(|e| panic!("{e}\n{document}"));
}

fn text_of(page: &str) -> String {
    let (_, body) = page.split_once("<body>").unwrap();
    let document = format!("<body>{}", body.strip_suffix("</html>").unwrap());
    let parsed = roxmltree::Document::parse(&document).unwrap();
    let texts: Vec<&str> = parsed.descendants().filter(|n| n.is_text()).filter_map(|n| n.text()).collect();
    texts.concat()
}

/// One long run up north with every verdict, to see that a sheet of many stations holds together.
fn long_run() -> Run {
    let mut run = invented_run();
    run.title = "Long lane".to_owned();
    let pattern = run.stations.clone();
    run.stations = (0..14_u32)
        .map(|k| {
            let mut station = pattern[k as usize % 4].clone();
            station.number = 101 + k;
            let position = station.position.as_mut().unwrap();
            position.north_m = f64::from(k) * 4.5 - 20.0;
            position.east_m = -3.0 + (f64::from(k) * 0.4).sin();
            station.lay_deg.as_mut().unwrap().value = 4.0;
            station.trouble_spot = k == 13;
            station
        })
        .collect();
    run.stations[5].verdict = Verdict::Refuse;
    run.stations[9].position.as_mut().unwrap().sigma_m = 0.9;
    run
}

fn every_kind() -> Vec<(&'static str, Run)> {
    let mut unplaced = invented_run();
    unplaced.stations.iter_mut().for_each(|s| s.position = None);
    let single = Run { stations: invented_run().stations.split_off(3), ..invented_run() };
    let all_refused = Run {
        stations: invented_run()
            .stations
            .into_iter()
            .map(|s| Station { verdict: Verdict::Refuse, ..s })
            .collect(),
        ..invented_run()
    };
    vec![
        ("doubt", invented_run()),
        ("refuse", refused_run()),
        ("long", long_run()),
        ("unplaced", unplaced),
        ("single", single),
        ("all-refused", all_refused),
        ("empty", Run::default()),
    ]
}

#[test]
fn every_sheet_carries_every_caution_and_needs_nothing_from_outside() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    for (name, run) in every_kind() {
        let page = draw(&run);
        // Left on disk for whoever wants to look at them in a browser.
        std::fs::write(folder.join(format!("sheet-{name}.html")), &page).unwrap();
        let pdf = sheet::pdf(&Brief::from(run), &Options::default()).unwrap();
        std::fs::write(folder.join(format!("sheet-{name}.pdf")), pdf).unwrap();
        assert_well_formed(&page);
        let text = text_of(&page);
        for caution in CAUTIONS {
            assert!(text.contains(caution), "{name} lacks {caution:?}");
        }
        let page = page.replace("http://www.w3.org/2000/svg", "");
        for outside in
            ["<script", "<link", "<img", "<iframe", "http:", "https:", "@import", "url(\"", "src="]
        {
            assert!(!page.contains(outside), "{name} holds {outside}");
        }
    }
}

#[test]
fn a_refused_station_shows_no_depth_but_its_reasons() {
    let run = refused_run();
    let refused = &run.stations[2];
    let depth = refused.depth_to_source_m.unwrap();
    let shown = |run: &Run| {
        let text = text_of(&draw(run));
        let estimates = refused.methods.iter().filter_map(|m| m.estimate).chain([depth]);
        let mut figures: Vec<String> = estimates
            .flat_map(|e| [metres_range(e.low95, e.high95), feet_inches_range(e.low95, e.high95)])
            .collect();
        figures.extend([metres(depth.value), feet_inches(depth.value)]);
        figures.push(metres(refused.truth.unwrap().depth_to_source_m));
        figures.into_iter().filter(|f| text.contains(f)).collect::<Vec<_>>()
    };
    assert_eq!(shown(&run), Vec::<String>::new());
    let text = text_of(&draw(&run));
    for reason in &refused.reasons {
        assert!(text.contains(&reason.sentence) && text.contains(&reason.remedy));
    }
    // The same figures do show when the station is only in doubt: the search above can find them.
    let mut doubted = run.clone();
    doubted.stations[2].verdict = Verdict::Doubt;
    assert!(shown(&doubted).len() >= 6, "{:?}", shown(&doubted));
}

#[test]
fn a_refused_run_draws_neither_zone_nor_pipe() {
    let mut run = invented_run();
    run.stations.iter_mut().for_each(|s| s.verdict = Verdict::Refuse);
    let page = draw(&run);
    assert!(!page.contains("class=\"pipe\"") && !page.contains("class=\"lay\""));
    assert!(page.contains("No station has a depth that may be stated"));
    assert!(!page.contains("When exposed"));
}

#[test]
fn hostile_words_stay_words() {
    let hostile = "<script>alert('1')</script>\"&amp;--></style><svg onload=x>";
    let mut run = refused_run();
    run.title = hostile.to_owned();
    run.description = hostile.to_owned();
    run.site_note = hostile.to_owned();
    run.recorded = hostile.to_owned();
    for s in &mut run.stations {
        s.name = hostile.to_owned();
        s.capture = hostile.to_owned();
        s.methods[0].method = hostile.to_owned();
        s.methods[1].estimate = None;
        s.methods[1].refused = Some(hostile.to_owned());
        s.checks[0].name = hostile.to_owned();
        s.checks[0].detail = hostile.to_owned();
    }
    run.stations[2].reasons[0].sentence = hostile.to_owned();
    run.stations[2].reasons[0].remedy = hostile.to_owned();
    let page = draw(&run);
    assert_well_formed(&page);
    assert!(!page.contains("<script") && !page.contains("<svg onload"));
    assert_eq!(page.matches("</style>").count(), 1);
    assert!(text_of(&page).contains(hostile));
}

#[test]
fn only_simulated_sheets_speak_of_truth_and_they_are_marked() {
    let real = text_of(&draw(&invented_run()));
    assert!(!real.to_lowercase().contains("simulat") && !real.contains("truth"));
    let mut run = refused_run();
    // A truth gives a simulation away even when the flag was lost.
    run.simulated = false;
    let simulated = text_of(&draw(&run));
    assert!(simulated.contains("No such pipe exists") && simulated.contains("Simulated truth:"));
    assert!(simulated.matches("SIMULATED").count() == 2, "both drawings are marked");
}

#[test]
fn an_unknown_size_is_said_and_never_guessed() {
    let unknown = text_of(&draw(&Run { pipe: Pipe::default(), ..invented_run() }));
    assert!(unknown.contains("bore or wall is not known") && unknown.contains("width is not known"));
    let known = text_of(&draw(&invented_run()));
    assert!(!known.contains("not known"));
    // Zone by hand: 0.6096 + 0.11 / 2 = 0.6646 m, rounded up; cover of station 1 with a play of 37.5 mm:
    // 0.92 - 1.96 x 0.012 - 0.055 - 0.0375 = 0.80398 m, 0.92 + 1.96 x 0.012 - 0.055 + 0.0375 = 0.92602 m.
    assert!(known.contains("0.67 m / 2 ft 3 in") && known.contains("0.80 to 0.93 m"));
}

#[test]
fn an_impossible_figure_draws_nothing() {
    let mut run = invented_run();
    run.stations[0].depth_to_source_m.as_mut().unwrap().high95 = f64::NAN;
    assert!(
        sheet::html(&Brief::from(run), &Options::default())
            .unwrap_err()
            .to_string()
            .starts_with("station 1: depth_to_source_m")
    );
}

proptest! {
    #[test]
    fn any_run_of_possible_figures_gives_a_well_formed_sheet(
        places in proptest::collection::vec(
            (-1e6_f64..1e6, -1e6_f64..1e6, 0.0_f64..1e6, 0.0_f64..900.0, 0.0_f64..99.0, 0_usize..3, any::<bool>()), 0..6,
        ),
        shrink in prop_oneof![Just(1.0), Just(1e-3), Just(1e-6), Just(0.0)],
    ) {
        let mut run = invented_run();
        let pattern = run.stations[0].clone();
        run.stations = places.into_iter().map(|(east, north, sigma, low, width, pick, placed)| {
            let mut s = pattern.clone();
            let position = s.position.as_mut().unwrap();
            (position.east_m, position.north_m, position.sigma_m) = (east * shrink, north * shrink, sigma * shrink);
            let depth = s.depth_to_source_m.as_mut().unwrap();
            (depth.low95, depth.value, depth.high95) = (low, low + width / 2.0, low + width);
            s.verdict = [Verdict::Agree, Verdict::Doubt, Verdict::Refuse][pick];
            if !placed { s.position = None; }
            s
        }).collect();
        let page = draw(&run);
        assert_well_formed(&page);
        let body = page.split_once("<body>").unwrap().1;
        prop_assert!(!body.contains("NaN") && !body.contains("inf"), "a coordinate is not a number");
        prop_assert!(body.len() < 400_000);
    }
}

fn brief() -> Brief {
    Brief::from(invented_run())
}

/// Everything of a page that is lettered lies on its paper, as the library that draws it says.
fn assert_on_paper(svg: &str) {
    use resvg::usvg::{Group, Node, Options, Tree};
    let mut options = Options::default();
    options.fontdb_mut().load_font_data(include_bytes!("../fonts/LiberationSans-Regular.ttf").to_vec());
    options.fontdb_mut().load_font_data(include_bytes!("../fonts/LiberationSans-Bold.ttf").to_vec());
    let tree = Tree::from_str(svg, &options).unwrap();
    let paper = tree.size();
    fn letters(group: &Group, found: &mut Vec<resvg::tiny_skia::Rect>) {
        for node in group.children() {
            match node {
                Node::Group(inner) => letters(inner, found),
                Node::Text(text) => found.push(text.abs_bounding_box()),
                _ => {}
            }
        }
    }
    let mut found = Vec::new();
    letters(tree.root(), &mut found);
    assert!(!found.is_empty());
    for at in found {
        let inside = at.left() >= 0.0
            && at.top() >= 0.0
            && at.right() <= paper.width()
            && at.bottom() <= paper.height();
        assert!(inside, "{at:?} on {paper:?}");
    }
}

#[test]
fn pages_of_any_paper_hold_everything() {
    let mut sixty = long_run();
    let pattern = sixty.stations.clone();
    sixty.stations = (0..60_u32)
        .map(|k| {
            let mut station = pattern[k as usize % pattern.len()].clone();
            station.number = k + 1;
            station.position.as_mut().unwrap().north_m = 4.0 * f64::from(k);
            station
        })
        .collect();
    let mut endless = refused_run();
    endless.title = "Wort".repeat(900);
    endless.description = "no space".repeat(900).replace(' ', "");
    endless.stations[0].name = "W".repeat(10_000);
    endless.stations[2].reasons = vec![endless.stations[2].reasons[0].clone(); 120];
    let kinds = every_kind().into_iter().chain([("sixty", sixty.clone()), ("endless", endless)]);
    for (name, run) in kinds {
        for paper in [Paper::A4, Paper::Letter] {
            let options = Options { paper, units: Units::Feet };
            let pages = sheet::pages(&Brief::from(run.clone()), &options).unwrap();
            assert!(pages.len() >= 2, "{name}: {} pages", pages.len());
            for (n, page) in pages.iter().enumerate() {
                assert!(page.contains(&format!("page {} of {}", n + 1, pages.len())), "{name}, page {n}");
                assert_on_paper(page);
            }
        }
    }
    // A table that goes on has its heading row on every page, and every station once.
    let pages = sheet::pages(&Brief::from(sixty), &Options::default()).unwrap();
    let rows = |page: &String| page.matches("When exposed").count();
    for page in pages.iter().filter(|page| rows(page) > 0) {
        assert_eq!(page.matches("Depth of cover").count(), 1);
    }
    let heads = pages.iter().map(|page| page.matches(">Place, 95 % circle<").count()).sum::<usize>();
    assert!(heads > 4, "{heads}");
}

#[test]
fn an_ordinary_run_takes_two_pages() {
    for paper in [Paper::A4, Paper::Letter] {
        for units in [Units::Metric, Units::Feet] {
            let pages = sheet::pages(&brief(), &Options { paper, units }).unwrap();
            assert_eq!(pages.len(), 2, "{paper:?}, {units:?}");
        }
    }
}

/// Its four stations have everything to say, and the heading is as long as it gets.
#[test]
fn the_demonstrations_sheet_takes_two_pages() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("yard.job");
    let located = std::process::Command::new(env!("CARGO_BIN_EXE_nullwalk"))
        .args(["locate", "drain-run", "--job"])
        .arg(&path)
        .output()
        .unwrap();
    assert!(located.status.success(), "{}", String::from_utf8_lossy(&located.stderr));
    let job = Job::open(&path).unwrap();
    let (run, _) = job.state().runs().next().unwrap();
    let brief = Brief::of_job(job.state(), &job.state().places().unwrap(), run).unwrap();
    for paper in [Paper::A4, Paper::Letter] {
        for units in [Units::Metric, Units::Feet] {
            let pages = sheet::pages(&brief, &Options { paper, units }).unwrap();
            assert_eq!(pages.len(), 2, "{paper:?}, {units:?}");
        }
    }
}

#[test]
fn what_is_missing_is_said_and_what_is_known_is_shown() {
    let bare = text_of(&sheet::html(&brief(), &Options::default()).unwrap());
    assert_eq!(bare.matches("(not on record)").count(), 7, "ticket and provenance");
    for missing in ["No search of the area.", "No other lines", "No ties to permanent points."] {
        assert!(bare.contains(missing), "{missing}");
    }
    let mut full = brief();
    full.utility = Utility::Water;
    full.ticket = Ticket {
        number: "T-4711".into(),
        valid_from: "3 May".into(),
        valid_until: "17 May".into(),
        responsible: "the foreman".into(),
    };
    full.run.made =
        Provenance { by: "a technician".into(), instrument: "mast 7".into(), calibrated: "2 April".into() };
    full.sweeps = vec![
        Sweep {
            area: "yard".into(),
            method: "passive mains".into(),
            source: "a cable with 50 mA".into(),
            sees_to_m: Some(1.2),
            found: "nothing".into(),
        },
        Sweep { area: "street".into(), method: "by eye".into(), ..Sweep::default() },
    ];
    full.others = vec![
        OtherLine {
            name: "cable".into(),
            utility: Utility::Electric,
            known_by: "paint".into(),
            found: true,
            path: vec![[0.0, -2.0], [12.0, 6.0]],
        },
        OtherLine {
            name: "main".into(),
            utility: Utility::Gas,
            known_by: "plan".into(),
            found: false,
            path: vec![],
        },
    ];
    full.ties = vec![TieLine {
        station: 1,
        point: "gatepost".into(),
        description: "north, of oak".into(),
        at: Some([-1.0, 2.0].into()),
        distance_m: 2.24,
        taped: true,
    }];
    let page = sheet::html(&full, &Options::default()).unwrap();
    let text = text_of(&page);
    for known in [
        "T-4711",
        "3 May",
        "17 May",
        "the foreman",
        "a technician",
        "mast 7",
        "2 April",
        "water, W",
        "gatepost",
        "2.24 m / 7 ft 4 in",
        "Sees a cable with 50 mA down to 1.20 m / 3 ft 11 in, and nothing below.",
        "How deep that sees is not on record",
        "Not found: it may still be there",
        "G, gas",
        "E, electric",
    ] {
        assert!(text.contains(known), "{known}");
    }
    assert!(!text.contains("(not on record)") && !text.contains("No other lines"));
    // What was not found stands before what was: it is what may be hit.
    assert!(text.find("G, gas") < text.find("E, electric"));
    // Colours never stand alone.
    assert!(page.contains("pipe water") && page.contains("other electric"));
}

#[test]
fn no_sheet_claims_what_the_instrument_cannot() {
    for (name, run) in every_kind() {
        let text = text_of(&draw(&run)).to_lowercase();
        for claim in ["level a", "level b", "complies", "compliant", "certified", "safe to dig"] {
            assert!(!text.contains(claim), "{name} says {claim:?}");
        }
    }
}

#[test]
fn units_stand_in_the_order_that_is_asked_for() {
    let words = |units| text_of(&sheet::html(&brief(), &Options { units, ..Options::default() }).unwrap());
    assert!(words(Units::Metric).contains("0.67 m / 2 ft 3 in"));
    assert!(words(Units::Feet).contains("2 ft 3 in / 0.67 m"));
}

#[test]
fn a_pdf_is_whole_and_its_pages_are_the_same_every_time() {
    let options = Options { paper: Paper::Letter, ..Options::default() };
    let pdf = sheet::pdf(&brief(), &options).unwrap();
    assert!(pdf.starts_with(b"%PDF-1.") && pdf.trim_ascii_end().ends_with(b"%%EOF"));
    let text = String::from_utf8_lossy(&pdf);
    // 8.5 by 11 inches of 72 points.
    assert_eq!(text.matches("/MediaBox [0 0 612 792]").count(), 2);
    assert!(text.contains("+LiberationSans"), "the letters travel with it");
    assert_eq!(sheet::pages(&brief(), &options).unwrap(), sheet::pages(&brief(), &options).unwrap());
}

#[test]
fn letters_that_the_font_lacks_are_told() {
    let mut run = invented_run();
    let said = |run: &Run| sheet::pages(&Brief::from(run.clone()), &Options::default()).unwrap().concat();
    assert!(!said(&run).contains("no shapes"));
    run.stations[0].name = "井戸".to_owned();
    assert!(said(&run).contains("□□") && said(&run).contains("no shapes"));
    assert!(draw(&run).contains("井戸"));
}
