//! The generated TypeScript, put in order: wasm-bindgen writes down every type that the engine declares, whether a function of this module
//! speaks of it or not, and two types of one name would silently become one.

use std::collections::{BTreeMap, BTreeSet};

/// A declaration at the top level, with the comment above it.
struct Declared<'a> {
    text: &'a str,
    name: Option<&'a str>,
    /// An interface or an alias, which is of no use where nothing speaks of it.
    only_a_type: bool,
}

/// The types without the declarations that neither a function, nor a class, nor one of `by_hand` (declarations that stand beside them) needs.
///
/// # Errors
/// Two declarations of one name.
pub(crate) fn tidied(types: &str, by_hand: &[String]) -> Result<String, String> {
    let all = declarations(types);
    let mut named = BTreeMap::new();
    for (n, declared) in all.iter().enumerate() {
        let Some(name) = declared.name else { continue };
        if named.insert(name, n).is_some() {
            return Err(format!("TypeScript would take two things named {name} for one: give one another name"));
        }
    }
    let mut wanted: BTreeSet<usize> = (0..all.len()).filter(|&n| !all[n].only_a_type).collect();
    let mut open: Vec<usize> = wanted.iter().copied().collect();
    let spoken = by_hand.iter().flat_map(|text| words(text));
    open.extend(spoken.filter_map(|word| named.get(word).copied()).filter(|&n| wanted.insert(n)));
    while let Some(n) = open.pop() {
        open.extend(words(all[n].text).filter_map(|word| named.get(word).copied()).filter(|&n| wanted.insert(n)));
    }
    Ok(wanted.into_iter().map(|n| all[n].text).collect())
}

fn declarations(types: &str) -> Vec<Declared<'_>> {
    let (mut all, mut from, mut at, mut in_comment) = (Vec::new(), 0, 0, false);
    for line in types.split_inclusive('\n') {
        at += line.len();
        let line = line.trim_end();
        in_comment = (in_comment || line.starts_with("/*")) && !line.ends_with("*/");
        // The end of a declaration stands at the margin; so does a declaration of one line.
        let ends = !line.starts_with([' ', '/', '*']) && line.ends_with(['}', ';']);
        if ends && !in_comment {
            all.push(declared(&types[from..at]));
            from = at;
        }
    }
    if from < types.len() {
        all.push(Declared { text: &types[from..], name: None, only_a_type: false });
    }
    all
}

fn declared(text: &str) -> Declared<'_> {
    let mut code = code(text).flat_map(str::split_whitespace).skip_while(|word| ["export", "default"].contains(word));
    let kind = code.next().unwrap_or("");
    let name = code.next().map(|word| word.split(|c: char| !letter(c)).next().unwrap_or(""));
    Declared { text, name: name.filter(|n| !n.is_empty()), only_a_type: ["interface", "type"].contains(&kind) }
}

/// The lines that are no comment.
fn code(text: &str) -> impl Iterator<Item = &str> {
    text.lines().filter(|line| !line.trim_start().starts_with(['/', '*']))
}

fn words(text: &str) -> impl Iterator<Item = &str> {
    code(text).flat_map(|line| line.split(|c: char| !letter(c)))
}

fn letter(c: char) -> bool {
    c.is_alphanumeric() || c == '_' || c == '$'
}

#[cfg(test)]
mod tests {
    use super::tidied;

    const TYPES: &str = "/* lint */\n/**\n * Used; `Unused` is not.\n */\nexport interface Used {\n    /**\n     * Of another.\n     */\n    of: Other;\n}\n\nexport type Other = \"a\" | \"b\";\n\nexport interface Unused {\n    of: Used;\n}\n\nexport type Told = number;\n\nexport class Thing {\n    free(): void;\n    used(): Used;\n}\n\nexport default function init (): void;\n";

    #[test]
    fn what_nothing_speaks_of_goes() {
        let tidy = tidied(TYPES, &["import type { Told } from './x.js';".to_owned()]).expect("names differ");
        assert_eq!(tidy, TYPES.replace("\nexport interface Unused {\n    of: Used;\n}\n", ""));
        assert!(!tidied(TYPES, &[]).expect("names differ").contains("Told"));
    }

    #[test]
    fn two_of_one_name_are_refused() {
        for twice in ["export interface Thing {\n    a: number;\n}\n", "export type Used = 1;\n"] {
            let refused = tidied(&format!("{TYPES}{twice}"), &[]).expect_err("a name stands twice");
            assert!(refused.contains("Thing") || refused.contains("Used"), "{refused}");
        }
    }
}
