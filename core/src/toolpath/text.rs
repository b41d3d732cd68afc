//! Lines that are not made of words: noise, or text in which motion may hide.
//!
//! Such a line passes. But a machine that does not look at the start of a line before it acts on a word in it might
//! move: where a G word stands in the text with axis words behind it, or directly behind bytes that are no letters,
//! the line is refused.

use super::number::scan;

/// The index behind the comment that opens at `open`; brackets may nest.
#[inline]
pub(crate) fn skip_comment(bytes: &[u8], open: usize) -> usize {
    let mut depth = 0usize;
    for (i, b) in bytes.iter().enumerate().skip(open) {
        match b {
            b'(' => depth += 1,
            b')' => {
                depth -= 1;
                if depth == 0 {
                    return i + 1;
                }
            }
            _ => {}
        }
    }
    bytes.len()
}

/// Whether a line is noise: a third or more of it, comments aside, are bytes that no text holds (control bytes and what
/// is not UTF-8), or one in twenty of the whole line are control bytes. (Of random bytes half are of the first kind and
/// one in ten of the second; a line damaged in a place or two is not noise, nor is a comment in another encoding.)
/// NUL bytes do not count either way, for they may stand before and between the letters of a command.
#[inline]
pub(crate) fn is_noise(bytes: &[u8]) -> bool {
    let controls = bytes.iter().filter(is_control).count();
    if controls >= 3 && controls * 20 >= bytes.len() {
        return true;
    }
    let (all, noise) = count(bytes);
    noise >= 4 && noise * 3 >= all
}

/// Whether any byte, comments aside, is of the kind that no text holds.
#[inline]
pub(crate) fn has_noise(bytes: &[u8]) -> bool {
    count(bytes).1 > 0
}

#[inline]
fn is_control(b: &&u8) -> bool {
    b.is_ascii_control() && !b.is_ascii_whitespace() && **b != 0
}

/// Bytes outside comments, NUL aside, and how many of them no text holds.
#[inline]
fn count(bytes: &[u8]) -> (usize, usize) {
    let (mut all, mut noise) = (0, 0);
    let mut i = 0;
    while i < bytes.len() && bytes[i] != b';' {
        if bytes[i] == b'(' {
            i = skip_comment(bytes, i);
            continue;
        }
        let end = bytes[i..].iter().position(|b| matches!(b, b';' | b'(')).map_or(bytes.len(), |n| i + n);
        for chunk in bytes[i..end].utf8_chunks() {
            let valid = chunk.valid().as_bytes();
            all += valid.iter().filter(|b| **b != 0).count() + chunk.invalid().len();
            noise += valid.iter().filter(is_control).count() + chunk.invalid().len();
        }
        i = end;
    }
    (all, noise)
}

/// Motion that hides in a text line: where its word stands, and the axes named behind it (bit n: axis n of
/// [`AXES`](super::AXES)).
#[inline]
pub(crate) fn hidden_motion(bytes: &[u8]) -> Option<(usize, u16)> {
    if memchr::memchr(0, bytes).is_some() {
        // Read as a machine reads it that skips NUL bytes.
        let (at, rest): (Vec<usize>, Vec<u8>) = bytes.iter().enumerate().filter(|(_, b)| **b != 0).unzip();
        return hidden_motion(&rest).map(|(n, mask)| (at[n], mask));
    }
    let mut word = None;
    let mut mask = 0;
    let mut pushes = false;
    let mut bare = true;
    let mut i = if bytes.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 };
    while let Some(b) = bytes.get(i) {
        match b {
            b';' => break,
            b'(' => {
                i = skip_comment(bytes, i);
                continue;
            }
            _ => {}
        }
        if !b.is_ascii_alphabetic() {
            i += 1;
            continue;
        }
        let alone = i == 0 || !(bytes[i - 1].is_ascii_alphanumeric() || b"_-=.,/\\'\"[{".contains(&bytes[i - 1]));
        let number = number_behind(bytes, i + 1);
        let glued = bytes.get(i + 1).is_some_and(|b| b.is_ascii_alphanumeric() || *b == b'_');
        match b.to_ascii_uppercase() {
            b'G' if (alone || bare) && number.is_some() => {
                word = word.or(Some(i));
                if bare {
                    // Whatever it says, the machine might heed it.
                    mask |= axes_behind(bytes, i);
                    return Some((i, mask));
                }
            }
            // The line begins with a letter that has no number.
            b'G' | b'X' | b'Y' | b'Z' if bare && !glued => word = word.or(Some(i)),
            letter if word.is_some() && number.is_some() && (alone || bytes[i - 1].is_ascii_digit()) => {
                match super::AXES.iter().position(|l| *l == letter) {
                    Some(n) => mask |= 1 << n,
                    None => pushes |= letter == b'E',
                }
            }
            _ => {}
        }
        bare = false;
        i = number.unwrap_or(i + 1);
    }
    word.filter(|_| mask != 0 || pushes).map(|at| (at, mask))
}

/// The end of a number that stands at `i`, white space before it or not.
#[inline]
fn number_behind(bytes: &[u8], i: usize) -> Option<usize> {
    let from = i + bytes.get(i..)?.iter().take_while(|b| matches!(b, b' ' | b'\t')).count();
    let end = from + scan(&bytes[from..])?.1;
    bytes.get(end).is_none_or(|b| !(*b == b'_' || *b == b'-')).then_some(end)
}

#[inline]
fn axes_behind(bytes: &[u8], from: usize) -> u16 {
    let code = bytes[from..].split(|b| *b == b';').next().unwrap_or(&[]);
    let named = |letter: &u8| code.iter().any(|b| b.to_ascii_uppercase() == *letter);
    super::AXES.iter().enumerate().filter(|(_, l)| named(l)).fold(0, |mask, (n, _)| mask | (1 << n))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_motion_in_text() {
        let cases: [(&str, Option<(usize, u16)>); 22] = [
            ("see G1 X10 Y20", Some((4, 3))),
            (":10 G1 X5", Some((4, 1))),
            (":10G28", Some((3, 0))),
            ("\u{b0}G1 Z5", Some((2, 4))),
            ("% G0 X5", Some((2, 1))),
            ("G X5", Some((0, 1))),
            ("G\x001\x00 \x00X\x005\x00", Some((0, 1))),
            ("x of the whole", None),
            ("z height: Z0.2", Some((0, 4))),
            ("G-code for part X1 of 3", Some((0, 1))),
            ("generator G1 E5", Some((10, 0))),
            ("use G28 first", None),
            ("THING_END NAME=part_G1 X=5", None),
            ("RUN CMD=\"G1 X5\"", None),
            ("OUTLINE POLYGON=[[1,2],[3,4]] SET={\"G1\": 5}", None),
            ("text ; G1 X5", None),
            ("text (G1 X5)", None),
            (": 56.0 </value>)", None),
            ("<<<<<<< HEAD", None),
            ("part-G1 X5", None),
            ("", None),
            ("G1_left X5", None),
        ];
        for (text, want) in cases {
            assert_eq!(hidden_motion(text.as_bytes()), want, "{text:?}");
        }
    }

    #[test]
    fn tells_noise_from_text_and_from_damage() {
        assert!(is_noise(b"\x80\x01\xfe\x02X5"));
        assert!(!is_noise(b"G1 X5 \xb0\xb0"));
        assert!(!is_noise("G1 X5 \u{b0}\u{b0}\u{b0}\u{b0}".as_bytes()));
        assert!(!is_noise(b"\0\0\0\0\0\0\0\0G1 X5"));
        assert!(!is_noise(b"G1 ;\x80\x81\x82\x83\x84\x85"));
    }
}
