//! Every public item of the library is shown in an example, its own or another item's: functions are called, types are named or in hand, as
//! what a function gives or a field holds. Constants say their value and unit; there is nothing to show.
//!
//! Read from the sources: `rustc` warns of items that are `pub` and cannot be reached, so that what is `pub` is public.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use syn::visit::{self, Visit};

/// What is public, and what the docs show of it.
#[derive(Default)]
struct Library {
    /// `name` of a function, `Type::name` of a method: the types that it speaks of in its result.
    functions: BTreeMap<String, BTreeSet<String>>,
    /// Types: those of their public fields.
    types: BTreeMap<String, BTreeSet<String>>,
    /// The code of all examples.
    shown: String,
    /// The type whose methods are being read.
    of: Option<String>,
}

/// All names of types within a type.
#[derive(Default)]
struct Names(BTreeSet<String>);

impl<'a> Visit<'a> for Names {
    fn visit_path_segment(&mut self, segment: &'a syn::PathSegment) {
        self.0.insert(segment.ident.to_string());
        visit::visit_path_segment(self, segment);
    }
}

fn names<'a>(types: impl IntoIterator<Item = &'a syn::Type>) -> BTreeSet<String> {
    let mut out = Names::default();
    types.into_iter().for_each(|ty| out.visit_type(ty));
    out.0
}

fn is_public(visibility: &syn::Visibility) -> bool {
    matches!(visibility, syn::Visibility::Public(_))
}

fn is_for_tests(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|a| a.path().is_ident("cfg") && a.parse_args::<syn::Path>().is_ok_and(|p| p.is_ident("test")))
}

/// The Rust code within the docs' fences.
fn examples(docs: &str) -> String {
    let mut out = String::new();
    let mut inside = None;
    for line in docs.lines().map(str::trim) {
        match (line.strip_prefix("```"), inside) {
            (Some(_), Some(_)) => inside = None,
            (Some(language), None) => inside = Some(language.is_empty() || language == "rust"),
            (None, Some(true)) => {
                out.push_str(line.trim_start_matches("# "));
                out.push('\n');
            }
            (None, _) => {}
        }
    }
    out
}

impl Library {
    fn function(&mut self, name: String, signature: &syn::Signature) {
        let result = match &signature.output {
            syn::ReturnType::Type(_, ty) => names([ty.as_ref()]),
            syn::ReturnType::Default => BTreeSet::new(),
        };
        self.functions.insert(name, result);
    }

    /// Whether an example calls or names it.
    fn shows(&self, item: &str) -> bool {
        let is_word = |c: char| c.is_alphanumeric() || c == '_';
        let called = |before: &[&str], name: &str| {
            self.shown.match_indices(name).any(|(at, _)| {
                let ends = name.ends_with('(') || !self.shown[at + name.len()..].starts_with(is_word);
                let start = &self.shown[..at];
                ends && !start.ends_with(is_word) && (before.is_empty() || before.iter().any(|b| start.ends_with(b)))
            })
        };
        match item.split_once("::") {
            Some((owner, name)) if name == "new" => called(&[], &format!("{owner}::{name}")),
            Some((_, name)) => called(&[".", "::"], &format!("{name}(")) || called(&["::"], name),
            None => called(&[], item),
        }
    }
}

impl<'a> Visit<'a> for Library {
    fn visit_attribute(&mut self, attribute: &'a syn::Attribute) {
        if let syn::Meta::NameValue(pair) = &attribute.meta
            && pair.path.is_ident("doc")
            && let syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Str(text), .. }) = &pair.value
        {
            // A line a time: fences are found in `shown` at the end.
            self.shown.push_str(&text.value());
            self.shown.push('\n');
        }
    }

    fn visit_item_mod(&mut self, item: &'a syn::ItemMod) {
        if !is_for_tests(&item.attrs) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_item_impl(&mut self, item: &'a syn::ItemImpl) {
        if is_for_tests(&item.attrs) {
            return;
        }
        // What a trait asks for is shown by the trait.
        self.of = if item.trait_.is_none()
            && let syn::Type::Path(path) = item.self_ty.as_ref()
        {
            path.path.segments.last().map(|s| s.ident.to_string())
        } else {
            None
        };
        visit::visit_item_impl(self, item);
        self.of = None;
    }

    fn visit_impl_item_fn(&mut self, item: &'a syn::ImplItemFn) {
        if is_public(&item.vis)
            && let Some(owner) = &self.of
        {
            let name = format!("{owner}::{}", item.sig.ident);
            let result_of_self = owner.clone();
            self.function(name.clone(), &item.sig);
            if let Some(result) = self.functions.get_mut(&name)
                && result.remove("Self")
            {
                result.insert(result_of_self);
            }
        }
        item.attrs.iter().for_each(|a| self.visit_attribute(a));
    }

    fn visit_item_fn(&mut self, item: &'a syn::ItemFn) {
        if is_public(&item.vis) && !is_for_tests(&item.attrs) {
            self.function(item.sig.ident.to_string(), &item.sig);
        }
        item.attrs.iter().for_each(|a| self.visit_attribute(a));
    }

    fn visit_item_struct(&mut self, item: &'a syn::ItemStruct) {
        if is_public(&item.vis) {
            let fields = item.fields.iter().filter(|f| is_public(&f.vis)).map(|f| &f.ty);
            self.types.insert(item.ident.to_string(), names(fields));
        }
        visit::visit_item_struct(self, item);
    }

    fn visit_item_enum(&mut self, item: &'a syn::ItemEnum) {
        if is_public(&item.vis) {
            let fields = item.variants.iter().flat_map(|v| v.fields.iter()).map(|f| &f.ty);
            self.types.insert(item.ident.to_string(), names(fields));
        }
        visit::visit_item_enum(self, item);
    }

    fn visit_item_trait(&mut self, item: &'a syn::ItemTrait) {
        if is_public(&item.vis) {
            self.types.insert(item.ident.to_string(), BTreeSet::new());
        }
        visit::visit_item_trait(self, item);
    }
}

fn sources(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder").map(|e| e.expect("an entry").path()) {
        if entry.is_dir() {
            sources(&entry, out);
        } else if entry.extension().is_some_and(|e| e == "rs") {
            out.push(entry);
        }
    }
}

#[test]
fn every_public_item_is_shown() {
    let core = Path::new(env!("CARGO_MANIFEST_DIR")).join("../core");
    let mut files = Vec::new();
    sources(&core.join("src"), &mut files);
    let mut library = Library::default();
    for file in files {
        library.visit_file(&syn::parse_file(&fs::read_to_string(&file).unwrap()).unwrap());
    }
    library.shown = examples(&library.shown);
    assert!(library.functions.len() > 100 && library.types.len() > 80, "the sources were not read");
    let mut programs = Vec::new();
    sources(&core.join("examples"), &mut programs);
    for program in programs {
        library.shown.push_str(&fs::read_to_string(program).unwrap());
    }

    // What the shown functions give, and what is in it, is in hand there.
    let mut in_hand: BTreeSet<&str> =
        library.types.keys().filter(|name| library.shows(name)).map(String::as_str).collect();
    let given = library.functions.iter().filter(|(name, _)| library.shows(name)).flat_map(|(_, result)| result);
    in_hand.extend(given.map(String::as_str));
    loop {
        let within: Vec<&str> = library
            .types
            .iter()
            .filter(|(name, _)| in_hand.contains(name.as_str()))
            .flat_map(|(_, fields)| fields)
            .map(String::as_str)
            .collect();
        let before = in_hand.len();
        in_hand.extend(within);
        if in_hand.len() == before {
            break;
        }
    }
    let mut unseen: BTreeSet<String> =
        library.types.keys().filter(|name| !in_hand.contains(name.as_str())).cloned().collect();
    unseen.extend(library.functions.keys().filter(|name| !library.shows(name)).cloned());

    assert!(unseen.is_empty(), "no example shows these: {unseen:#?}");
}
