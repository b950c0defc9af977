//! GeoJSON, RFC 7946.

use geojson::{Feature, FeatureCollection, Geometry, GeometryValue, JsonObject, JsonValue, Position};
use glam::DVec2;

use super::{Drawing, Shape, Value};

/// The file; `earth` gives longitude and latitude in WGS 84.
pub fn text(drawing: &Drawing, earth: &impl Fn(DVec2) -> [f64; 2]) -> Result<Vec<u8>, String> {
    let mut features = Vec::new();
    for layer in &drawing.layers {
        for feature in &layer.features {
            let corners: Vec<Position> =
                feature.shape.corners().into_iter().map(|at| earth(at).into()).collect();
            let value = match (&feature.shape, corners) {
                (Shape::Point(at), _) => GeometryValue::Point { coordinates: earth(*at).into() },
                (Shape::Line(_), coordinates) => GeometryValue::LineString { coordinates },
                (Shape::Ellipse { .. } | Shape::Band { .. }, ring) => {
                    GeometryValue::Polygon { coordinates: vec![ring] }
                }
            };
            let mut properties = JsonObject::new();
            properties.insert("layer".to_owned(), layer.name.into());
            for (name, value) in &feature.fields {
                properties.insert((*name).to_owned(), json(value));
            }
            let geometry = Some(Geometry::new(value));
            features.push(Feature { geometry, properties: Some(properties), ..Feature::default() });
        }
    }
    let mut foreign = JsonObject::new();
    foreign.insert("title".to_owned(), drawing.title.as_str().into());
    foreign.insert("caution".to_owned(), drawing.caution.as_str().into());
    let collection = FeatureCollection { bbox: None, features, foreign_members: Some(foreign) };
    serde_json::to_vec(&collection).map_err(|e| e.to_string())
}

fn json(value: &Value) -> JsonValue {
    match value {
        Value::Text(text) => text.as_str().into(),
        Value::Real(figure) => (*figure).into(),
        Value::Whole(number) => (*number).into(),
        Value::Yes(yes) => (*yes).into(),
    }
}
