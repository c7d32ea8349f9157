//! The bytes of an MDF file, for a reader that jumps about in it.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::sync::{Arc, Mutex};

use falcon_mdf::Mf4Error;
use falcon_mdf::io::ByteSource;
use falcon_mdf::io::range::RangeSource;

use crate::input::Input;

pub fn open(input: Input) -> io::Result<Arc<dyn ByteSource>> {
    let file = input.into_file()?;
    let length = file.metadata()?.len();
    let file = Mutex::new(file);
    Ok(Arc::new(RangeSource::new(length, move |offset, bytes: &mut [u8]| {
        read_at(&file, offset, bytes).map_err(|error| Mf4Error::parse_error(format!("cannot be read: {error}")))
    })))
}

fn read_at(file: &Mutex<File>, offset: u64, bytes: &mut [u8]) -> io::Result<()> {
    let mut file = file.lock().map_err(|_| io::Error::other("a read before it failed"))?;
    file.seek(SeekFrom::Start(offset))?;
    file.read_exact(bytes)
}
