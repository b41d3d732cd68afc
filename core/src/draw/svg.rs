//! A small writer of well-formed SVG: escaped text, fixed decimals, and every element closed.

/// Writes one SVG document.
#[derive(Debug, Default)]
pub(super) struct Svg {
    text: String,
    open: Vec<&'static str>,
}

impl Svg {
    /// Begins an element; finish it with [`Element::end`], [`Element::open`] or [`Element::text`].
    pub(super) fn tag(&mut self, name: &'static str) -> Element<'_> {
        self.text.push('<');
        self.text.push_str(name);
        Element { svg: self, name }
    }

    /// Closes the element opened last.
    pub(super) fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            self.text.push_str("</");
            self.text.push_str(name);
            self.text.push_str(">\n");
        }
    }

    /// The document, every open element closed.
    pub(super) fn finish(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        self.text
    }
}

/// An element whose attributes are being written.
#[must_use = "an element must be ended, opened or given its text"]
pub(super) struct Element<'a> {
    svg: &'a mut Svg,
    name: &'static str,
}

impl Element<'_> {
    /// An attribute with any text.
    pub(super) fn attr(self, name: &str, value: &str) -> Self {
        self.svg.text.push(' ');
        self.svg.text.push_str(name);
        self.svg.text.push_str("=\"");
        escape(value, &mut self.svg.text);
        self.svg.text.push('"');
        self
    }

    /// An attribute that is a length or a place on the sheet.
    pub(super) fn num(self, name: &str, value: f64) -> Self {
        self.attr(name, &coordinate(value))
    }

    /// Several such attributes.
    pub(super) fn nums(mut self, pairs: &[(&str, f64)]) -> Self {
        for (name, value) in pairs {
            self = self.num(name, *value);
        }
        self
    }

    /// Ends the element without content.
    pub(super) fn end(self) {
        self.svg.text.push_str("/>\n");
    }

    /// Leaves the element open: what follows is inside it until [`Svg::close`].
    pub(super) fn open(self) {
        self.svg.text.push_str(">\n");
        self.svg.open.push(self.name);
    }

    /// Ends the element with text in it.
    pub(super) fn text(self, text: &str) {
        self.svg.text.push('>');
        escape(text, &mut self.svg.text);
        self.svg.text.push_str("</");
        self.svg.text.push_str(self.name);
        self.svg.text.push_str(">\n");
    }
}

/// Path data through `points`, closed or not.
pub(super) fn path_data(points: &[[f64; 2]], closed: bool, out: &mut String) {
    for (i, [x, y]) in points.iter().enumerate() {
        out.push(if i == 0 { 'M' } else { 'L' });
        out.push_str(&coordinate(*x));
        out.push(' ');
        out.push_str(&coordinate(*y));
    }
    if closed && !points.is_empty() {
        out.push('Z');
    }
}

/// A place on the sheet with two decimals, never "-0.00"; what is not finite is written as 0 so that the document stays valid.
pub(super) fn coordinate(value: f64) -> String {
    if !value.is_finite() {
        return "0.00".to_owned();
    }
    let text = format!("{:.2}", crate::number::Shown(value));
    if text == "-0.00" { "0.00".to_owned() } else { text }
}

/// XML 1.0 section 2.4 names the characters to escape; section 2.2 those that may not stand in a document at all.
fn escape(text: &str, out: &mut String) {
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if c < ' ' || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_attributes_are_escaped() {
        let mut svg = Svg::default();
        svg.tag("g").attr("id", "a\"b<c").open();
        svg.tag("text").num("x", -0.001).text("R&D <1>\u{1}");
        let text = svg.finish();
        assert_eq!(text, "<g id=\"a&quot;b&lt;c\">\n<text x=\"0.00\">R&amp;D &lt;1&gt;\u{fffd}</text>\n</g>\n");
    }

    #[test]
    fn what_is_not_finite_does_not_spoil_the_document() {
        assert_eq!(coordinate(f64::NAN), "0.00");
        assert_eq!(coordinate(f64::NEG_INFINITY), "0.00");
        assert_eq!(coordinate(1234.567), "1234.57");
    }
}
