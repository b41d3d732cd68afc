//! Bytes to lines, push-style: chunks of any size go in, whole lines come out, in constant memory.
//!
//! A line ends with LF, CR LF or a lone CR (machines take either byte as the end of a line). The last line may lack
//! its ending. A line longer than the limit is handed over in parts, so that a line of any length needs no more
//! memory than the limit.

/// The longest line held in memory, in bytes, unless the caller sets another: 1 MiB.
pub const LINE_LIMIT: usize = 1 << 20;

/// Lines are taken ahead where this many bytes of one are held: such lines are shorter.
const AHEAD: usize = super::plain::LONGEST;

/// What [`Lines::push`] hands to its sink.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Piece<'a> {
    /// A whole line: its bytes without the ending, and the ending (empty for a last line without one).
    Line(&'a [u8], &'a [u8]),
    /// The first bytes of a line that is longer than the limit.
    LongStart(&'a [u8]),
    /// More of that line.
    LongMore(&'a [u8]),
    /// Its ending.
    LongEnd(&'a [u8]),
}

/// Who takes lines, and may take some of them by itself before they are cut.
pub(crate) trait Takes<E> {
    /// `rest` begins a line: how many bytes of whole lines at its start were taken already. None, unless it is said.
    #[inline]
    fn ahead(&mut self, _rest: &[u8]) -> usize {
        0
    }

    /// Takes what was cut.
    fn take(&mut self, piece: Piece<'_>) -> Result<(), E>;
}

impl<E, F: FnMut(Piece<'_>) -> Result<(), E>> Takes<E> for F {
    #[inline]
    fn take(&mut self, piece: Piece<'_>) -> Result<(), E> {
        self(piece)
    }
}

/// Cuts a byte stream into lines.
#[derive(Debug, Clone)]
pub struct Lines {
    carry: Vec<u8>,
    limit: usize,
    long: bool,
}

impl Default for Lines {
    fn default() -> Self {
        Lines::with_limit(LINE_LIMIT)
    }
}

impl Lines {
    /// Lines of at most `limit` bytes (at least 16) are held whole.
    #[must_use]
    #[inline]
    pub fn with_limit(limit: usize) -> Self {
        Lines { carry: Vec::new(), limit: limit.max(16), long: false }
    }

    /// Takes the next chunk and hands every line that it completes to `sink`.
    ///
    /// # Errors
    /// Whatever `sink` returns; the rest of the chunk is then dropped.
    #[inline]
    pub fn push<E>(&mut self, chunk: &[u8], mut sink: impl FnMut(Piece<'_>) -> Result<(), E>) -> Result<(), E> {
        self.push_to(chunk, &mut sink)
    }

    /// As [`push`](Lines::push), for who takes lines ahead.
    #[inline]
    pub(crate) fn push_to<E>(&mut self, mut chunk: &[u8], sink: &mut impl Takes<E>) -> Result<(), E> {
        // What an earlier chunk left unfinished comes first.
        while self.long || !self.carry.is_empty() {
            if chunk.is_empty() {
                return Ok(());
            }
            if self.carry.last() == Some(&b'\r') {
                // A CR ended the last chunk: only now is it known whether an LF belongs to it.
                if chunk[0] == b'\n' {
                    self.carry.push(b'\n');
                    chunk = &chunk[1..];
                }
                self.end_carry(sink)?;
                continue;
            }
            let Some(end) = memchr::memchr2(b'\n', b'\r', chunk) else {
                return self.keep(chunk, sink);
            };
            let stop = if chunk[end] == b'\r' && chunk.get(end + 1) == Some(&b'\n') { end + 2 } else { end + 1 };
            self.carry.extend_from_slice(&chunk[..stop]);
            let waits = stop == end + 1 && stop == chunk.len() && chunk[end] == b'\r';
            chunk = &chunk[stop..];
            if waits {
                return Ok(());
            }
            self.end_carry(sink)?;
        }
        // Whole lines straight from the chunk, without copying.
        loop {
            if self.limit >= AHEAD {
                chunk = &chunk[sink.ahead(chunk)..];
            }
            let Some(end) = memchr::memchr2(b'\n', b'\r', chunk) else {
                return self.keep(chunk, sink);
            };
            let stop = if chunk[end] == b'\r' {
                match chunk.get(end + 1) {
                    Some(b'\n') => end + 2,
                    Some(_) => end + 1,
                    None => return self.keep(chunk, sink),
                }
            } else {
                end + 1
            };
            whole(self.limit, &chunk[..end], &chunk[end..stop], sink)?;
            chunk = &chunk[stop..];
        }
    }

    /// The stream has ended: hands over what is left.
    ///
    /// # Errors
    /// Whatever `sink` returns.
    #[inline]
    pub fn finish<E>(&mut self, mut sink: impl FnMut(Piece<'_>) -> Result<(), E>) -> Result<(), E> {
        if self.long || !self.carry.is_empty() { self.end_carry(&mut sink) } else { Ok(()) }
    }

    #[inline]
    fn keep<E>(&mut self, rest: &[u8], sink: &mut impl Takes<E>) -> Result<(), E> {
        // A final CR stays back: it may be half of a CR LF.
        let body = rest.strip_suffix(b"\r").unwrap_or(rest);
        if self.long {
            sink.take(Piece::LongMore(body))?;
        } else if self.carry.len() + body.len() <= self.limit {
            self.carry.extend_from_slice(body);
        } else {
            let room = self.limit - self.carry.len();
            self.carry.extend_from_slice(&body[..room]);
            sink.take(Piece::LongStart(&self.carry))?;
            sink.take(Piece::LongMore(&body[room..]))?;
            self.carry.clear();
            self.long = true;
        }
        if body.len() < rest.len() {
            self.carry.push(b'\r');
        }
        Ok(())
    }

    #[inline]
    fn end_carry<E>(&mut self, sink: &mut impl Takes<E>) -> Result<(), E> {
        let ending = if self.carry.ends_with(b"\r\n") {
            2
        } else {
            usize::from(matches!(self.carry.last(), Some(b'\n' | b'\r')))
        };
        let (body, ending) = self.carry.split_at(self.carry.len() - ending);
        if self.long {
            if !body.is_empty() {
                sink.take(Piece::LongMore(body))?;
            }
            sink.take(Piece::LongEnd(ending))?;
            self.long = false;
        } else {
            whole(self.limit, body, ending, sink)?;
        }
        self.carry.clear();
        Ok(())
    }
}

/// A line that is there whole; what it is handed over as must not depend on how it came.
#[inline]
fn whole<E>(limit: usize, body: &[u8], ending: &[u8], sink: &mut impl Takes<E>) -> Result<(), E> {
    if body.len() <= limit {
        return sink.take(Piece::Line(body, ending));
    }
    let (start, more) = body.split_at(limit);
    sink.take(Piece::LongStart(start))?;
    sink.take(Piece::LongMore(more))?;
    sink.take(Piece::LongEnd(ending))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    type Cut = Vec<(Vec<u8>, Vec<u8>)>;

    /// The lines, and the starts of those that were too long.
    fn cut(text: &[u8], sizes: &[usize], limit: usize) -> (Cut, Vec<Vec<u8>>) {
        let mut lines = Lines::with_limit(limit);
        let mut out: Cut = Vec::new();
        let mut held = Vec::new();
        let mut long: Option<Vec<u8>> = None;
        let mut sink = |p: Piece<'_>| -> Result<(), ()> {
            match p {
                Piece::Line(b, e) => {
                    assert!(long.is_none());
                    out.push((b.to_vec(), e.to_vec()));
                }
                Piece::LongStart(b) => {
                    held.push(b.to_vec());
                    assert!(long.replace(b.to_vec()).is_none());
                }
                Piece::LongMore(b) => long.as_mut().unwrap().extend_from_slice(b),
                Piece::LongEnd(e) => out.push((long.take().unwrap(), e.to_vec())),
            }
            Ok(())
        };
        let mut at = 0;
        for size in sizes.iter().cycle() {
            if at == text.len() {
                break;
            }
            let end = (at + size.max(&1)).min(text.len());
            lines.push(&text[at..end], &mut sink).unwrap();
            at = end;
        }
        lines.finish(&mut sink).unwrap();
        (out, held)
    }

    fn slow(text: &[u8]) -> Vec<(Vec<u8>, Vec<u8>)> {
        let mut out = Vec::new();
        let mut body = Vec::new();
        let mut i = 0;
        while i < text.len() {
            match text[i] {
                b'\n' => out.push((std::mem::take(&mut body), b"\n".to_vec())),
                b'\r' if text.get(i + 1) == Some(&b'\n') => {
                    out.push((std::mem::take(&mut body), b"\r\n".to_vec()));
                    i += 1;
                }
                b'\r' => out.push((std::mem::take(&mut body), b"\r".to_vec())),
                b => body.push(b),
            }
            i += 1;
        }
        if !body.is_empty() {
            out.push((body, Vec::new()));
        }
        out
    }

    proptest! {
        #[test]
        fn any_cut_gives_the_same_lines(
            text in proptest::collection::vec(prop_oneof![2 => Just(b'\n'), 1 => Just(b'\r'), 20 => Just(b'a'), 20 => Just(b'b')], 0..200),
            sizes in proptest::collection::vec(1usize..60, 1..5),
        ) {
            prop_assert_eq!(cut(&text, &sizes, 1000).0, slow(&text));
            let (long, held) = cut(&text, &sizes, 16);
            prop_assert_eq!(long, slow(&text));
            // Lines of more than the limit come in parts, and only they, however the text is cut.
            let want: Vec<_> = slow(&text).iter().filter(|l| l.0.len() > 16).map(|l| l.0[..16].to_vec()).collect();
            prop_assert_eq!(held, want);
        }
    }
}
