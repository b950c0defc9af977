//! Pages of SVG as one PDF.

use std::collections::HashMap;

use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, TextStr};
use svg2pdf::ConversionOptions;

use crate::raster::{Undrawn, tree};

const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// One document of pages of this size in millimetres.
pub fn pdf(title: &str, pages: &[String], (width, height): (f64, f64)) -> Result<Vec<u8>, Undrawn> {
    let undrawn = |what: String| Undrawn { into: "PDF", what };
    let size = [width, height].map(|side| (side * POINTS_PER_MM) as f32);
    let mut next = Ref::new(1);
    let (catalog, page_tree, info) = (next.bump(), next.bump(), next.bump());
    let ids: Vec<(Ref, Ref)> = pages.iter().map(|_| (next.bump(), next.bump())).collect();
    let mut pdf = Pdf::new();
    pdf.catalog(catalog).pages(page_tree).lang(TextStr("en"));
    pdf.document_info(info)
        .title(TextStr(&format!("Dig sheet: {title}")))
        .creator(TextStr(concat!("nullwalk ", env!("CARGO_PKG_VERSION"))));
    pdf.pages(page_tree).kids(ids.iter().map(|(page, _)| *page)).count(pages.len() as i32);
    for (svg, (page_id, content_id)) in pages.iter().zip(&ids) {
        let tree = tree(svg).map_err(|e| undrawn(e.to_string()))?;
        let (chunk, drawn) =
            svg2pdf::to_chunk(&tree, ConversionOptions::default()).map_err(|e| undrawn(e.to_string()))?;
        let mut known = HashMap::new();
        let chunk = chunk.renumber(|old| *known.entry(old).or_insert_with(|| next.bump()));
        let drawn = known.get(&drawn).copied().ok_or_else(|| undrawn("a page is missing".to_owned()))?;
        let name = Name(b"S");
        let mut page = pdf.page(*page_id);
        page.media_box(Rect::new(0.0, 0.0, size[0], size[1])).parent(page_tree).contents(*content_id);
        page.resources().x_objects().pair(name, drawn);
        page.finish();
        let mut content = Content::new();
        content.transform([size[0], 0.0, 0.0, size[1], 0.0, 0.0]).x_object(name);
        pdf.stream(*content_id, &content.finish());
        pdf.extend(&chunk);
    }
    Ok(pdf.finish())
}
