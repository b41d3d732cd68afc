//! Reads the tables in `tests/data`.

/// The rows of a table, after its header, as text fields. Fails when the table is empty: a test that compared nothing is none.
pub(crate) fn rows(file: &str) -> Vec<Vec<String>> {
    let path = format!("{}/data/{file}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    let rows: Vec<Vec<String>> = text.lines().skip(1).map(|l| l.split(',').map(str::to_owned).collect()).collect();
    assert!(!rows.is_empty(), "{file} holds no rows");
    rows
}

/// A field as a number.
pub(crate) fn number(field: &str) -> f64 {
    field.parse().unwrap_or_else(|_| panic!("{field} is not a number"))
}
