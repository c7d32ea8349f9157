use std::path::{Path, PathBuf};

/// The folder of the workspace.
pub fn repository() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).unwrap_or(here).to_owned()
}

/// A file or folder below `fixtures/`.
pub fn fixture(name: &str) -> PathBuf {
    repository().join("fixtures").join(name)
}

/// A file or folder of the open data and reference tables beside the repository, where it is present.
///
/// A test that needs it and does not find it must say so: see [`skipped`].
pub fn shared(name: &str) -> Option<PathBuf> {
    let path = repository().parent()?.join("shared").join(name);
    path.exists().then_some(path)
}

/// Says loudly that a test was skipped, and why. Printed past the test harness's capture.
pub fn skipped(test: &str, needs: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr(), "SKIPPED {test}: needs ../shared/{needs}, which is not here");
}
