use std::path::{Path, PathBuf};

use thiserror::Error;

/// Why a made-up pilot could not be written.
#[derive(Debug, Error)]
pub enum DemoError {
    #[error("cannot make the folder {path}", path = path.display())]
    MakeFolder { path: PathBuf, source: std::io::Error },
    #[error("cannot write {path}", path = path.display())]
    WriteFile { path: PathBuf, source: std::io::Error },
}

/// Makes a folder and all above it.
pub fn make_folder(path: &Path) -> Result<(), DemoError> {
    std::fs::create_dir_all(path).map_err(|source| DemoError::MakeFolder { path: path.to_path_buf(), source })
}

/// Writes a whole file.
pub fn write_file(path: &Path, bytes: &[u8]) -> Result<(), DemoError> {
    std::fs::write(path, bytes).map_err(|source| DemoError::WriteFile { path: path.to_path_buf(), source })
}
