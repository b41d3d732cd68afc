//! Makes the JavaScript package in `wasm/pkg`: builds `evengap-wasm` for wasm32, once for each of the package's two modules,
//! writes their glue and types, and lays out a package that browsers, bundlers and Node can load.
//!
//! Usage: `cargo run -p evengap-wasm-build`

mod order;
mod quiet;
mod types;

use std::error::Error;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use wasm_bindgen_cli_support::Bindgen;

/// What is written by hand, in `wasm/js`: it goes into the package as it is.
const BY_HAND: [&str; 8] =
    ["index.js", "index.d.ts", "node.js", "workshop-node.js", "error.js", "error.d.ts", "stream.js", "stream.d.ts"];

/// The modules: name, feature of the crate, profile.
const MODULES: [[&str; 3]; 2] = [["evengap", "engine", "wasm"], ["workshop", "workshop", "wasm-small"]];

fn main() -> ExitCode {
    match package() {
        Ok(place) => {
            println!("made {}", place.display());
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("evengap-wasm-build: {error}");
            ExitCode::FAILURE
        }
    }
}

fn package() -> Result<PathBuf, Box<dyn Error>> {
    let wasm = Path::new(env!("CARGO_MANIFEST_DIR")).parent().ok_or("this crate lies in wasm/")?;
    let place = wasm.join("pkg");
    if place.exists() {
        std::fs::remove_dir_all(&place)?;
    }
    let declared = BY_HAND.iter().filter(|name| name.ends_with(".d.ts"));
    let by_hand =
        declared.map(|name| std::fs::read_to_string(wasm.join("js").join(name))).collect::<Result<Vec<_>, _>>()?;
    for [name, feature, profile] in MODULES {
        let module = compile(wasm, feature, profile)?;
        only_our_own_numbers(&module)?;
        let module = without_last_words(&module)?;
        Bindgen::new()
            .input_path(module)
            .out_name(name)
            .web(true)?
            .omit_default_module_path(false)
            .typescript(true)
            .remove_name_section(true)
            .remove_producers_section(true)
            .generate(&place)?;
        let module = place.join(format!("{name}_bg.wasm"));
        std::fs::write(&module, order::sorted(&std::fs::read(&module)?)?)?;
        let types = place.join(name).with_extension("d.ts");
        let tidy = types::tidied(&std::fs::read_to_string(&types)?, &by_hand)?;
        std::fs::write(&types, in_words_of_typescript(&tidy))?;
    }
    for name in BY_HAND {
        std::fs::copy(wasm.join("js").join(name), place.join(name))?;
    }
    // The version is the workspace's: it stands in one place.
    let manifest = std::fs::read_to_string(wasm.join("js/package.json"))?;
    std::fs::write(place.join("package.json"), manifest.replace("VERSION", env!("CARGO_PKG_VERSION")))?;
    std::fs::copy(wasm.join("README.md"), place.join("README.md"))?;
    for licence in ["LICENSE-MIT", "LICENSE-APACHE"] {
        std::fs::copy(wasm.join("..").join(licence), place.join(licence))?;
    }
    Ok(place)
}

/// Builds a module and says where it is.
fn compile(wasm: &Path, feature: &str, profile: &str) -> Result<PathBuf, Box<dyn Error>> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let built = Command::new(cargo)
        .args(["build", "--locked", "--package", "evengap-wasm", "--lib", "--target", "wasm32-unknown-unknown"])
        .args(["--no-default-features", "--features", feature])
        .args(["--profile", profile, "--message-format", "json-render-diagnostics"])
        .current_dir(wasm)
        .env("CARGO_ENCODED_RUSTFLAGS", short_paths(wasm)?.join("\u{1f}"))
        .stderr(Stdio::inherit())
        .output()?;
    if !built.status.success() {
        return Err("the module does not build".into());
    }
    for line in built.stdout.split(|&b| b == b'\n').filter(|line| !line.is_empty()) {
        let message: serde_json::Value = serde_json::from_slice(line)?;
        if message["reason"] != "compiler-artifact" || message["target"]["name"] != "evengap_wasm" {
            continue;
        }
        let files = message["filenames"].as_array().into_iter().flatten().filter_map(|name| name.as_str());
        if let Some(module) = files.map(PathBuf::from).find(|name| name.extension().is_some_and(|e| e == "wasm")) {
            return Ok(module);
        }
    }
    Err("the build made no module".into())
}

/// The standard library's reading and writing of decimals is large, and one `{}` of an `f64` brings all of it: the engine has its
/// own. The module still names its functions here.
fn only_our_own_numbers(module: &Path) -> Result<(), Box<dyn Error>> {
    let bytes = std::fs::read(module)?;
    for name in ["flt2dec", "dec2flt"] {
        if bytes.windows(name.len()).any(|part| part == name.as_bytes()) {
            return Err(format!(
                "{} holds the standard library's {name}: see evengap's number::Shown",
                module.display()
            )
            .into());
        }
    }
    Ok(())
}

/// The module with panics that say nothing, beside the one that was built.
fn without_last_words(built: &Path) -> Result<PathBuf, Box<dyn Error>> {
    let mut module = walrus::Module::from_file(built)?;
    quiet::quieten(&mut module);
    let quiet = built.with_extension("quiet.wasm");
    module.emit_wasm_file(&quiet)?;
    Ok(quiet)
}

/// The module holds the names of source files, for panics: what they are called, not where this machine keeps them.
fn short_paths(wasm: &Path) -> Result<Vec<String>, Box<dyn Error>> {
    let root = wasm.parent().ok_or("wasm/ lies in the workspace")?;
    let mut flags = vec![format!("--remap-path-prefix={}=", root.join("").display())];
    let cargo_home = std::env::var_os("CARGO_HOME")
        .map(PathBuf::from)
        .or_else(|| std::env::home_dir().map(|home| home.join(".cargo")))
        .ok_or("no home folder")?;
    // None there: the sources of other crates lie elsewhere, and their names stay long.
    for registry in std::fs::read_dir(cargo_home.join("registry/src")).into_iter().flatten() {
        flags.push(format!("--remap-path-prefix={}=", registry?.path().join("").display()));
    }
    Ok(flags)
}

/// The docs of the engine's types speak of Rust: links become plain names, `None` becomes `null`.
fn in_words_of_typescript(types: &str) -> String {
    let mut out = String::with_capacity(types.len());
    let mut rest = types;
    while let Some((before, after)) = rest.split_once("[`") {
        out.push_str(before);
        match after.split_once("`]") {
            Some((name, after)) if !name.contains(['\n', '`']) => {
                out.push_str(&format!("`{name}`"));
                let target = after.strip_prefix('(').and_then(|target| target.split_once(')'));
                rest = target.map_or(after, |(_, after)| after);
            }
            _ => {
                out.push_str("[`");
                rest = after;
            }
        }
    }
    out.push_str(rest);
    out.replace("`None`", "`null`")
}
