//! Figures for the handbook: `scripts/plot-evidence` asks for them and draws.

use std::io::Write as _;

/// Writes rows of a table where the environment names a folder; without it nothing is written.
pub fn write(name: &str, header: &str, rows: &[String]) {
    let Some(folder) = std::env::var_os("BACKWATT_EVIDENCE") else { return };
    let path = std::path::Path::new(&folder).join(name);
    let mut file = std::fs::File::create(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    for line in std::iter::once(header).chain(rows.iter().map(String::as_str)) {
        writeln!(file, "{line}").unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    }
}
