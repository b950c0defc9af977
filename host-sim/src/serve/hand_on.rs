//! What is taken away: the dig sheet, maps and drawings.

use std::sync::Arc;

use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::IntoResponse as _;
use tokio_util::io::ReaderStream;

use super::job_page::ending;
use super::{Answer, Desk, Office, Trouble, Volume, aside, entry, of_job};
use crate::maps::{self, Format, MapError};
use crate::sheet::{self, Brief, Options, Paper, Units};

/// The sheet has its styles in itself.
const SHEET_POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'";
/// Scale of the paper that drawings are lettered for.
const SCALE: f64 = 100.0;

/// Sheets as they are handed out: the end of their address, and how they look.
pub const PRINTED: [(&str, &str, Options); 2] = [
    ("sheet-a4.pdf", "Dig sheet, PDF, A4, metres", Options { paper: Paper::A4, units: Units::Metric }),
    (
        "sheet-letter.pdf",
        "Dig sheet, PDF, Letter, feet",
        Options { paper: Paper::Letter, units: Units::Feet },
    ),
];

pub async fn sheet(State(office): Desk, Path((job, run)): Path<(String, String)>) -> Answer {
    drawn(office, job, &run, |brief, _| {
        let html =
            sheet::html(brief, &Options::default()).map_err(|fault| Trouble::unfit(fault.to_string()))?;
        let kind = (header::CONTENT_TYPE, "text/html; charset=utf-8");
        Ok(([kind, (header::CONTENT_SECURITY_POLICY, SHEET_POLICY)], html).into_response())
    })
    .await
}

pub async fn printed(
    State(office): Desk,
    Path((job, run, file)): Path<(String, String, String)>,
) -> Answer {
    let (_, _, look) = PRINTED.iter().find(|(name, ..)| *name == file).ok_or_else(Trouble::not_found)?;
    drawn(office, job, &run, move |brief, volume| {
        let pdf = sheet::pdf(brief, look).map_err(|fault| Trouble::unfit(fault.to_string()))?;
        let shown = format!("inline; filename=\"{}-{file}\"", plain_name(&volume.name));
        let headers =
            [(header::CONTENT_TYPE, "application/pdf".to_owned()), (header::CONTENT_DISPOSITION, shown)];
        Ok((headers, pdf).into_response())
    })
    .await
}

async fn drawn(
    office: Arc<Office>,
    job: String,
    run: &str,
    draw: impl FnOnce(&Brief, &Volume) -> Answer + Send + 'static,
) -> Answer {
    let run = entry(run)?;
    of_job(office, job, move |_, volume, opened| {
        let places =
            opened.places.as_ref().map_err(|r| Trouble::unfit(format!("{}: {}", r.place, r.what)))?;
        let brief = Brief::of_job(opened.job.state(), places, run).ok_or_else(Trouble::not_found)?;
        draw(&brief, volume)
    })
    .await
}

pub async fn export(State(office): Desk, Path((job, file)): Path<(String, String)>) -> Answer {
    let format = Format::ALL
        .into_iter()
        .find(|f| file == format!("job.{}", ending(*f)))
        .ok_or_else(Trouble::not_found)?;
    let _permit = office.heavy.acquire().await.map_err(|_| Trouble::not_found())?;
    let desk = Arc::clone(&office);
    let (file, bytes, name) = aside(move || {
        let volume = desk.find(&job)?;
        // What takes seconds is done on a copy, so that the job's pages go on.
        let (state, path) =
            desk.shelf.with(&volume, |o| (o.job.state().clone(), volume.path.display().to_string()))?;
        let drawing = maps::draw_state(&state, &path).map_err(trouble)?;
        let folder = tempfile::tempdir().map_err(|e| failed(&e))?;
        let out = folder.path().join(format!("job.{}", ending(format)));
        maps::write(&drawing, format, SCALE, &out).map_err(trouble)?;
        let file = std::fs::File::open(&out).map_err(|e| failed(&e))?;
        let bytes = file.metadata().map_err(|e| failed(&e))?.len();
        Ok((file, bytes, format!("{}.{}", plain_name(&volume.name), ending(format))))
    })
    .await?;
    let body = Body::from_stream(ReaderStream::new(tokio::fs::File::from_std(file)));
    let attached = format!("attachment; filename=\"{name}\"");
    let headers = [
        (header::CONTENT_TYPE, kind(format).to_owned()),
        (header::CONTENT_LENGTH, bytes.to_string()),
        (header::CONTENT_DISPOSITION, attached),
    ];
    Ok((headers, body).into_response())
}

fn trouble(error: MapError) -> Trouble {
    match error {
        MapError::Empty { .. } | MapError::Places { .. } => Trouble::unfit(error.to_string()),
        MapError::NoAnchor { format, .. } => Trouble::unfit(format!(
            "{format} takes latitude and longitude, and nothing says where the site's grid lies. Give `nullwalk job anchor`, \
             or take DXF, CSV or GeoPackage, which take the grid as it is."
        )),
        MapError::OtherDatum { format, datum, .. } => Trouble::unfit(format!(
            "{format} takes WGS 84 only, and the job is in {datum}, which may differ by metres. Take GeoPackage, which \
             names its datum, and transform that."
        )),
        error => failed(&error),
    }
}

fn failed(error: &dyn std::error::Error) -> Trouble {
    Trouble::new(
        StatusCode::INSUFFICIENT_STORAGE,
        format!("The file cannot be made: {error}. Make room on the disk for temporary files."),
    )
}

const fn kind(format: Format) -> &'static str {
    match format {
        Format::Geojson => "application/geo+json",
        Format::Gpkg => "application/geopackage+sqlite3",
        Format::Csv => "text/csv; charset=utf-8",
        Format::Dxf => "image/vnd.dxf",
        Format::Kml => "application/vnd.google-earth.kml+xml",
    }
}

/// The name of a job's file, in letters that every system takes for a name.
fn plain_name(name: &str) -> String {
    let stem = name.strip_suffix(".job").unwrap_or(name);
    let plain: String = stem
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' })
        .take(60)
        .collect();
    if plain.is_empty() { "job".to_owned() } else { plain }
}
