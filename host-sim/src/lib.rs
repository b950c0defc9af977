//! The host harness of the nullwalk locate logger: simulate a site, drive the core, read and write
//! captures, keep the book of stations and draw the dig sheet.

pub mod alignment;
pub mod book;
pub mod calibrate;
pub mod capture;
mod carried;
mod chart;
pub mod cli;
pub mod equipment;
pub mod fieldbook;
pub mod figures;
pub mod inspect;
pub mod job;
mod letters;
pub mod live;
pub mod mains;
pub mod maps;
pub mod pictures;
pub mod quantity;
pub mod raster;
pub mod run;
pub mod serve;
pub mod sheet;
pub mod site;
pub mod stats;
pub mod survey;
pub mod synth;
pub mod tolerant_toml;
pub mod tones;
pub mod trace;
pub mod trials;
pub mod units;
mod web_page;
