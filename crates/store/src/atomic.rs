use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use tempfile::{Builder, NamedTempFile};

use crate::StoreError;

/// Writes a file whole or not at all: to a temporary neighbour first, flushed to disk, then renamed into place.
pub fn write_with<T>(
    path: &Path,
    fill: impl FnOnce(&mut BufWriter<&File>) -> Result<T, StoreError>,
) -> Result<T, StoreError> {
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder).map_err(|e| StoreError::io("make the folder of", path, e))?;
    let temporary = temporary_in(folder).map_err(|e| StoreError::io("write beside", path, e))?;
    let value = {
        let mut writer = BufWriter::new(temporary.as_file());
        let value = fill(&mut writer)?;
        writer.flush().map_err(|e| StoreError::io("write", path, e))?;
        value
    };
    finish(temporary, path)?;
    Ok(value)
}

/// What the names of unfinished files begin with.
const UNFINISHED: &str = ".unfinished-";

pub(crate) fn temporary_in(folder: &Path) -> std::io::Result<NamedTempFile> {
    Builder::new().prefix(UNFINISHED).tempfile_in(folder)
}

/// Removes what a killed run left unfinished below a folder.
pub fn sweep_unfinished(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        if is_folder {
            sweep_unfinished(&entry.path());
        } else if entry.file_name().to_string_lossy().starts_with(UNFINISHED) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

pub fn write_bytes(path: &Path, bytes: &[u8]) -> Result<(), StoreError> {
    write_with(path, |writer| writer.write_all(bytes).map_err(|e| StoreError::io("write", path, e)))
}

pub(crate) fn finish(temporary: NamedTempFile, path: &Path) -> Result<(), StoreError> {
    let io = |e| StoreError::io("write", path, e);
    #[cfg(unix)]
    {
        // Temporary files are private to their owner; the finished table is as readable as any other file.
        use std::os::unix::fs::PermissionsExt;
        temporary.as_file().set_permissions(fs::Permissions::from_mode(0o644)).map_err(io)?;
    }
    temporary.as_file().sync_all().map_err(io)?;
    temporary.persist(path).map_err(|e| io(e.error))?;
    Ok(())
}
