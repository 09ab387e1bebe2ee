//! The engineering beside calculations made elsewhere: numpy, scipy, a finite-element solver.
//!
//! A script in this folder writes cases as JSON, with inputs and with what it computed by its own
//! way; the test computes the same with Bondline. `tests/run` installs what the scripts need. A
//! missing program fails the test: a check that did not run has shown nothing.

mod bond;
mod element;
mod laminate;
mod plate;
mod section;
mod statistics;
mod tooling;
mod tube;
mod weighings;

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The interpreter that has numpy and scipy: `BONDLINE_PYTHON`, else Debian's own.
pub fn python() -> PathBuf {
    std::env::var_os("BONDLINE_PYTHON").map_or_else(|| PathBuf::from("/usr/bin/python3"), PathBuf::from)
}

/// Runs a script of this folder and returns the JSON that it wrote.
pub fn cases(script: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside").join(script);
    let output = Command::new(python()).arg(&path).output().unwrap_or_else(|error| {
        panic!("{script} could not be run ({error}): run tests/run, which installs what it needs")
    });
    assert!(
        output.status.success(),
        "{script} failed; tests/run installs what it needs\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{script} wrote no JSON: {error}"))
}

/// Asserts that `got` is `expected` within a relative tolerance, or an absolute one for what is 0.
pub fn close(what: &str, got: f64, expected: f64, relative: f64, absolute: f64) {
    assert!(
        (got - expected).abs() <= (relative * expected.abs()).max(absolute),
        "{what}: {got} here, {expected} there"
    );
}
