#![no_main]
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| evengap_tests::made_up::cut(bytes));
