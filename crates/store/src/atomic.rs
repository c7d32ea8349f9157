use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use tempfile::NamedTempFile;

use crate::StoreError;

/// Writes a file whole or not at all: to a temporary neighbour first, flushed to disk, then renamed into place.
pub fn write_with<T>(
    path: &Path,
    fill: impl FnOnce(&mut BufWriter<&File>) -> Result<T, StoreError>,
) -> Result<T, StoreError> {
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder).map_err(|e| StoreError::io("make the folder of", path, e))?;
    let temporary = NamedTempFile::new_in(folder).map_err(|e| StoreError::io("write beside", path, e))?;
    let value = {
        let mut writer = BufWriter::new(temporary.as_file());
        let value = fill(&mut writer)?;
        writer.flush().map_err(|e| StoreError::io("write", path, e))?;
        value
    };
    finish(temporary, path)?;
    Ok(value)
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
