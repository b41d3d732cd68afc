//! The licences of everything that is built into the command, with their texts, each text once: what must go along with a binary.
//!
//!     cargo run -p evengap-tests --example notice -- TARGET > NOTICE.txt

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

/// What a package of the registry calls the file of its licence, in the beginning.
const NAMES: [&str; 5] = ["license", "licence", "copying", "unlicense", "notice"];

fn main() -> Outcome<()> {
    let target = std::env::args().nth(1).ok_or("for which target?")?;
    let metadata = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()))
        .args(["metadata", "--locked", "--format-version", "1", "--filter-platform", &target])
        .output()?;
    if !metadata.status.success() {
        return Err(String::from_utf8_lossy(&metadata.stderr).into());
    }
    let metadata: Value = serde_json::from_slice(&metadata.stdout)?;
    let built_in = built_in(&metadata)?;
    // Each text with the packages that it belongs to.
    let mut texts: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    println!("evengap is built of these packages, under the licences that stand beside them.\n");
    for package in list(&metadata["packages"]) {
        let [id, name, version, licence] = ["id", "name", "version", "license"].map(|key| text(&package[key]));
        if !built_in.contains(id) || package["source"].is_null() {
            continue;
        }
        let folder = Path::new(text(&package["manifest_path"])).parent().ok_or("a package has a folder")?;
        let mut files: Vec<_> = std::fs::read_dir(folder)?.collect::<Result<_, _>>()?;
        files.retain(|file| {
            let name = file.file_name().to_string_lossy().to_lowercase();
            NAMES.iter().any(|start| name.starts_with(start)) && file.path().is_file()
        });
        if licence.is_empty() && files.is_empty() {
            return Err(format!("{name} {version} says nothing of its licence").into());
        }
        println!("  {name} {version}: {licence}");
        for file in files {
            let text = String::from_utf8_lossy(&std::fs::read(file.path())?).replace("\r\n", "\n");
            texts.entry(text.trim().to_owned()).or_default().insert(format!("{name} {version}"));
        }
    }
    let mut texts: Vec<(String, BTreeSet<String>)> = texts.into_iter().collect();
    texts.sort_by(|a, b| a.1.cmp(&b.1));
    for (text, packages) in texts {
        let packages: Vec<String> = packages.into_iter().collect();
        println!("\n{}\n\n{}\n\n{text}", "-".repeat(80), packages.join(", "));
    }
    Ok(())
}

/// The packages that the command is built of: not those that only build or test it.
fn built_in(metadata: &Value) -> Outcome<BTreeSet<String>> {
    let packages = list(&metadata["packages"]);
    let command = packages.iter().find(|p| p["name"] == "evengap-cli").ok_or("the command is a package")?;
    let nodes = list(&metadata["resolve"]["nodes"]);
    let mut found = BTreeSet::new();
    let mut open = vec![text(&command["id"]).to_owned()];
    while let Some(id) = open.pop() {
        let Some(node) = nodes.iter().find(|n| n["id"] == *id) else { continue };
        if !found.insert(id) {
            continue;
        }
        for dependency in list(&node["deps"]) {
            if list(&dependency["dep_kinds"]).iter().any(|kind| kind["kind"].is_null()) {
                open.push(text(&dependency["pkg"]).to_owned());
            }
        }
    }
    Ok(found)
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}
