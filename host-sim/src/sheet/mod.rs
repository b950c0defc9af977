//! The dig sheet: a run on one or two pages, as one self-contained HTML file or as PDF, printed to scale.
//!
//! What a sheet says is decided in one place, block by block, and set twice. Everything is drawn from vectors; there is
//! no script and nothing is fetched. Nothing depends on colour: a verdict has its word and its own frame, a line its
//! letter, the zone its hatch.
//!
//! ```
//! use nullwalk::book::Run;
//! use nullwalk::sheet::{self, Brief, Options};
//! let brief = Brief::from(Run::default());
//! assert!(sheet::html(&brief, &Options::default()).unwrap().contains("No station was recorded"));
//! assert!(sheet::pdf(&brief, &Options::default()).unwrap().starts_with(b"%PDF"));
//! ```

mod block;
mod brief;
mod cautions;
mod content;
mod draw;
mod html;
mod legend;
mod options;
mod page;
mod pdf;
mod plan;
mod profile;
mod scale;
mod table;

use thiserror::Error;

pub use brief::{Brief, TieLine};
pub use options::{Options, Paper, Units};

use self::block::Content;
use crate::book::Fault;
use crate::raster::Undrawn;

/// How tall the plan may grow before its scale is reduced, the best first.
const PLAN_MM: [f64; 5] = [92.0, 84.0, 76.0, 68.0, 60.0];

/// Why a sheet could not be drawn.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SheetError {
    /// A figure of the run cannot be true: nothing is drawn from such figures.
    #[error(transparent)]
    Fault(#[from] Fault),
    /// The library that makes pages refused.
    #[error(transparent)]
    Undrawn(#[from] Undrawn),
}

/// The sheet of a run, as the text of an HTML file.
///
/// # Errors
/// When a figure of the run cannot be true.
pub fn html(brief: &Brief, options: &Options) -> Result<String, SheetError> {
    brief.run.check()?;
    Ok(html::html(&content(brief, options), options))
}

/// The sheet of a run, as the bytes of a PDF file.
///
/// # Errors
/// When a figure of the run cannot be true, or the library refuses the drawings.
pub fn pdf(brief: &Brief, options: &Options) -> Result<Vec<u8>, SheetError> {
    brief.run.check()?;
    let content = content(brief, options);
    let (pages, _) = page::pages(&content, options);
    Ok(pdf::pdf(&content.title, &pages, options.paper.size_mm())?)
}

/// The pages of a sheet, each as the text of an SVG file in millimetres.
///
/// # Errors
/// When a figure of the run cannot be true.
pub fn pages(brief: &Brief, options: &Options) -> Result<Vec<String>, SheetError> {
    brief.run.check()?;
    Ok(page::pages(&content(brief, options), options).0)
}

/// What the sheet says, with a plan as large as leaves room on the front page for all that belongs there.
fn content(brief: &Brief, options: &Options) -> Content {
    let with = |plan_mm: &f64| content::content(brief, options, *plan_mm);
    let fits = |content: &Content| page::front(content, options) == 1;
    PLAN_MM.iter().map(with).find(fits).unwrap_or_else(|| with(&PLAN_MM[0]))
}
