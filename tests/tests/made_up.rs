//! The inputs that are kept in `fuzz/corpus`: seeds, and whatever once broke a promise. One folder a function.

use evengap_tests::made_up::ALL;

#[test]
fn kept_inputs_break_no_promise() {
    let corpus = concat!(env!("CARGO_MANIFEST_DIR"), "/fuzz/corpus");
    for (name, check) in ALL {
        let mut count = 0;
        for entry in std::fs::read_dir(format!("{corpus}/{name}")).expect("a folder of inputs") {
            let path = entry.expect("readable").path();
            // Where one fails, its name stands above the panic.
            eprintln!("{}", path.display());
            check(&std::fs::read(path).expect("readable"));
            count += 1;
        }
        assert!(count >= 3, "{name} has only {count} inputs");
    }
}
