//! One CSV for all that has a point: a row each, a column for every field of any.

use super::{Drawing, Shape, Value};

pub fn text(drawing: &Drawing) -> Result<Vec<u8>, String> {
    let layers: Vec<_> = drawing
        .layers
        .iter()
        .filter(|l| l.features.iter().all(|f| matches!(f.shape, Shape::Point(_))))
        .collect();
    let mut columns: Vec<&str> = Vec::new();
    for (name, _) in layers.iter().filter_map(|l| l.features.first()).flat_map(|f| &f.fields) {
        if !columns.contains(name) {
            columns.push(name);
        }
    }
    let mut csv = csv::Writer::from_writer(Vec::new());
    let says = |e: csv::Error| e.to_string();
    csv.write_record(std::iter::once("layer").chain(columns.iter().copied())).map_err(says)?;
    for layer in layers {
        for feature in &layer.features {
            let cell = |column: &&str| {
                feature.fields.iter().find(|(n, _)| n == column).map_or(String::new(), |(_, v)| v.text())
            };
            let cells = columns.iter().map(cell);
            csv.write_record(std::iter::once(layer.name.to_owned()).chain(cells)).map_err(says)?;
        }
    }
    csv.into_inner().map_err(|e| e.to_string())
}

impl Value {
    /// As a table has it; nothing where there is nothing.
    pub(super) fn text(&self) -> String {
        match self {
            Self::Text(text) => disarmed(text),
            Self::Real(figure) => figure.map_or(String::new(), |f| f.to_string()),
            Self::Whole(number) => number.to_string(),
            Self::Yes(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        }
    }
}

/// Words that a spreadsheet would take for a formula are marked as words.
fn disarmed(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}
