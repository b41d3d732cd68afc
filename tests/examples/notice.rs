//! The licences of everything that is built into the command, with their texts, each text once: what must go along with a binary.
//!
//!     cargo run -p evengap-tests --example notice -- TARGET [PACKAGE] > NOTICE.txt

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

/// What a package of the registry calls the file of its licence, in the beginning.
const NAMES: [&str; 5] = ["license", "licence", "copying", "unlicense", "notice"];

fn main() -> Outcome<()> {
    let mut arguments = std::env::args().skip(1);
    let target = arguments.next().ok_or("for which target?")?;
    let root = arguments.next().unwrap_or_else(|| "evengap-cli".to_owned());
    let metadata = cargo(&["metadata", "--locked", "--format-version", "1", "--filter-platform", &target])?;
    let metadata: Value = serde_json::from_str(&metadata)?;
    let built_in = built_in(&root, &target)?;
    let ours = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let of_ours = |name: &str| std::fs::read_to_string(ours.join(name));
    // Each text with the packages that it belongs to.
    let mut texts: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    println!("evengap is built of these packages, under the licences that stand beside them.\n");
    for package in list(&metadata["packages"]) {
        let [name, version, licence] = ["name", "version", "license"].map(|key| text(&package[key]));
        if !built_in.contains(&format!("{name} v{version}")) || package["source"].is_null() {
            continue;
        }
        let folder = Path::new(text(&package["manifest_path"])).parent().ok_or("a package has a folder")?;
        let mut files: Vec<_> = std::fs::read_dir(folder)?.collect::<Result<_, _>>()?;
        files.retain(|file| {
            let name = file.file_name().to_string_lossy().to_lowercase();
            NAMES.iter().any(|start| name.starts_with(start)) && file.path().is_file()
        });
        println!("  {name} {version}: {licence}");
        if files.is_empty() {
            // It has no text of its own: the licence's is the same everywhere.
            if !licence.contains("Apache-2.0") {
                return Err(format!("{name} {version} has no text of its licence, {licence}").into());
            }
            texts.entry(of_ours("LICENSE-APACHE")?.trim().to_owned()).or_default().insert(format!("{name} {version}"));
        }
        for file in files {
            let text = String::from_utf8_lossy(&std::fs::read(file.path())?).replace("\r\n", "\n");
            texts.entry(text.trim().to_owned()).or_default().insert(format!("{name} {version}"));
        }
    }
    println!(
        "  Rust's standard library: MIT OR Apache-2.0; what it is made of itself is told in NOTICE-rust.html, beside this"
    );
    texts.entry(of_ours("LICENSE-APACHE")?.trim().to_owned()).or_default().insert("Rust's standard library".to_owned());
    if target.ends_with("-musl") {
        println!("  musl, the C library: MIT");
        // Its copyright and its licence stand in those of the mathematical functions that come from it.
        let (_, packages) = texts
            .iter_mut()
            .find(|(text, _)| text.contains("musl libc") && text.contains("Permission is hereby granted"))
            .ok_or("no text has musl's copyright and licence")?;
        packages.insert("musl, the C library".to_owned());
    }
    if root == "evengap-cli" {
        println!("  the fonts of pictures: Apache-2.0");
        let text = of_ours("cli/assets/LICENSE-APACHE-FONT")?;
        texts.entry(text.trim().to_owned()).or_default().insert("the fonts of pictures".to_owned());
    }
    let mut texts: Vec<(String, BTreeSet<String>)> = texts.into_iter().collect();
    texts.sort_by(|a, b| a.1.cmp(&b.1));
    for (text, packages) in texts {
        let packages: Vec<String> = packages.into_iter().collect();
        println!("\n{}\n\n{}\n\n{text}", "-".repeat(80), packages.join(", "));
    }
    Ok(())
}

/// The packages that `root` is built of, as `name vVERSION`: not those that only build or test it, and with its own features alone.
fn built_in(root: &str, target: &str) -> Outcome<BTreeSet<String>> {
    let tree = ["tree", "--locked", "--package", root, "--target", target, "--edges", "normal,no-proc-macro"];
    let tree = cargo(&[&tree[..], &["--prefix", "none", "--format", "{p}"]].concat())?;
    let named = |line: &str| line.split_whitespace().take(2).collect::<Vec<_>>().join(" ");
    Ok(tree.lines().map(named).collect())
}

fn cargo(arguments: &[&str]) -> Outcome<String> {
    let done = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into())).args(arguments).output()?;
    if !done.status.success() {
        return Err(String::from_utf8_lossy(&done.stderr).into());
    }
    Ok(String::from_utf8(done.stdout)?)
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}
