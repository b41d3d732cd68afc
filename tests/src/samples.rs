//! Where the sample files are. They are not part of the project: tests that want them say so aloud when they are not there.

use std::path::PathBuf;

/// The folder: `EVENGAP_SAMPLES`, or `shared/samples` beside the workspace.
#[must_use]
pub fn folder() -> PathBuf {
    std::env::var_os("EVENGAP_SAMPLES")
        .map_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/samples")), PathBuf::from)
}

/// Each sample's name and bytes, by name. Empty, and said aloud on standard error, where there is no such folder.
///
/// # Panics
/// Where `EVENGAP_SAMPLES` is set and holds no sample: asked for and not there is a failure.
#[must_use]
pub fn all() -> Vec<(String, Vec<u8>)> {
    let folder = folder();
    let mut out: Vec<(String, Vec<u8>)> = std::fs::read_dir(&folder)
        .into_iter()
        .flatten()
        .flatten()
        .filter(|entry| entry.path().extension().is_some_and(|e| e == "gcode"))
        .filter_map(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            std::fs::read(entry.path()).ok().map(|bytes| (name, bytes))
        })
        .collect();
    out.sort();
    if out.is_empty() {
        assert!(std::env::var_os("EVENGAP_SAMPLES").is_none(), "EVENGAP_SAMPLES holds no .gcode file");
        eprintln!("SKIPPED: no sample files in {}; set EVENGAP_SAMPLES to a folder that has some", folder.display());
    }
    out
}
