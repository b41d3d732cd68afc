//! Help texts, usage errors and exit statuses. The help is compared with files: `SNAPSHOTS=overwrite` writes them anew.

mod common;

use common::Folder;
use snapbox::{assert_data_eq, file};

#[test]
fn help_is_as_written_down() {
    let folder = Folder::new();
    let help = |args: &[&str]| {
        let run = folder.run(args);
        assert_eq!((run.status, run.messages.as_str()), (0, ""));
        run.out
    };
    assert_data_eq!(help(&["--help"]), file!["help/evengap.txt"]);
    assert_data_eq!(help(&["plan", "--help"]), file!["help/plan.txt"]);
    assert_data_eq!(help(&["map", "--help"]), file!["help/map.txt"]);
    assert_data_eq!(help(&["rewrite", "--help"]), file!["help/rewrite.txt"]);
    assert_data_eq!(help(&["check", "--help"]), file!["help/check.txt"]);
    assert_data_eq!(help(&["tram", "--help"]), file!["help/tram.txt"]);
    assert_data_eq!(help(&["compare", "--help"]), file!["help/compare.txt"]);
    assert_data_eq!(help(&["trial", "--help"]), file!["help/trial.txt"]);
    assert_data_eq!(help(&["completions", "--help"]), file!["help/completions.txt"]);
    assert_data_eq!(help(&["manual", "--help"]), file!["help/manual.txt"]);
}

/// Every command is in the completions and has a page; the pages are those that are printed.
#[test]
fn completions_and_manual_speak_of_every_command() {
    let folder = Folder::new();
    let run = folder.run(&["manual", "--out-dir", "man"]);
    assert_eq!((run.status, run.messages.as_str()), (0, "Wrote 10 pages into man.\n"));
    let bash = folder.run(&["completions", "bash"]).out;
    let whole = folder.get("man/evengap.1");
    for command in ["plan", "map", "tram", "rewrite", "check", "compare", "trial", "completions", "manual"] {
        assert!(bash.contains(command), "{command}");
        let page = folder.get(&format!("man/evengap-{command}.1"));
        assert!(
            page.contains(".SH SYNOPSIS") && whole.contains(&format!("evengap\\-{command}(1)")),
            "{command}: {whole}"
        );
        assert_eq!(folder.run(&["manual", command]).out, page);
    }
    let rewrite = folder.get("man/evengap-rewrite.1");
    assert!(rewrite.contains("tolerance") && rewrite.contains("Caution"), "{rewrite}");
    for shell in ["zsh", "fish", "powershell", "elvish"] {
        let run = folder.run(&["completions", shell]);
        assert!(run.status == 0 && run.out.contains("in-place"), "{shell}");
    }
    assert_eq!(folder.run(&["manual", "mop"]).status, 2);
}

#[test]
fn no_arguments_is_wrong_usage_and_shows_the_help() {
    let run = Folder::new().run(&[]);
    assert_eq!((run.status, run.out.as_str()), (2, ""));
    assert!(run.messages.contains("Usage: evengap"));
}

#[test]
fn version_is_data() {
    let run = Folder::new().run(&["--version"]);
    assert_eq!(run.status, 0);
    assert_eq!(run.out, format!("evengap {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn wrong_usage_is_status_2() {
    let folder = Folder::new();
    for args in [
        &["mop", "bed.toml"][..],
        &["map"],
        &["tram"],
        &["tram", "bed.toml", "--stop-below", "-1"],
        &["tram", "bed.toml", "--fit", "best"],
        &["compare", "bed.toml"],
        &["map", "bed.toml", "--wrong"],
        &["map", "bed.toml", "--picture", "bed.jpg"],
        &["map", "bed.toml", "--surface", "cubic"],
        &["map", "-", "--at", "-"],
        &["map", "bed.toml", "--at", "p.csv", "--json"],
        &["check", "part.gcode"],
        &["check", "-", "--card", "-"],
        &["check", "-", "--card", "bed.toml", "--original", "-"],
        &["check", "part.gcode", "--card", "bed.toml", "--near", "1.2"],
        &["check", "part.gcode", "--card", "bed.toml", "--outside", "101"],
        &["check", "part.gcode", "--card", "bed.toml", "--picture", "gap.pdf"],
        &["rewrite", "part.gcode", "--card", "bed.toml"],
        &["rewrite", "part.gcode", "-o", "out.gcode"],
        &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--in-place"],
        &["rewrite", "-", "--card", "bed.toml", "--in-place"],
        &["rewrite", "-", "--card", "-", "-o", "out.gcode"],
        &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--taper", "6"],
        &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--tolerance", "thin"],
        &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--tolerance", "5"],
        &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--shift", "-2.1"],
        &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--taper", "6..0.5"],
        &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--taper", "2..2"],
        &["trial", "bed.toml", "-o", "trial.gcode", "--again"],
        &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--allow", "all"],
        &["trial", "bed.toml"],
        &["trial", "-", "-o", "trial.gcode", "--at", "-"],
        &["trial", "bed.toml", "-o", "trial.gcode", "--patch", "wide"],
        &["trial", "bed.toml", "-o", "c.toml", "--measured", "t.csv", "--numbers"],
    ] {
        let run = folder.run(args);
        assert_eq!(run.status, 2, "{args:?}: {}", run.messages);
        assert_eq!(run.out, "", "{args:?}");
        assert!(run.messages.starts_with("error: "), "{args:?}: {}", run.messages);
    }
    assert_eq!(folder.names(), ["bed.toml", "part.gcode"]);
}

#[test]
fn colour_is_for_terminals_unless_asked_for() {
    let folder = Folder::new();
    assert!(!folder.run(&["map", "nowhere.toml"]).messages.contains('\u{1b}'));
    assert!(folder.run(&["map", "nowhere.toml", "--colour", "always"]).messages.contains('\u{1b}'));
    assert!(folder.run(&["map", "nowhere.toml", "--color", "always"]).messages.contains('\u{1b}'));
    assert!(!folder.run(&["map", "nowhere.toml", "--colour", "never"]).messages.contains('\u{1b}'));
}
