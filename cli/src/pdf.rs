//! Pages of SVG as one PDF.
//!
//! The core's SVG holds filled and stroked paths, plain text and clip paths; that is what is carried over. Text stays text: it can be
//! searched and copied. The same pages give the same bytes.

use crate::report::Failure;

/// Writes the pages, each of its own size, with the fonts that come with the command.
#[cfg(not(feature = "pdf"))]
pub(crate) fn pdf(_pages: &[String], _title: &str) -> Result<Vec<u8>, Failure> {
    Err(Failure::plain("this build does not write PDF: take a name that ends in .svg"))
}

/// Writes the pages, each of its own size, with the fonts that come with the command.
#[cfg(feature = "pdf")]
pub(crate) fn pdf(pages: &[String], title: &str) -> Result<Vec<u8>, Failure> {
    writer::document(pages, title).map_err(|what| Failure::plain(format!("cannot write the PDF: {what}")))
}

#[cfg(feature = "pdf")]
mod writer {
    use crate::picture::{FONTS, tree};
    use krilla::color::rgb;
    use krilla::geom::{Path, PathBuilder, Point, Transform};
    use krilla::metadata::Metadata;
    use krilla::num::NormalizedF32;
    use krilla::page::PageSettings;
    use krilla::paint::{Fill, FillRule, LineCap, LineJoin, Stroke, StrokeDash};
    use krilla::surface::Surface;
    use krilla::text::{Font, GlyphId, KrillaGlyph};
    use resvg::tiny_skia::PathSegment;
    use resvg::usvg;

    /// Points (1/72 inch) in a pixel of SVG (1/96 inch): CSS Values 3, 6.2.
    const POINTS: f32 = 0.75;

    pub(super) fn document(pages: &[String], title: &str) -> Result<Vec<u8>, String> {
        let fonts = FONTS.map(|data| Font::new(data.into(), 0));
        let [Some(regular), Some(bold)] = fonts else { return Err("its fonts cannot be read".to_owned()) };
        let mut document = krilla::Document::new();
        document.set_metadata(Metadata::new().title(title.to_owned()).language("en".to_owned()));
        for page in pages {
            let tree = tree(page)?;
            let size = tree.size();
            let settings = PageSettings::from_wh(size.width() * POINTS, size.height() * POINTS)
                .ok_or_else(|| "a page has no size".to_owned())?;
            let mut page = document.start_page_with(settings);
            let mut surface = page.surface();
            surface.push_transform(&Transform::from_scale(POINTS, POINTS));
            Drawing { surface: &mut surface, tree: &tree, regular: &regular, bold: &bold }.group(tree.root());
            surface.pop();
            surface.finish();
            page.finish();
        }
        document.finish().map_err(|e| format!("{e:?}"))
    }

    struct Drawing<'a, 'b> {
        surface: &'a mut Surface<'b>,
        tree: &'a usvg::Tree,
        regular: &'a Font,
        bold: &'a Font,
    }

    impl Drawing<'_, '_> {
        fn group(&mut self, group: &usvg::Group) {
            self.surface.push_transform(&transform(group.transform()));
            let clip = group.clip_path().and_then(clip);
            if let Some((path, rule)) = &clip {
                self.surface.push_clip_path(path, rule);
            }
            for node in group.children() {
                match node {
                    usvg::Node::Group(group) => self.group(group),
                    usvg::Node::Path(path) => self.path(path),
                    usvg::Node::Text(text) => self.text(text),
                    // The core draws none.
                    usvg::Node::Image(_) => {}
                }
            }
            if clip.is_some() {
                self.surface.pop();
            }
            self.surface.pop();
        }

        fn path(&mut self, path: &usvg::Path) {
            if !path.is_visible() {
                return;
            }
            let Some(shape) = shape(path.data()) else { return };
            self.surface.set_fill(path.fill().and_then(fill));
            self.surface.set_stroke(path.stroke().and_then(stroke));
            self.surface.draw_path(&shape);
        }

        fn text(&mut self, text: &usvg::Text) {
            for span in text.layouted().iter().filter(|span| span.visible) {
                let [Some(first), Some(last)] = [span.positioned_glyphs.first(), span.positioned_glyphs.last()] else {
                    continue;
                };
                let bold = self.tree.fontdb().face(first.font).is_some_and(|face| face.weight.0 > 500);
                let font = if bold { self.bold } else { self.regular }.clone();
                let size = span.font_size.get();
                let start = first.transform();
                let mut letters = String::new();
                let mut glyphs = Vec::with_capacity(span.positioned_glyphs.len());
                for (k, glyph) in span.positioned_glyphs.iter().enumerate() {
                    let from = letters.len();
                    letters.push_str(&glyph.text);
                    let here = glyph.transform().tx;
                    let next = span.positioned_glyphs.get(k + 1).unwrap_or(last).transform().tx;
                    // The core's text is upright: glyphs differ in X alone.
                    let advance = (next - here) / size;
                    glyphs.push(KrillaGlyph::new(
                        GlyphId::new(glyph.id.0),
                        advance,
                        0.0,
                        0.0,
                        0.0,
                        from..letters.len(),
                        None,
                    ));
                }
                let at = Point::from_xy(start.tx, start.ty);
                // The halo lies under its letters.
                if let Some(halo) = span.stroke.as_ref().and_then(stroke) {
                    self.surface.set_fill(None);
                    self.surface.set_stroke(Some(halo));
                    self.surface.draw_glyphs(at, &glyphs, font.clone(), &letters, size, true);
                }
                self.surface.set_stroke(None);
                self.surface.set_fill(span.fill.as_ref().and_then(fill));
                self.surface.draw_glyphs(at, &glyphs, font, &letters, size, false);
            }
        }
    }

    fn transform(t: usvg::Transform) -> Transform {
        Transform::from_row(t.sx, t.ky, t.kx, t.sy, t.tx, t.ty)
    }

    /// A clip path of one shape, which is all that the core writes.
    fn clip(clip: &usvg::ClipPath) -> Option<(Path, FillRule)> {
        let usvg::Node::Path(path) = clip.root().children().first()? else { return None };
        Some((shape(path.data())?, FillRule::NonZero))
    }

    fn shape(data: &resvg::tiny_skia::Path) -> Option<Path> {
        let mut path = PathBuilder::new();
        for segment in data.segments() {
            match segment {
                PathSegment::MoveTo(p) => path.move_to(p.x, p.y),
                PathSegment::LineTo(p) => path.line_to(p.x, p.y),
                PathSegment::QuadTo(a, p) => path.quad_to(a.x, a.y, p.x, p.y),
                PathSegment::CubicTo(a, b, p) => path.cubic_to(a.x, a.y, b.x, b.y, p.x, p.y),
                PathSegment::Close => path.close(),
            }
        }
        path.finish()
    }

    fn colour(paint: &usvg::Paint) -> Option<rgb::Color> {
        match paint {
            usvg::Paint::Color(c) => Some(rgb::Color::new(c.red, c.green, c.blue)),
            _ => None,
        }
    }

    fn opacity(opacity: usvg::Opacity) -> NormalizedF32 {
        NormalizedF32::new(opacity.get()).unwrap_or(NormalizedF32::ONE)
    }

    fn fill(fill: &usvg::Fill) -> Option<Fill> {
        let rule = match fill.rule() {
            usvg::FillRule::NonZero => FillRule::NonZero,
            usvg::FillRule::EvenOdd => FillRule::EvenOdd,
        };
        Some(Fill { paint: colour(fill.paint())?.into(), opacity: opacity(fill.opacity()), rule })
    }

    fn stroke(stroke: &usvg::Stroke) -> Option<Stroke> {
        Some(Stroke {
            paint: colour(stroke.paint())?.into(),
            width: stroke.width().get(),
            miter_limit: stroke.miterlimit().get(),
            line_cap: match stroke.linecap() {
                usvg::LineCap::Butt => LineCap::Butt,
                usvg::LineCap::Round => LineCap::Round,
                usvg::LineCap::Square => LineCap::Square,
            },
            line_join: match stroke.linejoin() {
                usvg::LineJoin::Round => LineJoin::Round,
                usvg::LineJoin::Bevel => LineJoin::Bevel,
                usvg::LineJoin::Miter | usvg::LineJoin::MiterClip => LineJoin::Miter,
            },
            opacity: opacity(stroke.opacity()),
            dash: stroke.dasharray().map(|array| StrokeDash { array: array.to_vec(), offset: stroke.dashoffset() }),
        })
    }
}
