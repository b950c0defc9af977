//! OGC KML 2.2.

use std::collections::HashMap;

use glam::DVec2;
use kml::types::{Coord, Element, Geometry, LineString, LinearRing, Placemark, Point, Polygon};
use kml::{Kml, KmlDocument, KmlVersion, KmlWriter};

use super::{Drawing, Feature, Shape};
use crate::letters::in_xml;

/// The file; `earth` gives longitude and latitude in WGS 84.
pub fn text(drawing: &Drawing, earth: &impl Fn(DVec2) -> [f64; 2]) -> Result<Vec<u8>, String> {
    let folders = drawing.layers.iter().map(|layer| {
        let mut elements = vec![words("name", layer.name), words("description", layer.description)];
        elements.extend(layer.features.iter().map(|feature| Kml::Placemark(placemark(feature, earth))));
        Kml::Folder(kml::types::Folder { elements, ..Default::default() })
    });
    let mut elements = vec![words("name", &drawing.title), words("description", &drawing.caution)];
    elements.extend(folders);
    let document = Kml::KmlDocument(KmlDocument {
        version: KmlVersion::V22,
        attrs: HashMap::from([("xmlns".to_owned(), "http://www.opengis.net/kml/2.2".to_owned())]),
        elements: vec![Kml::Document { attrs: HashMap::new(), elements }],
    });
    let mut out = b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n".to_vec();
    KmlWriter::from_writer(&mut out).write(&document).map_err(|e| e.to_string())?;
    Ok(out)
}

fn words(name: &str, content: &str) -> Kml {
    Kml::Element(element(name, content))
}

fn element(name: &str, content: &str) -> Element {
    Element { name: name.to_owned(), content: Some(plain(content)), ..Element::default() }
}

fn plain(text: &str) -> String {
    text.chars().map(in_xml).collect()
}

fn placemark(feature: &Feature, earth: &impl Fn(DVec2) -> [f64; 2]) -> Placemark {
    let coords = feature.shape.corners().into_iter().map(|at| {
        let [x, y] = earth(at);
        Coord { x, y, z: None }
    });
    let coords: Vec<Coord> = coords.collect();
    let geometry = match (&feature.shape, coords) {
        (Shape::Point(_), coords) => {
            coords.into_iter().next().map(|coord| Geometry::Point(Point::from(coord)))
        }
        (Shape::Line(_), coords) => Some(Geometry::LineString(LineString { coords, ..Default::default() })),
        (Shape::Ellipse { .. } | Shape::Band { .. }, coords) => {
            let outer = LinearRing { coords, ..Default::default() };
            Some(Geometry::Polygon(Polygon { outer, ..Default::default() }))
        }
    };
    let data = feature.fields.iter().map(|(name, value)| Element {
        name: "Data".to_owned(),
        attrs: HashMap::from([("name".to_owned(), (*name).to_owned())]),
        children: vec![element("value", &value.text())],
        ..Element::default()
    });
    let extended =
        Element { name: "ExtendedData".to_owned(), children: data.collect(), ..Element::default() };
    Placemark {
        name: Some(plain(&feature.label)),
        geometry,
        children: vec![extended],
        ..Placemark::default()
    }
}
