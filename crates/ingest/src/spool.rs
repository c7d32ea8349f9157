//! Rows between the two passes: sorted by file on the way in, gathered by vehicle on the way out.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use backwatt_schema::tables::SAMPLES;
use backwatt_store::{Provenance, read_table, safe_name, write_table};

use crate::IngestError;
use crate::frame::Frame;

/// Rows of one file in flight before they are written out.
pub const PART_ROWS: usize = 200_000;

pub struct Spool {
    folder: PathBuf,
    /// Vehicle, file and part of everything written; its order is the order of reading.
    parts: Mutex<BTreeSet<(String, String, usize)>>,
}

impl Spool {
    /// An empty spool; what an interrupted run left is removed first.
    pub fn new(folder: &Path) -> Result<Self, IngestError> {
        remove(folder)?;
        let made = std::fs::create_dir_all(folder);
        made.map_err(|source| IngestError::Io { doing: "make", path: folder.to_owned(), source })?;
        Ok(Self { folder: folder.to_owned(), parts: Mutex::new(BTreeSet::new()) })
    }

    /// For files that live no longer than the first pass.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    pub fn write(&self, vehicle: &str, file: &str, part: usize, frame: &Frame) -> Result<(), IngestError> {
        let batch = frame.to_batch(vehicle, 0..frame.len())?;
        write_table(&self.path(vehicle, file, part), &SAMPLES, &batch, &Provenance::default())?;
        self.parts_mut().insert((vehicle.to_owned(), file.to_owned(), part));
        Ok(())
    }

    pub fn vehicles(&self) -> Vec<String> {
        let mut vehicles: Vec<String> = self.parts_mut().iter().map(|(vehicle, ..)| vehicle.clone()).collect();
        vehicles.dedup();
        vehicles
    }

    /// All rows of one vehicle, files in name order, rows in file order.
    pub fn read(&self, vehicle: &str) -> Result<Frame, IngestError> {
        let first = (vehicle.to_owned(), String::new(), 0);
        let parts: Vec<_> =
            self.parts_mut().range(first..).take_while(|(v, ..)| v == vehicle).cloned().collect();
        let mut frame = Frame::default();
        for (_, file, part) in parts {
            frame.append(&read_table(&self.path(vehicle, &file, part), &SAMPLES)?)?;
        }
        Ok(frame)
    }

    pub fn remove(self) -> Result<(), IngestError> {
        remove(&self.folder)
    }

    fn path(&self, vehicle: &str, file: &str, part: usize) -> PathBuf {
        self.folder.join(safe_name(vehicle)).join(format!("{}.{part}", safe_name(file)))
    }

    fn parts_mut(&self) -> std::sync::MutexGuard<'_, BTreeSet<(String, String, usize)>> {
        self.parts.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

fn remove(folder: &Path) -> Result<(), IngestError> {
    match std::fs::remove_dir_all(folder) {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Err(source) => Err(IngestError::Io { doing: "clear", path: folder.to_owned(), source }),
    }
}
