//! Words into lines.

/// Breaks `words` at blanks so that no line is longer than `width` letters, unless one word is; `between` goes between the lines.
pub(crate) fn wrapped(words: &str, width: usize, between: &str) -> String {
    let (mut text, mut length) = (String::new(), 0);
    for word in words.split(' ') {
        let letters = word.chars().count();
        if length > 0 && length + 1 + letters > width {
            text.push_str(between);
            length = 0;
        } else if length > 0 {
            text.push(' ');
            length += 1;
        }
        text.push_str(word);
        length += letters;
    }
    text
}
