//! A drain run that exists nowhere: four stations about 4 m apart along a gently bending line.

use nullwalk::book::{
    Check, Estimate, Measured, MethodResult, Pipe, Reason, Run, SitePosition, Station, Tone, Truth, Verdict,
};

fn estimate(value: f64, sigma: f64) -> Option<Estimate> {
    Some(Estimate { value, sigma, low95: value - 1.96 * sigma, high95: value + 1.96 * sigma })
}

fn method(name: &str, value: f64, sigma: f64) -> MethodResult {
    MethodResult { method: name.to_owned(), estimate: estimate(value, sigma), refused: None }
}

fn check(name: &str, passed: bool, detail: &str) -> Check {
    Check { name: name.to_owned(), passed, detail: detail.to_owned() }
}

fn reason(code: &str, sentence: &str, remedy: &str) -> Reason {
    Reason { code: code.to_owned(), sentence: sentence.to_owned(), remedy: remedy.to_owned() }
}

fn station(number: u32, east_m: f64, north_m: f64, lay_deg: f64, depth_m: f64, sigma_m: f64) -> Station {
    Station {
        number,
        position: Some(SitePosition { east_m, north_m, sigma_m: 0.06 }),
        lay_deg: Some(Measured { value: lay_deg, sigma: 1.4 }),
        depth_to_source_m: estimate(depth_m, sigma_m),
        methods: vec![
            method("field ratio", depth_m * 1.01, sigma_m * 1.2),
            method("null spacing", depth_m * 0.99, sigma_m * 1.6),
            method("traverse fit", depth_m, sigma_m),
        ],
        verdict: Verdict::Agree,
        checks: vec![
            check("two nulls, one each side", true, "0.96 m and 0.94 m from the mark"),
            check("methods agree", true, "within 1.1 sigma"),
            check("field is straight", true, "ellipticity 0.01"),
            check("never at the rail", true, "11 dB of headroom"),
        ],
        tone: Some(Tone { nominal_hz: 512.0, offset_hz: 0.37, snr_db: 41.0 }),
        capture: format!("yard-{number}"),
        ..Station::default()
    }
}

/// Four stations, the third in doubt, ending at the trouble spot.
pub fn invented_run() -> Run {
    let mut doubtful = station(3, 8.05, 2.30, 66.0, 1.74, 0.11);
    doubtful.verdict = Verdict::Doubt;
    doubtful.methods[1] = method("null spacing", 2.02, 0.07);
    doubtful.checks[1] = check("methods agree", false, "field ratio and null spacing differ by 3.4 sigma");
    doubtful.reasons = vec![reason(
        "methods-disagree",
        "Two independent methods give different depths.",
        "walk two more lanes across the line and keep the mast upright; if they still differ, treat the depth as unknown.",
    )];
    let mut last = station(4, 11.80, 3.75, 72.0, 2.08, 0.09);
    last.trouble_spot = true;
    last.name = "Blockage felt with the rod".to_owned();
    let mut first = station(1, 0.0, 0.0, 80.0, 0.92, 0.012);
    first.name = "Below the rear wall".to_owned();
    Run {
        title: "Yard drain, back wall to street".to_owned(),
        description: "Where the drain runs below the yard, and where it is blocked.".to_owned(),
        site_note: "Origin at the north gatepost; north by compass. Paving, level ground.".to_owned(),
        recorded: "A day in spring".to_owned(),
        pipe: Pipe { bore_m: Some(0.10), wall_m: Some(0.005), beacon_diameter_m: Some(0.025) },
        stations: vec![first, station(2, 4.02, 0.85, 75.0, 1.31, 0.025), doubtful, last],
        ..Run::default()
    }
}

/// The same run simulated, with its third station refused and the bore unknown.
pub fn refused_run() -> Run {
    let mut run = invented_run();
    run.simulated = true;
    run.pipe = Pipe::default();
    for s in &mut run.stations {
        if let (Some(p), Some(d)) = (s.position, s.depth_to_source_m) {
            s.truth = Some(Truth {
                east_m: p.east_m + 0.05,
                north_m: p.north_m - 0.08,
                depth_to_source_m: d.value + 0.02,
            });
        }
    }
    let refused = &mut run.stations[2];
    refused.verdict = Verdict::Refuse;
    refused.checks[3] = check("never at the rail", false, "clipped in 38 % of the windows");
    refused.reasons = vec![
        reason(
            "clipped",
            "Mains hum drives the front end to its rail even at the lowest gain.",
            "switch off what hums nearby, or step 2 m along the pipe and try again.",
        ),
        reason(
            "nulls-missing",
            "Only one null was passed.",
            "walk on past the mark until the tone vanishes on the other side too.",
        ),
    ];
    run
}
