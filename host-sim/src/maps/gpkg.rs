//! OGC GeoPackage 1.3 (OGC 12-128r17): an SQLite file with tables as the standard asks.

use std::ffi::OsString;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use glam::DVec2;
use jiff::Timestamp;
use rusqlite::types::ToSql;
use rusqlite::{Connection, params};

use super::{Drawing, Layer, MapError, Shape, Value};
use crate::job::{Anchor, Datum};

/// `GPKG`, and version 1.3: clause 1.1.1.
const HEAD: &str = "PRAGMA application_id = 0x47504B47; PRAGMA user_version = 10300;";
/// Clauses C.1 to C.3.
const TABLES: &str = include_str!("gpkg.sql");
/// Coordinates without a place on the Earth, clause 1.1.2.1.2.
const UNDEFINED_CARTESIAN: i32 = -1;

pub fn write(drawing: &Drawing, path: &Path) -> Result<(), MapError> {
    let mut name: OsString = path.as_os_str().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let temporary = PathBuf::from(name);
    let library = |e: rusqlite::Error| MapError::Library { path: path.to_owned(), what: e.to_string() };
    let io_error = |source| MapError::Io { path: path.to_owned(), source };
    // One that was left by a program of the same number, long dead, would be added to.
    let _ = fs::remove_file(&temporary);
    let written = File::create(&temporary)
        .map_err(io_error)
        .and_then(|_| fill(drawing, &temporary).map_err(library))
        .and_then(|()| File::open(&temporary).and_then(|file| file.sync_all()).map_err(io_error))
        .and_then(|()| fs::rename(&temporary, path).map_err(io_error));
    if written.is_err() {
        // The first error is the one to report.
        let _ = fs::remove_file(&temporary);
    }
    written
}

fn fill(drawing: &Drawing, file: &Path) -> rusqlite::Result<()> {
    let absolute = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    let mut db = Connection::open_with_flags(absolute, rusqlite::OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    // The file gets its name once it is whole; until then nothing in it has to outlast anything.
    db.execute_batch("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;")?;
    let write = db.transaction()?;
    write.execute_batch(HEAD)?;
    write.execute_batch(TABLES)?;
    let srs = srs(drawing, &write)?;
    let now = format!("{:.3}", Timestamp::now());
    for layer in &drawing.layers {
        fill_layer(&write, drawing, layer, srs, &now)?;
    }
    // What the whole drawing says, for whoever looks at one table only.
    write.execute(
        "INSERT INTO cautions (title, caution) VALUES (?, ?)",
        params![drawing.title, drawing.caution],
    )?;
    write.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change)
         VALUES ('cautions', 'attributes', 'cautions', ?, ?)",
        params![drawing.caution, now],
    )?;
    write.commit()
}

/// Number of the reference system, which is entered if it is not one of those that always are.
fn srs(drawing: &Drawing, db: &Connection) -> rusqlite::Result<i32> {
    let Some((datum, _)) = drawing.anchor else { return Ok(UNDEFINED_CARTESIAN) };
    // Well-known text of the EPSG data set, as PROJ writes it.
    let definition = match datum {
        Datum::Wgs84 => return Ok(datum.epsg()),
        Datum::Etrs89 => include_str!("etrs89.wkt"),
        Datum::Nad83 => include_str!("nad83.wkt"),
        Datum::Gda2020 => include_str!("gda2020.wkt"),
    };
    db.execute(
        "INSERT INTO gpkg_spatial_ref_sys VALUES (?1, ?2, 'EPSG', ?2, ?3, NULL)",
        params![datum.name(), datum.epsg(), definition.trim()],
    )?;
    Ok(datum.epsg())
}

fn fill_layer(
    db: &Connection,
    drawing: &Drawing,
    layer: &Layer,
    srs: i32,
    now: &str,
) -> rusqlite::Result<()> {
    let Some(first) = layer.features.first() else { return Ok(()) };
    let shape = match first.shape {
        Shape::Point(_) => "POINT",
        Shape::Line(_) => "LINESTRING",
        Shape::Ellipse { .. } | Shape::Band { .. } => "POLYGON",
    };
    let columns = first.fields.iter().map(|(name, value)| {
        let kind = match value {
            Value::Text(_) => "TEXT",
            Value::Real(_) => "DOUBLE",
            Value::Whole(_) => "INTEGER",
            Value::Yes(_) => "BOOLEAN",
        };
        format!(", \"{name}\" {kind}")
    });
    let name = layer.name;
    db.execute_batch(&format!(
        "CREATE TABLE {name} (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom {shape}{})",
        columns.collect::<String>()
    ))?;
    let names = first.fields.iter().map(|(name, _)| format!(", \"{name}\"")).collect::<String>();
    let marks = ", ?".repeat(first.fields.len());
    let mut insert = db.prepare(&format!("INSERT INTO {name} (geom{names}) VALUES (?{marks})"))?;
    let mut extent = Extent::default();
    for feature in &layer.features {
        let corners: Vec<[f64; 2]> =
            feature.shape.corners().into_iter().map(|at| place(drawing.anchor, at)).collect();
        corners.iter().for_each(|at| extent.hold(*at));
        let geometry = blob(&feature.shape, &corners, srs);
        let mut row: Vec<&dyn ToSql> = vec![&geometry];
        row.extend(feature.fields.iter().map(|(_, value)| match value {
            Value::Text(text) => text as &dyn ToSql,
            Value::Real(figure) => figure,
            Value::Whole(number) => number,
            Value::Yes(yes) => yes,
        }));
        insert.execute(row.as_slice())?;
    }
    let [west, south, east, north] = extent.0;
    let description = format!("{}. {}", layer.description, drawing.caution);
    db.execute(
        "INSERT INTO gpkg_contents VALUES (?1, 'features', ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        params![name, description, now, west, south, east, north, srs],
    )?;
    db.execute(
        "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, 0, 0)",
        params![name, shape, srs],
    )?;
    Ok(())
}

/// Longitude and latitude, or east and north on the grid.
fn place(anchor: Option<(Datum, Anchor)>, grid: DVec2) -> [f64; 2] {
    anchor.map_or(grid.to_array(), |(datum, anchor)| {
        let earth = anchor.to_earth(datum, grid);
        [earth.longitude_deg, earth.latitude_deg]
    })
}

/// West, south, east, north.
struct Extent([f64; 4]);

impl Default for Extent {
    fn default() -> Self {
        Self([f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY])
    }
}

impl Extent {
    fn hold(&mut self, [x, y]: [f64; 2]) {
        let [west, south, east, north] = self.0;
        self.0 = [west.min(x), south.min(y), east.max(x), north.max(y)];
    }
}

/// A geometry as clause 2.1.3.1 asks: its own head, then well-known binary, all little-endian.
fn blob(shape: &Shape, corners: &[[f64; 2]], srs: i32) -> Vec<u8> {
    // Little-endian; for more than a point, with an envelope of x and y.
    let mut extent = Extent::default();
    corners.iter().for_each(|at| extent.hold(*at));
    let is_point = matches!(shape, Shape::Point(_));
    let mut bytes = vec![b'G', b'P', 0, if is_point { 0b01 } else { 0b11 }];
    bytes.extend(srs.to_le_bytes());
    if !is_point {
        let [west, south, east, north] = extent.0;
        [west, east, south, north].iter().for_each(|v| bytes.extend(v.to_le_bytes()));
    }
    bytes.push(1);
    let (kind, rings): (u32, Option<u32>) = match shape {
        Shape::Point(_) => (1, None),
        Shape::Line(_) => (2, None),
        Shape::Ellipse { .. } | Shape::Band { .. } => (3, Some(1)),
    };
    bytes.extend(kind.to_le_bytes());
    bytes.extend(rings.iter().flat_map(|n| n.to_le_bytes()));
    if !is_point {
        bytes.extend((corners.len() as u32).to_le_bytes());
    }
    corners.iter().flatten().for_each(|v| bytes.extend(v.to_le_bytes()));
    bytes
}
