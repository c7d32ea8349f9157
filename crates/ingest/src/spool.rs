//! Rows between the two passes: written file by file as they are read, taken back vehicle by vehicle, a window of time at once.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use backwatt_store::safe_name;

use crate::IngestError;
use crate::frame::{Frame, mask};
use crate::scratch;
use crate::shift::Shift;
use crate::window::{HOUR_NS, Window, cut};

const DAY_NS: i64 = 24 * HOUR_NS;

pub struct Spool {
    folder: PathBuf,
    /// By vehicle and file, in the order of reading.
    written: Mutex<BTreeMap<(String, String), Written>>,
}

/// What is on disk of one vehicle in one file.
#[derive(Debug, Clone, Default)]
struct Written {
    /// First and last instant of each part.
    parts: Vec<(i64, i64)>,
    /// Rows by hour.
    hours: BTreeMap<i64, u64>,
    relative: bool,
    /// What puts its rows onto GPS time.
    shift: Shift,
}

/// The parts of one vehicle on its timeline.
pub struct Timeline {
    vehicle: String,
    files: Vec<Placed>,
}

/// A file, and how much later it stands than its clock says.
struct Placed {
    file: String,
    shift: Shift,
    written: Written,
}

impl Spool {
    /// An empty spool; what an interrupted run left is removed first.
    pub fn new(folder: &Path) -> Result<Self, IngestError> {
        remove(folder)?;
        let made = std::fs::create_dir_all(folder);
        made.map_err(|source| IngestError::Io { doing: "make", path: folder.to_owned(), source })?;
        Ok(Self { folder: folder.to_owned(), written: Mutex::new(BTreeMap::new()) })
    }

    /// For files that live no longer than the first pass.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Writes the next part of a file; the parts of one file come from one thread.
    pub fn write(&self, vehicle: &str, file: &str, frame: &Frame) -> Result<(), IngestError> {
        let (Some(first), Some(last)) = (frame.time_ns.iter().min(), frame.time_ns.iter().max()) else {
            return Ok(());
        };
        let key = (vehicle.to_owned(), file.to_owned());
        let part = self.written_mut().get(&key).map_or(0, |written| written.parts.len());
        let batch = frame.to_batch(vehicle, 0..frame.len())?;
        scratch::write(&self.path(vehicle, file, part), &batch)?;
        let mut all = self.written_mut();
        let written = all.entry(key).or_default();
        written.parts.push((*first, *last));
        written.relative |= frame.mask[0] & mask::RELATIVE != 0;
        for time in &frame.time_ns {
            *written.hours.entry(time.div_euclid(HOUR_NS)).or_default() += 1;
        }
        Ok(())
    }

    /// Rows of a vehicle in a file stand this much later than their clock says.
    pub fn shift(&self, vehicle: &str, file: &str, shift: Shift) {
        if let Some(written) = self.written_mut().get_mut(&(vehicle.to_owned(), file.to_owned())) {
            written.shift = shift;
        }
    }

    pub fn vehicles(&self) -> Vec<String> {
        let mut vehicles: Vec<String> = self.written_mut().keys().map(|(vehicle, _)| vehicle.clone()).collect();
        vehicles.dedup();
        vehicles
    }

    /// Where the rows of a vehicle lie in time. Files on a relative clock are laid out one after the other in name order, each
    /// from the start of a day of its own, so that their rows cannot meet.
    pub fn timeline(&self, vehicle: &str) -> Timeline {
        let all = self.written_mut();
        let first = (vehicle.to_owned(), String::new());
        let mut base = 0_i64;
        let files = all.range(first..).take_while(|((v, _), _)| v == vehicle).map(|((_, file), written)| {
            let mut shift = written.shift;
            if written.relative {
                let earliest = written.parts.iter().map(|part| part.0).min().unwrap_or(0).min(0);
                let latest =
                    written.parts.iter().map(|part| part.1).max().unwrap_or(0).saturating_sub(earliest);
                shift = Shift::by(base.saturating_sub(earliest));
                base = (latest / DAY_NS + 1).saturating_mul(DAY_NS).saturating_add(base);
            }
            Placed { file: file.clone(), shift, written: written.clone() }
        });
        Timeline { vehicle: vehicle.to_owned(), files: files.collect() }
    }

    /// The rows of a vehicle in a window and its context, files in name order, rows in file order.
    pub fn read(&self, timeline: &Timeline, window: &Window) -> Result<Frame, IngestError> {
        let (from, until) = window.with_context();
        let mut frame = Frame::default();
        for Placed { file, shift, written } in &timeline.files {
            for (part, (first, last)) in written.parts.iter().enumerate() {
                if shift.put(*last) < from || shift.put(*first) >= until {
                    continue;
                }
                let batch = scratch::read(&self.path(&timeline.vehicle, file, part))?;
                frame.append(&batch, shift, from..until)?;
            }
        }
        Ok(frame)
    }

    pub fn remove(self) -> Result<(), IngestError> {
        remove(&self.folder)
    }

    fn path(&self, vehicle: &str, file: &str, part: usize) -> PathBuf {
        self.folder.join(safe_name(vehicle)).join(format!("{}.{part}", safe_name(file)))
    }

    fn written_mut(&self) -> std::sync::MutexGuard<'_, BTreeMap<(String, String), Written>> {
        self.written.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

impl Timeline {
    /// Windows of about so many rows at most, in the order of time.
    pub fn windows(&self, rows_most: u64, context_ns: i64) -> Vec<Window> {
        let mut hours: BTreeMap<i64, u64> = BTreeMap::new();
        for Placed { shift, written, .. } in &self.files {
            for (hour, rows) in &written.hours {
                let start = shift.put(hour.saturating_mul(HOUR_NS));
                *hours.entry(start.div_euclid(HOUR_NS)).or_default() += rows;
            }
        }
        cut(&hours, rows_most, context_ns)
    }
}

fn remove(folder: &Path) -> Result<(), IngestError> {
    match std::fs::remove_dir_all(folder) {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Err(source) => Err(IngestError::Io { doing: "clear", path: folder.to_owned(), source }),
    }
}
