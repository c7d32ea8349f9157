//! The bytes of one log file, unpacked as they are read: gzip, zstd, members of zip archives.
//!
//! Nothing is unpacked whole into memory. A format that has to jump about in its file (Parquet) gets an unnamed file on
//! disk instead, under the same limits.

mod archive;
mod guard;
mod unpack;

use std::fs::File;
use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

pub use archive::{Archive, Member, members};
pub use guard::Unpacking;

use crate::settings::LogFile;

/// Bytes looked at to find format, encoding and dialect.
const HEAD_BYTES: u64 = 1 << 16;

/// A log as a stream of bytes whose start can be looked at before it is read.
pub struct Input {
    head: Cursor<Vec<u8>>,
    /// What went wrong after the head, told once the head has been read.
    fault: Option<io::Error>,
    rest: Box<dyn Read>,
    /// The file itself, where it is not packed.
    plain: Option<PathBuf>,
    packing: Vec<&'static str>,
    scratch: Option<PathBuf>,
}

impl Input {
    pub fn open(file: &LogFile, limits: Unpacking) -> io::Result<Self> {
        let (stream, packing) = unpack::open(file, limits)?;
        let plain = packing.is_empty().then(|| file.path.clone());
        Ok(Self { plain, packing, ..Self::new(stream) })
    }

    /// A stream that ends in an error still gives what came before it.
    pub fn new(mut rest: Box<dyn Read>) -> Self {
        let mut head = Vec::new();
        let fault = rest.by_ref().take(HEAD_BYTES).read_to_end(&mut head).err();
        Self { head: Cursor::new(head), fault, rest, plain: None, packing: Vec::new(), scratch: None }
    }

    /// Where a packed file is laid out if its format has to jump about in it; else the system's temporary folder.
    pub fn with_scratch(self, folder: &Path) -> Self {
        Self { scratch: Some(folder.to_owned()), ..self }
    }

    /// Lines that end in carriage returns alone end in line feeds from here on; other texts stay as they are.
    ///
    /// Only for text: the head of a binary file may hold the one byte and lack the other by chance.
    pub fn with_line_feeds(mut self) -> Self {
        if !self.head().contains(&b'\r') || self.head().contains(&b'\n') {
            return self;
        }
        self.head.get_mut().iter_mut().for_each(to_line_feed);
        Self { rest: Box::new(LineFeeds(self.rest)), ..self }
    }

    /// The first bytes, all of them where the log is short.
    pub fn head(&self) -> &[u8] {
        self.head.get_ref()
    }

    /// True where the log goes on beyond its head.
    pub fn goes_on(&self) -> bool {
        self.head().len() as u64 >= HEAD_BYTES
    }

    /// How the file was packed, outermost first.
    pub fn packing(&self) -> &[&'static str] {
        &self.packing
    }

    /// The log as a file that can be read in any order.
    pub fn into_file(mut self) -> io::Result<File> {
        if let Some(path) = &self.plain {
            return File::open(path);
        }
        let mut file = match &self.scratch {
            Some(folder) => tempfile::tempfile_in(folder)?,
            None => tempfile::tempfile()?,
        };
        io::copy(&mut self, &mut file)?;
        file.seek(SeekFrom::Start(0))?;
        Ok(file)
    }
}

fn to_line_feed(byte: &mut u8) {
    if *byte == b'\r' {
        *byte = b'\n';
    }
}

struct LineFeeds<R>(R);

impl<R: Read> Read for LineFeeds<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let taken = self.0.read(buffer)?;
        buffer[..taken].iter_mut().for_each(to_line_feed);
        Ok(taken)
    }
}

impl Read for Input {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let taken = self.head.read(buffer)?;
        if taken > 0 || buffer.is_empty() {
            return Ok(taken);
        }
        match self.fault.take() {
            Some(fault) => Err(fault),
            None => self.rest.read(buffer),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Some bytes, then an error.
    struct Torn(Cursor<&'static [u8]>);

    impl Read for Torn {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            match self.0.read(buffer)? {
                0 => Err(io::Error::other("torn")),
                taken => Ok(taken),
            }
        }
    }

    #[test]
    fn what_stands_before_a_fault_is_read_and_then_the_fault_is_told() {
        let mut input = Input::new(Box::new(Torn(Cursor::new(b"a,b\n1,2\n"))));
        assert_eq!(input.head(), b"a,b\n1,2\n");
        let mut seen = Vec::new();
        let error = input.read_to_end(&mut seen).unwrap_err();
        assert_eq!((seen.as_slice(), error.to_string().as_str()), (&b"a,b\n1,2\n"[..], "torn"));
    }
}
