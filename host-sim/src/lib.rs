//! The host harness of the nullwalk locate logger: simulate a site, drive the core, read and write
//! captures, keep the book of stations and draw the dig sheet.

pub mod capture;
pub mod equipment;
pub mod inspect;
