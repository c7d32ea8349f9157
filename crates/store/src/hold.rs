use std::fs::{File, OpenOptions, TryLockError};
use std::path::Path;

use crate::StoreError;

/// The file that is locked while a run writes below its folder. It is empty and stays; the lock goes with the process, however
/// that ends.
const NAME: &str = ".in-use";

/// An output folder in the hands of one run. Let go when dropped.
#[derive(Debug)]
pub struct Hold {
    _file: Option<File>,
}

impl Hold {
    /// Takes the folder, made where it is not there yet, or says that another run has it.
    pub fn take(folder: &Path) -> Result<Self, StoreError> {
        std::fs::create_dir_all(folder).map_err(|e| StoreError::io("make the folder", folder, e))?;
        let path = folder.join(NAME);
        let opened = OpenOptions::new().create(true).truncate(false).write(true).open(&path);
        let file = opened.map_err(|e| StoreError::io("write below", folder, e))?;
        match file.try_lock() {
            Ok(()) => Ok(Self { _file: Some(file) }),
            Err(TryLockError::WouldBlock) => Err(StoreError::InUse { folder: folder.to_owned() }),
            // A file system that knows no locks: the user is on their own there.
            Err(TryLockError::Error(error)) if error.kind() == std::io::ErrorKind::Unsupported => {
                Ok(Self { _file: None })
            }
            Err(TryLockError::Error(error)) => Err(StoreError::io("lock", &path, error)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_at_a_time() {
        let folder = tempfile::tempdir().unwrap();
        let held = Hold::take(folder.path()).unwrap();
        assert!(matches!(Hold::take(folder.path()), Err(StoreError::InUse { .. })));
        drop(held);
        Hold::take(folder.path()).unwrap();
    }
}
