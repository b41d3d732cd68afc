//! No room: while writing, at the flush to the medium, at the renaming; for every kind of file.

use super::*;

/// The run failed and nothing is changed, or it went well and everything is.
fn whole(writer: &Writer, how: &str, status: i32, said: &str, before: &State, after: &State, new: &State) -> bool {
    if status == 0 {
        assert_eq!(after, new, "{how} {:?}", writer.args);
        return false;
    }
    assert_eq!(status, 1, "{how} {:?}: {said}", writer.args);
    assert!(said.contains("error: cannot write "), "{how} {:?}: {said}", writer.args);
    // Names first: they read better.
    assert_eq!(after.keys().collect::<Vec<_>>(), before.keys().collect::<Vec<_>>(), "{how} {:?}", writer.args);
    assert!(after == before, "{how} {:?}: something was changed", writer.args);
    true
}

#[test]
fn a_file_that_may_not_grow_leaves_all_as_it_was() {
    if !works("prlimit", &["--fsize=1000", "true"]) {
        return skip("the limit of a file's length", "no prlimit");
    }
    let (mut tried, mut failed) = (0, 0);
    for writer in &WRITERS {
        let new = undisturbed(writer);
        let lengths: Vec<usize> = written(writer, &new).into_iter().map(|(_, n)| n).collect();
        let longest = lengths.iter().max().copied().unwrap();
        let mut limits: Vec<usize> = lengths.iter().map(|n| n - 1).collect();
        limits.extend([0, 1, 4096, longest / 2, longest]);
        for limit in limits {
            let folder = folder();
            let before = state(&here(&folder));
            let done =
                command(&["prlimit", &format!("--fsize={limit}")], &here(&folder), writer.args).output().unwrap();
            let status = done.status.code().expect("an exit, not a signal");
            let how = format!("limit {limit}");
            let failure = whole(writer, &how, status, &messages(&done), &before, &state(&here(&folder)), &new);
            assert_eq!(failure, limit < longest, "{how} {:?}", writer.args);
            tried += 1;
            failed += usize::from(failure);
        }
    }
    println!("files that may not grow: {tried} runs, {failed} of them refused, none lost anything");
}

/// Fills a file system of 2 MB but for $4 pages, runs the command there, and brings what is left back.
const FILLED: &str = r#"
mount -t tmpfs -o size=2M tmpfs "$2"
cp "$1"/* "$2"
cd "$2"
dd if=/dev/zero of=ballast bs=4096 2>/dev/null || true
size=$(stat -c %s ballast)
truncate -s $((size - $4 * 4096)) ballast
shift 4
status=0
"$@" >/dev/null 2>messages.tmp.$$ || status=$?
"#;

#[test]
fn a_full_medium_leaves_all_as_it_was() {
    if !can_mount() {
        return skip("the full medium", "no mounting here");
    }
    // Messages and results go to another medium than the full one.
    let script = FILLED.replace("2>messages.tmp.$$", "2>\"$messages\"");
    let script = format!(
        "messages=\"$3/messages\"; back=\"$3/back\"\n{script}\nrm ballast\nmkdir \"$back\"\ncp -a . \"$back/\"\necho $status"
    );
    let (mut tried, mut failed) = (0, 0);
    for writer in &WRITERS {
        let new = undisturbed(writer);
        let pages: usize = written(writer, &new).into_iter().map(|(_, n)| n.div_ceil(4096)).sum();
        for room in [0, 1, pages / 2, pages - 1, pages + 8] {
            let (folder, medium, results) = (folder(), tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
            let paths = [here(&folder), medium.path().to_path_buf(), results.path().to_path_buf()];
            let mut args: Vec<String> = paths.iter().map(|p| p.display().to_string()).collect();
            args.extend([room.to_string(), env!("CARGO_BIN_EXE_evengap").to_owned()]);
            args.extend(writer.args.iter().map(|a| (*a).to_owned()));
            let done = in_name_space(&script, &args.iter().map(String::as_str).collect::<Vec<_>>());
            let status: i32 = String::from_utf8(done.stdout).unwrap().trim().parse().unwrap();
            let said = std::fs::read_to_string(results.path().join("messages")).unwrap();
            let (before, after) = (state(&here(&folder)), state(&results.path().join("back")));
            let how = format!("room for {room} of {pages} pages");
            let failure = whole(writer, &how, status, &said, &before, &after, &new);
            assert!(!failure || said.contains("no room left on the medium"), "{how}: {said}");
            assert_eq!(failure, room < pages, "{how} {:?}: {said}", writer.args);
            tried += 1;
            failed += usize::from(failure);
        }
    }
    println!("full medium: {tried} runs, {failed} of them refused, none lost anything");
}

/// Makes single calls of the system fail: the flush, the renaming, or writing after so many bytes to files.
#[cfg(target_os = "linux")]
const FAILING: &str = r#"
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
static int is(const char *what) { const char *f = getenv("FAULT"); return f && !strcmp(f, what); }
int fsync(int fd) {
    if (is("fsync")) { errno = ENOSPC; return -1; }
    return ((int (*)(int))dlsym(RTLD_NEXT, "fsync"))(fd);
}
int rename(const char *from, const char *to) {
    if (is("rename")) { errno = EIO; return -1; }
    return ((int (*)(const char *, const char *))dlsym(RTLD_NEXT, "rename"))(from, to);
}
ssize_t write(int fd, const void *bytes, size_t n) {
    static long left = 3000;
    struct stat about;
    if (is("write") && !fstat(fd, &about) && S_ISREG(about.st_mode)) {
        if (left == 0) { errno = EIO; return -1; }
        if ((long)n > left) n = left;
        left -= n;
    }
    return ((ssize_t (*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write"))(fd, bytes, n);
}
"#;

#[cfg(target_os = "linux")]
#[test]
fn a_failing_flush_write_or_renaming_leaves_all_as_it_was() {
    let tools = tempfile::tempdir().unwrap();
    let (source, library) = (tools.path().join("failing.c"), tools.path().join("failing.so"));
    std::fs::write(&source, FAILING).unwrap();
    if !works("cc", &["-shared", "-fPIC", "-o", library.to_str().unwrap(), source.to_str().unwrap(), "-ldl"]) {
        return skip("failing calls of the system", "no C compiler");
    }
    let (mut tried, mut failed) = (0, 0);
    for writer in &WRITERS {
        let new = undisturbed(writer);
        for fault in ["fsync", "rename", "write", "none"] {
            let folder = folder();
            let before = state(&here(&folder));
            let mut run = command(&[], &here(&folder), writer.args);
            let done = run.env("LD_PRELOAD", &library).env("FAULT", fault).output().unwrap();
            let (status, after) = (done.status.code().unwrap(), state(&here(&folder)));
            let failure = whole(writer, fault, status, &messages(&done), &before, &after, &new);
            // The library must be at work, and only where it is asked.
            let all: usize = written(writer, &new).into_iter().map(|(_, n)| n).sum();
            let expected = matches!(fault, "fsync" | "rename") || (fault == "write" && all > 3000);
            assert_eq!(failure, expected, "{fault} {:?}", writer.args);
            tried += 1;
            failed += usize::from(failure);
        }
    }
    println!("failing calls: {tried} runs, {failed} of them refused, none lost anything");
}
