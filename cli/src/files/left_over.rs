//! Temporary files of runs that were killed: found at the next run that writes into their folder, and named. Never deleted: whose they are,
//! only a person knows.

use super::temporary::{PREFIX, SUFFIX};
use std::collections::BTreeSet;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, SystemTime};

/// An empty one may be a running process's that has not come to lock it yet; not for so long.
const SURELY_LOCKED: Duration = Duration::from_secs(60);

/// Most that are named.
const MOST_NAMED: usize = 8;

/// Says on standard error what is left over in a folder; once a run.
pub(super) fn tell_of(folder: &Path) {
    static TOLD: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());
    if !TOLD.lock().unwrap_or_else(PoisonError::into_inner).insert(folder.to_path_buf()) {
        return;
    }
    let mut found = find(folder, SystemTime::now());
    // Here is where we are.
    found.iter_mut().for_each(|f| f.path = f.path.strip_prefix(".").unwrap_or(&f.path).to_path_buf());
    if !found.is_empty() {
        super::say(&told(&found));
    }
}

struct LeftOver {
    path: PathBuf,
    length: u64,
    age: Option<Duration>,
}

fn find(folder: &Path, now: SystemTime) -> Vec<LeftOver> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let ours = |name: &str| name.starts_with(PREFIX) && name.ends_with(SUFFIX);
    let mut found: Vec<LeftOver> = entries
        .flatten()
        .filter(|e| e.file_name().to_str().is_some_and(ours) && e.file_type().is_ok_and(|t| t.is_file()))
        .filter_map(|e| left_over(&e.path(), now))
        .collect();
    found.sort_by(|a, b| a.path.cmp(&b.path));
    found
}

/// The file, unless a running process holds it or that cannot be told.
fn left_over(path: &Path, now: SystemTime) -> Option<LeftOver> {
    let file = File::open(path).ok()?;
    // Shared: two who look at once do not take each other for the writer.
    file.try_lock_shared().ok()?;
    let about = file.metadata().ok()?;
    let age = about.modified().ok().and_then(|at| now.duration_since(at).ok());
    // Whoever writes has locked before.
    let surely = about.len() > 0 || age.is_some_and(|age| age > SURELY_LOCKED);
    // It may have been put in its place since the folder was read.
    (surely && path.exists()).then(|| LeftOver { path: path.to_path_buf(), length: about.len(), age })
}

fn told(found: &[LeftOver]) -> String {
    let one = |f: &LeftOver| {
        let age = f.age.map_or(String::new(), |age| format!(", {} old", age_in_words(age)));
        format!("{} ({}{age})", f.path.display(), size_in_words(f.length))
    };
    if let [only] = found {
        return format!("Note: a run that was broken off left {}. Nothing uses it: it may be deleted.\n", one(only));
    }
    let mut text = format!(
        "Note: runs that were broken off left {} files. Nothing uses them: they may be deleted.\n",
        found.len()
    );
    for file in found.iter().take(MOST_NAMED) {
        text.push_str(&format!("  {}\n", one(file)));
    }
    if found.len() > MOST_NAMED {
        text.push_str(&format!("  and {} more named {PREFIX}*{SUFFIX}\n", found.len() - MOST_NAMED));
    }
    text
}

fn age_in_words(age: Duration) -> String {
    let seconds = age.as_secs();
    let (n, unit) = match seconds {
        0..120 => (seconds, "second"),
        120..7200 => (seconds / 60, "minute"),
        7200..172_800 => (seconds / 3600, "hour"),
        _ => (seconds / 86_400, "day"),
    };
    format!("{n} {unit}{}", if n == 1 { "" } else { "s" })
}

fn size_in_words(bytes: u64) -> String {
    match bytes {
        0..10_000 => format!("{bytes} bytes"),
        10_000..10_000_000 => format!("{} kB", bytes / 1000),
        _ => format!("{} MB", bytes / 1_000_000),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_nobody_holds_is_found() {
        let folder = tempfile::tempdir().unwrap();
        let put = |name: &str, text: &str| {
            fs::write(folder.path().join(name), text).unwrap();
            File::open(folder.path().join(name)).unwrap()
        };
        let held = put(".evengap-held.part", "x");
        held.lock().unwrap();
        put(".evengap-left.part", "x");
        put(".evengap-empty.part", "");
        put(".evengap-other.txt", "x");
        put("evengap-visible.part", "x");
        fs::create_dir(folder.path().join(".evengap-folder.part")).unwrap();
        let names = |later: u64| -> Vec<String> {
            find(folder.path(), SystemTime::now() + Duration::from_secs(later))
                .iter()
                .map(|f| f.path.file_name().unwrap().to_str().unwrap().to_owned())
                .collect()
        };
        assert_eq!(names(0), [".evengap-left.part"]);
        assert_eq!(names(3600), [".evengap-empty.part", ".evengap-left.part"]);
        drop(held);
        assert_eq!(names(0), [".evengap-held.part", ".evengap-left.part"]);
    }

    #[test]
    fn ages_and_sizes_have_units() {
        for (seconds, words) in [
            (0, "0 seconds"),
            (1, "1 second"),
            (119, "119 seconds"),
            (120, "2 minutes"),
            (7200, "2 hours"),
            (200_000, "2 days"),
        ] {
            assert_eq!(age_in_words(Duration::from_secs(seconds)), words);
        }
        for (bytes, words) in [(1, "1 bytes"), (12_345, "12 kB"), (45_000_000, "45 MB")] {
            assert_eq!(size_in_words(bytes), words);
        }
    }

    #[test]
    fn many_are_told_in_a_few_lines() {
        let one = |n: usize| LeftOver { path: format!("p{n}").into(), length: 5, age: None };
        assert_eq!(
            told(&[one(0)]),
            "Note: a run that was broken off left p0 (5 bytes). Nothing uses it: it may be deleted.\n"
        );
        let text = told(&(0..20).map(one).collect::<Vec<_>>());
        assert_eq!(text.lines().count(), MOST_NAMED + 2);
        assert!(text.ends_with("  and 12 more named .evengap-*.part\n"), "{text}");
    }
}
