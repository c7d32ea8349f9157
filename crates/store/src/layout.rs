use std::path::{Path, PathBuf};

use backwatt_schema::Table;

/// Where each table of a run lies below its output folder.
#[derive(Debug, Clone)]
pub struct Layout {
    root: PathBuf,
}

impl Layout {
    pub fn new(root: impl Into<PathBuf>) -> Self {
        Self { root: root.into() }
    }

    pub fn root(&self) -> &Path {
        &self.root
    }

    /// Tables of one file for the whole pilot.
    pub fn table(&self, table: &Table) -> PathBuf {
        self.root.join(format!("{}.parquet", table.name))
    }

    /// Tables of one file per vehicle.
    pub fn vehicle_table(&self, table: &Table, vehicle_id: &str) -> PathBuf {
        self.root.join(table.name).join(format!("{}.parquet", safe_name(vehicle_id)))
    }

    pub fn samples_folder(&self, vehicle_id: &str) -> PathBuf {
        self.root.join("samples").join(format!("vehicle={}", safe_name(vehicle_id)))
    }

    pub fn rejects_of_file(&self, shown: &str) -> PathBuf {
        self.root.join("rejects").join(format!("file-{}.parquet", safe_name(shown)))
    }

    /// Every table of refused rows, by name.
    pub fn rejects(&self) -> Vec<PathBuf> {
        let entries = std::fs::read_dir(self.root.join("rejects"));
        let files = entries.into_iter().flatten().flatten().map(|entry| entry.path());
        let is_table = |path: &PathBuf| path.extension().is_some_and(|ending| ending == "parquet");
        let mut tables: Vec<PathBuf> = files.filter(is_table).collect();
        tables.sort();
        tables
    }

    pub fn rejects_of_vehicle(&self, vehicle_id: &str) -> PathBuf {
        self.root.join("rejects").join(format!("vehicle-{}.parquet", safe_name(vehicle_id)))
    }

    /// Folders that hold nothing but what the program wrote.
    pub fn own_folders(&self) -> Vec<PathBuf> {
        let tables = backwatt_schema::tables::ALL.iter().map(|table| table.name);
        tables
            .chain(["report", "report-to-share", ".spool", ".stamps"])
            .map(|name| self.root.join(name))
            .collect()
    }

    pub fn spool(&self) -> PathBuf {
        self.root.join(".spool")
    }

    pub fn stamp(&self, stage: &str) -> PathBuf {
        self.root.join(".stamps").join(format!("{stage}.json"))
    }

    pub fn report(&self) -> PathBuf {
        self.root.join("report")
    }

    /// The copy of the report that may leave the building.
    pub fn report_to_share(&self) -> PathBuf {
        self.root.join("report-to-share")
    }

    /// Who is behind the pseudonyms of the copy: beside it, never in it.
    pub fn key_of_share(&self) -> PathBuf {
        self.root.join("names-behind-report-to-share.csv")
    }

    /// Who is behind the pseudonyms of the report, where the logs hold names.
    pub fn key_of_report(&self) -> PathBuf {
        self.root.join("names-behind-report.csv")
    }
}

/// A name from a log as a file name: letters, digits, `-`, `_` and inner dots stay, every other byte is written as
/// `%XX`, so that no name reaches outside its folder and no two names meet.
pub fn safe_name(name: &str) -> String {
    use std::fmt::Write as _;
    let mut safe = String::with_capacity(name.len());
    for (at, byte) in name.bytes().enumerate() {
        let plain = byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_') || (byte == b'.' && at > 0);
        if plain {
            safe.push(char::from(byte));
        } else {
            let _ = write!(safe, "%{byte:02X}");
        }
    }
    if safe.is_empty() {
        safe.push_str("%00");
    }
    // File systems stop at 255 bytes: a longer name keeps its start and is told apart by its digest.
    if safe.len() > 180 {
        let digest = crate::digest_bytes(name.as_bytes());
        safe.truncate(120);
        safe.push('~');
        safe.push_str(&digest[..32]);
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::safe_name;

    #[test]
    fn no_name_reaches_outside_its_folder() {
        assert_eq!(safe_name("../../etc"), "%2E.%2F..%2Fetc");
        assert_eq!(safe_name("T1.b-2_x"), "T1.b-2_x");
        assert_eq!(safe_name(""), "%00");
        assert!(safe_name(&"x".repeat(5000)).len() < 200);
        assert_ne!(safe_name("a/b"), safe_name("a%2Fb"));
    }
}
