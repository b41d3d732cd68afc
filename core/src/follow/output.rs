//! The text that goes out: lines that stay, lines said anew, the marker before the first of these, N words and
//! checksums.

use super::compose::{Source, Value, seal};
use super::ledger::Decimal;
use super::options::Options;
use crate::number::Shown;
use crate::toolpath::words::Word;
use crate::{Error, ErrorKind, HeightMap};

/// What a marker comment begins with.
const MARKER: &[u8] = b"; evengap ";

/// See the module.
#[derive(Debug, Clone)]
pub(crate) struct Output {
    /// The marker, without its `; `.
    pub(crate) marker: String,
    pub(crate) marked: bool,
    /// The line in hand begins with a byte order mark.
    pub(crate) bom: bool,
    ending: [u8; 2],
    ending_length: usize,
    /// Nothing goes out any more: the toolpath is refused, and only the reason is still being gathered.
    pub(crate) muted: bool,
    /// Lines put in since N words last began.
    pub(crate) put_in: i64,
    /// Lines written that were not in the original.
    pub(crate) lines_more: u64,
    /// Lines whose bytes changed.
    pub(crate) lines_changed: u64,
    /// The letter of a word that would have to be written farther than a word may go.
    pub(crate) too_far: Option<u8>,
    text: Vec<u8>,
}

impl Output {
    pub(crate) fn new(map: &HeightMap, options: &Options, taper: Option<[f64; 2]>) -> Self {
        let taper = match taper {
            Some([from, to]) => format!("{}..{}", Shown(from), Shown(to)),
            None => "none".to_string(),
        };
        let surface = match map.kind() {
            crate::SurfaceKind::ThinPlate => "thin-plate",
            crate::SurfaceKind::Bilinear => "bilinear",
        };
        let marker = format!(
            "evengap {} card={} surface={surface} taper={taper} tolerance={} flow={} floor={} shift={}",
            env!("CARGO_PKG_VERSION"),
            map.card().digest(),
            Shown(options.tolerance),
            if options.flow { "on" } else { "off" },
            Shown(options.floor),
            Shown(options.shift)
        );
        Output {
            marker,
            marked: false,
            bom: false,
            ending: *b"\n\0",
            ending_length: 1,
            muted: false,
            put_in: 0,
            lines_more: 0,
            lines_changed: 0,
            too_far: None,
            text: Vec::new(),
        }
    }

    /// Remembers how the toolpath ends its lines.
    #[inline]
    pub(crate) fn learn_ending(&mut self, ending: &[u8]) {
        if !ending.is_empty() && ending.len() <= 2 {
            self.ending[..ending.len()].copy_from_slice(ending);
            self.ending_length = ending.len();
        }
    }

    /// A buffer for a line; give it back with [`Output::changed`].
    #[inline]
    pub(crate) fn text(&mut self) -> Vec<u8> {
        let mut text = core::mem::take(&mut self.text);
        text.clear();
        text
    }

    /// The buffer that [`Output::text`] gave is not needed any more.
    #[inline]
    pub(crate) fn give_back(&mut self, text: Vec<u8>) {
        self.text = text;
    }

    #[inline]
    pub(crate) fn copy(&self, bytes: &[u8], out: &mut Vec<u8>) {
        if !self.muted {
            out.extend_from_slice(bytes);
        }
    }

    /// A line that stays as it is, but for its N word and checksum where lines were put in before it.
    #[inline]
    pub(crate) fn unchanged(&mut self, source: Source<'_>, ending: &[u8], out: &mut Vec<u8>) {
        if self.put_in == 0 || source.line.checksum.is_none() {
            self.copy(source.bytes, out);
            self.copy(ending, out);
            return;
        }
        let mut text = self.text();
        self.first_piece(source, &[], None, &mut text);
        text.extend_from_slice(ending);
        self.changed(text, out);
    }

    /// The line itself with `edits`, its N word and checksum made right.
    #[inline]
    pub(crate) fn first_piece(
        &mut self,
        source: Source<'_>,
        edits: &[(u8, Value)],
        drop: Option<u8>,
        text: &mut Vec<u8>,
    ) {
        self.watch(edits);
        let Some((star, _)) = source.line.checksum else {
            source.first(edits, drop, text);
            return;
        };
        let from = text.len();
        match source.line.get(b'N') {
            Some(n) if self.put_in != 0 => {
                let mut all = edits.to_vec();
                all.push((b'N', Value::New(self.count(source, n))));
                source.first(&all, drop, text);
            }
            _ => source.first(edits, drop, text),
        }
        seal(text, from, &source.bytes[star..]);
    }

    /// A line for a later piece of the move, put in after what the text holds.
    #[inline]
    pub(crate) fn later_piece(&mut self, source: Source<'_>, edits: &[(u8, Value)], text: &mut Vec<u8>) {
        self.watch(edits);
        text.extend_from_slice(self.end_of_line());
        let from = self.put_in_line(source, true, text);
        source.later(edits, text);
        seal_from(from, text);
    }

    /// Nothing is written that could not be read again.
    fn watch(&mut self, edits: &[(u8, Value)]) {
        let far = |(_, value): &&(u8, Value)| matches!(value, Value::New(d) if d.is_too_far());
        if let Some((letter, _)) = edits.iter().find(far) {
            self.too_far = Some(*letter);
        }
    }

    /// The line with these words said anew.
    #[inline]
    pub(crate) fn said_anew(&mut self, source: Source<'_>, edits: &[(u8, Decimal)], ending: &[u8], out: &mut Vec<u8>) {
        let mut text = self.text();
        let edits: Vec<_> = edits.iter().map(|(l, d)| (*l, Value::New(*d))).collect();
        self.first_piece(source, &edits, None, &mut text);
        text.extend_from_slice(ending);
        self.changed(text, out);
    }

    /// A line `G92 E...` before the line in hand, if there is a value.
    #[inline]
    pub(crate) fn set_e_before(&mut self, source: Source<'_>, value: Option<Decimal>, text: &mut Vec<u8>) {
        if let Some(value) = value {
            self.watch(&[(b'E', Value::New(value))]);
            let from = self.put_in_line(source, false, text);
            text.extend_from_slice(b"G92 E");
            value.write(text);
            seal_from(from, text);
            text.extend_from_slice(self.end_of_line());
        }
    }

    #[inline]
    fn count(&self, source: Source<'_>, n: &Word) -> Decimal {
        source.digits(n).minus(Decimal { units: -i128::from(self.put_in), decimals: 0 })
    }

    /// Begins a line that is put in after the line in hand, or before it: with an N word if that has a checksum (an N word alone is not
    /// counted on), and then from where on to seal it once it says what it should.
    #[inline]
    fn put_in_line(&mut self, source: Source<'_>, after: bool, text: &mut Vec<u8>) -> Option<usize> {
        self.lines_more += 1;
        source.line.checksum?;
        let from = text.len();
        if let Some(n) = source.line.get(b'N') {
            self.put_in += i64::from(after);
            text.push(source.bytes[n.start]);
            self.count(source, n).write(text);
            text.push(b' ');
            self.put_in += i64::from(!after);
        }
        Some(from)
    }

    /// Writes text that differs from the original's, after the marker.
    #[inline]
    pub(crate) fn changed(&mut self, text: Vec<u8>, out: &mut Vec<u8>) {
        self.lines_changed += 1;
        if self.muted {
            self.text = text;
            return;
        }
        let mut rest = &text[..];
        if !self.marked {
            self.marked = true;
            if self.bom {
                let (bom, line) = rest.split_at(3);
                out.extend_from_slice(bom);
                rest = line;
            }
            out.extend_from_slice(b"; ");
            out.extend_from_slice(self.marker.as_bytes());
            out.extend_from_slice(&self.ending[..self.ending_length]);
            self.lines_more += 1;
        }
        out.extend_from_slice(rest);
        self.text = text;
    }

    #[inline]
    pub(crate) fn end_of_line(&self) -> &[u8] {
        &self.ending[..self.ending_length]
    }

    /// The refusal of a comment line that is the marker of an earlier rewriting.
    pub(crate) fn already_rewritten(&self, bytes: &[u8]) -> Option<Error> {
        if !bytes.trim_ascii_start().starts_with(MARKER) {
            return None;
        }
        let text = String::from_utf8_lossy(&bytes[..bytes.len().min(200)]);
        let [card, ours] = [&text, &*self.marker]
            .map(|marker| marker.split_whitespace().find_map(|w| w.strip_prefix("card=")).unwrap_or("?"));
        let same = if card == ours { ", this very one" } else { "" };
        Some(
            Error::new(ErrorKind::Refused, format!("the file was already rewritten, with card {card}{same}"))
                .with_help("rewrite the original file, or allow `already-rewritten`"),
        )
    }
}

/// Ends a line that was put in.
#[inline]
fn seal_from(from: Option<usize>, text: &mut Vec<u8>) {
    if let Some(from) = from {
        seal(text, from, &[]);
    }
}
