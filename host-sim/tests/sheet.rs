//! The dig sheet as its reader gets it.

mod invented_run;

use invented_run::{invented_run, refused_run};
use nullwalk::book::{Pipe, Run, Station, Verdict};
use nullwalk::sheet::{self, Brief, Options};
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
