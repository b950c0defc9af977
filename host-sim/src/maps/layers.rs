//! From a job to what is drawn of it.

use glam::DVec2;

use super::{Drawing, Feature, Layer, MapError, Shape, Value};
use crate::alignment::{Joined, JoinedStation, Segment, join};
use crate::book::{CAUTION, Cover, Run, SitePosition, Station};
use crate::job::{Content, Cov, EntryId, Job, Place, Places, RunCard, Spot, State, Utility, ellipse95};
use crate::units::metres_range;

/// Everything drawn of one job.
struct Sketch<'a> {
    state: &'a State,
    places: Places,
    datum: &'static str,
}

/// Draw a job.
///
/// # Errors
/// When its places are mixed, or nothing in it has one.
pub fn draw(job: &Job) -> Result<Drawing, MapError> {
    draw_state(job.state(), &job.path().display().to_string())
}

/// The same of what a job amounts to; `name` stands for it in messages.
///
/// # Errors
/// As [`draw`].
pub fn draw_state(state: &State, name: &str) -> Result<Drawing, MapError> {
    let name = || name.to_owned();
    let places =
        state.places().map_err(|r| MapError::Places { job: name(), place: r.place, what: r.what })?;
    let datum = places.anchor.map_or("", |(datum, _)| datum.name());
    let sketch = Sketch { state, places, datum };
    let mut layers = [
        Layer {
            name: "stations",
            description: "Marks above a pipe, with the depth below each",
            features: vec![],
        },
        Layer {
            name: "uncertainty",
            description: "Ellipses that hold the true place, 95 %",
            features: vec![],
        },
        Layer {
            name: "segments",
            description: "The line from station to station, not measured between",
            features: vec![],
        },
        Layer {
            name: "zones",
            description: "Tolerance zones: expose by hand or another safe means only; your local law goes before them",
            features: vec![],
        },
        Layer { name: "trouble", description: "The spot that was looked for", features: vec![] },
        Layer { name: "points", description: "Permanent points that ties are taped to", features: vec![] },
    ];
    let [stations, ellipses, segments, zones, trouble, points] = &mut layers;
    for (id, card) in state.runs() {
        let Some(run) = state.run(id, &sketch.places) else { continue };
        let caution = caution(run.is_simulated());
        for ((entry, _), found) in state.stations_of(id).iter().zip(&run.stations) {
            let Ok(spot) = sketch.places.of(*entry) else { continue };
            stations.features.push(sketch.station(*entry, card, &run, found, &spot, &caution));
            if found.is_located() {
                zones.features.push(sketch.zone(card, found.number, None, (&spot, &spot), &caution));
                ellipses.features.push(sketch.ellipse(card, found, &spot, &caution));
            }
        }
        // A run that cannot be joined has its stations drawn, and no line.
        if let Ok(joined) = join(state, &sketch.places, id) {
            segments.features.extend(sketch.segments(card, &joined, &caution));
            zones.features.extend(sketch.zones(card, &joined, &caution));
            trouble.features.extend(sketch.trouble(card, &joined, &caution));
        }
    }
    for (id, point) in state.points() {
        let Ok(spot) = sketch.places.of(id) else { continue };
        let mut fields = vec![
            ("entry", Value::Whole(id)),
            ("name", Value::Text(point.name.clone())),
            ("description", Value::Text(point.description.clone())),
        ];
        fields.extend(sketch.place_fields(&spot));
        fields.push(("caution", Value::Text(caution(false))));
        points.features.push(Feature {
            shape: Shape::Point(spot.at),
            utility: None,
            label: point.name.clone(),
            fields,
        });
    }
    let layers: Vec<Layer> = layers.into_iter().filter(|layer| !layer.features.is_empty()).collect();
    if layers.is_empty() {
        return Err(MapError::Empty { job: name() });
    }
    let simulated = state.runs().any(|(_, run)| run.simulated);
    Ok(Drawing {
        title: state.settings().title,
        caution: caution(simulated),
        anchor: sketch.places.anchor,
        layers,
    })
}

/// In one line, for a field.
fn caution(simulated: bool) -> String {
    let words = CAUTION.split_whitespace().collect::<Vec<_>>().join(" ");
    if simulated { format!("Simulated: no such pipe exists. {words}") } else { words }
}

fn real(value: f64) -> Value {
    Value::Real(Some(value))
}

fn zone_remark(width_m: Option<f64>) -> &'static str {
    match width_m {
        Some(_) => "horizontal; no depth narrows it; your local law goes before it",
        None => "horizontal; the line's width is not known: add half of it; your local law goes before it",
    }
}

fn of_run(card: &RunCard) -> Vec<(&'static str, Value)> {
    vec![
        ("run", Value::Text(card.name.clone())),
        ("utility", Value::Text(card.utility.word().to_owned())),
        ("letter", Value::Text(card.utility.letter().to_owned())),
    ]
}

impl Sketch<'_> {
    /// With the anchor's own uncertainty where there is one: that is what counts on a map.
    fn cov(&self, spot: &Spot) -> Cov {
        self.places.anchor.map_or(spot.cov, |(_, anchor)| {
            // Its ellipse is drawn on the grid, whose north may not be the Earth's.
            anchor.cov_to_earth(spot).turned(-anchor.bearing_deg.to_radians())
        })
    }

    fn place_fields(&self, spot: &Spot) -> Vec<(&'static str, Value)> {
        let (long, short, bearing) = self.cov(spot).axes();
        let mut fields = vec![("east_m", real(spot.at.x)), ("north_m", real(spot.at.y))];
        let earth =
            self.places.anchor.map(|(datum, anchor)| (anchor.to_earth(datum, spot.at), anchor.bearing_deg));
        fields.extend([
            ("latitude_deg", Value::Real(earth.map(|(e, _)| e.latitude_deg))),
            ("longitude_deg", Value::Real(earth.map(|(e, _)| e.longitude_deg))),
            ("datum", Value::Text(self.datum.to_owned())),
            ("sigma_long_m", real(long)),
            ("sigma_short_m", real(short)),
            (
                "long_axis_deg",
                real((bearing.to_degrees() + earth.map_or(0.0, |(_, b)| b)).rem_euclid(180.0)),
            ),
        ]);
        fields
    }

    fn station(
        &self,
        entry: EntryId,
        card: &RunCard,
        run: &Run,
        found: &Station,
        spot: &Spot,
        caution: &str,
    ) -> Feature {
        let depth = found.stated_depth_m();
        let cover = depth.map(|d| run.pipe.cover(&d));
        let cover = match cover {
            Some(Cover::Between { low_m, high_m }) => Some((low_m, high_m)),
            _ => None,
        };
        let by = match self.state.get(entry) {
            Some(Content::Station(station)) => match station.place {
                Place::Locate => "locate",
                Place::Grid { .. } => "tape",
                Place::Ties { .. } => "ties",
                Place::Gnss(_) => "satellites",
            },
            _ => "",
        };
        let reasons: Vec<&str> = found.reasons.iter().map(|r| r.sentence.as_str()).collect();
        let mut fields = vec![("entry", Value::Whole(entry))];
        fields.extend(of_run(card));
        fields.extend([
            ("station", Value::Whole(found.number.into())),
            ("name", Value::Text(found.name.clone())),
            ("verdict", Value::Text(found.verdict.word().to_owned())),
            ("reasons", Value::Text(reasons.join(" "))),
            ("trouble_spot", Value::Yes(found.trouble_spot)),
            ("simulated", Value::Yes(run.is_simulated())),
            ("depth_to_source_m", Value::Real(depth.map(|d| d.value))),
            ("depth_sigma_m", Value::Real(depth.map(|d| d.sigma))),
            ("depth_low95_m", Value::Real(depth.map(|d| d.low95))),
            ("depth_high95_m", Value::Real(depth.map(|d| d.high95))),
            ("shallow_bound_m", Value::Real(found.stated_shallow_bound_m())),
            ("cover_low_m", Value::Real(cover.map(|c| c.0))),
            ("cover_high_m", Value::Real(cover.map(|c| c.1))),
            ("lay_deg", Value::Real(found.lay_deg.filter(|_| found.is_located()).map(|l| l.value))),
            ("lay_sigma_deg", Value::Real(found.lay_deg.filter(|_| found.is_located()).map(|l| l.sigma))),
            ("place_by", Value::Text(by.to_owned())),
        ]);
        fields.extend(self.place_fields(spot));
        fields.push(("caution", Value::Text(caution.to_owned())));
        let depth = depth.map_or_else(
            || if found.is_located() { String::new() } else { " REFUSED".to_owned() },
            |d| format!(" {} deep", metres_range(d.low95, d.high95)),
        );
        let label = format!("{}{}{depth}", card.utility.letter(), found.number);
        Feature { shape: Shape::Point(spot.at), utility: Some(card.utility), label, fields }
    }

    fn ellipse(&self, card: &RunCard, found: &Station, spot: &Spot, caution: &str) -> Feature {
        let (long, short, bearing_rad) = self.cov(spot).axes();
        // Never a point: a polygon needs an area.
        let [long_m, short_m] = [long, short].map(|sigma| (ellipse95() * sigma).max(1e-3));
        let mut fields = of_run(card);
        fields.extend([
            ("station", Value::Whole(found.number.into())),
            ("verdict", Value::Text(found.verdict.word().to_owned())),
            ("probability", real(0.95)),
            ("long_half_axis_m", real(long_m)),
            ("short_half_axis_m", real(short_m)),
            ("caution", Value::Text(caution.to_owned())),
        ]);
        let shape = Shape::Ellipse { centre: spot.at, long_m, short_m, bearing_rad };
        Feature { shape, utility: Some(card.utility), label: String::new(), fields }
    }

    /// What is not known is not drawn: over a gap there is no line.
    fn segments(&self, card: &RunCard, joined: &Joined, caution: &str) -> Vec<Feature> {
        let ends = joined.stations.windows(2).zip(&joined.segments);
        ends.filter(|(_, s)| !s.gap)
            .filter_map(|(ends, segment)| {
                let [a, b] = ends else { return None };
                let mut fields = of_run(card);
                fields.extend([
                    ("from_station", Value::Whole(segment.from.into())),
                    ("to_station", Value::Whole(segment.to.into())),
                    ("length_m", real(segment.length_m)),
                    ("fall", Value::Real(segment.fall.map(|f| f.value))),
                    ("fall_sigma", Value::Real(segment.fall.map(|f| f.sigma))),
                    ("ground_taken_level", Value::Yes(joined.ground_taken_level)),
                    ("uphill", Value::Yes(segment.uphill)),
                    ("doubt", Value::Yes(segment.doubt)),
                    ("aside95_m", real(a.aside95_m.max(b.aside95_m))),
                    ("remark", Value::Text("not measured between the stations".to_owned())),
                    ("caution", Value::Text(caution.to_owned())),
                ]);
                let line = vec![DVec2::new(a.east_m, a.north_m), DVec2::new(b.east_m, b.north_m)];
                let utility: Utility = card.utility;
                Some(Feature {
                    shape: Shape::Line(line),
                    utility: Some(utility),
                    label: utility.letter().to_owned(),
                    fields,
                })
            })
            .collect()
    }

    /// From the mark to the edge of the zone: what the sheet draws, with the place's own uncertainty where that is more.
    fn zone_m(&self, card: &RunCard, spot: &Spot) -> f64 {
        let sigma_m = self.cov(spot).axes().0;
        let position = SitePosition { east_m: spot.at.x, north_m: spot.at.y, sigma_m };
        card.tolerance_zone.half_width_m(&card.pipe, &position)
    }

    /// The zone of a station, or of the line from it to the next.
    fn zone(
        &self,
        card: &RunCard,
        from: u32,
        to: Option<u32>,
        (a, b): (&Spot, &Spot),
        caution: &str,
    ) -> Feature {
        let (from_m, to_m) = (self.zone_m(card, a), self.zone_m(card, b));
        let width = card.tolerance_zone.width_m(&card.pipe);
        let mut fields = of_run(card);
        fields.extend([
            ("from_station", Value::Whole(from.into())),
            ("to_station", Value::Whole(to.unwrap_or(from).into())),
            ("half_width_m", real(from_m.max(to_m))),
            ("legal_m", real(card.tolerance_zone.legal_m)),
            ("line_width_m", Value::Real(width)),
            ("remark", Value::Text(zone_remark(width).to_owned())),
            ("caution", Value::Text(caution.to_owned())),
        ]);
        let shape = match to {
            None => Shape::Ellipse { centre: a.at, long_m: from_m, short_m: from_m, bearing_rad: 0.0 },
            Some(_) => Shape::Band { from: a.at, to: b.at, from_m, to_m },
        };
        Feature { shape, utility: Some(card.utility), label: String::new(), fields }
    }

    /// Zones along the joined line. Over a gap there is none, as there is no line.
    fn zones(&self, card: &RunCard, joined: &Joined, caution: &str) -> Vec<Feature> {
        let spot = |s: &JoinedStation| {
            // The line's own uncertainty may be less than the mark's distance from it.
            let sigma_m = s.aside95_m / ellipse95();
            let own = self.places.of(s.entry).map_or(0.0, |spot| spot.cov.axes().0);
            Spot { at: DVec2::new(s.east_m, s.north_m), cov: Cov::round(sigma_m.max(own)) }
        };
        let ends = joined.stations.windows(2).zip(&joined.segments).filter(|(_, s)| !s.gap);
        let zone = |(ends, segment): (&[JoinedStation], &Segment)| {
            let [a, b] = ends else { return None };
            Some(self.zone(card, segment.from, Some(segment.to), (&spot(a), &spot(b)), caution))
        };
        ends.filter_map(zone).collect()
    }

    fn trouble(&self, card: &RunCard, joined: &Joined, caution: &str) -> Vec<Feature> {
        let drawn = joined.trouble.iter().map(|t| {
            let mut fields = of_run(card);
            fields.extend([
                ("by", Value::Text(t.by.to_owned())),
                ("from_station", Value::Whole(t.between[0].into())),
                ("to_station", Value::Whole(t.between[1].into())),
                ("along_m", real(t.chainage_m.value)),
                ("along_low95_m", real(t.chainage_m.low95)),
                ("along_high95_m", real(t.chainage_m.high95)),
                ("aside95_m", real(t.aside95_m)),
                ("depth_low95_m", Value::Real(t.depth_m.map(|d| d.low95))),
                ("depth_high95_m", Value::Real(t.depth_m.map(|d| d.high95))),
                ("caution", Value::Text(caution.to_owned())),
            ]);
            let depth =
                t.depth_m.map_or(String::new(), |d| format!(" {} deep", metres_range(d.low95, d.high95)));
            let shape = Shape::Point(DVec2::new(t.east_m, t.north_m));
            Feature { shape, utility: Some(card.utility), label: format!("trouble{depth}"), fields }
        });
        drawn.collect()
    }
}
