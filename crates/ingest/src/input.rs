//! The bytes of one log file.

use std::fs::File;
use std::io::{self, Cursor, Read};
use std::path::Path;

/// Bytes looked at to find format, encoding and dialect.
const HEAD_BYTES: u64 = 1 << 16;

/// A log as a stream of bytes whose start can be looked at before it is read.
pub struct Input {
    head: Cursor<Vec<u8>>,
    /// What went wrong after the head, told once the head has been read.
    fault: Option<io::Error>,
    rest: Box<dyn Read>,
}

impl Input {
    pub fn open(path: &Path) -> io::Result<Self> {
        Ok(Self::new(Box::new(File::open(path)?)))
    }

    /// A stream that ends in an error still gives what came before it.
    pub fn new(mut rest: Box<dyn Read>) -> Self {
        let mut head = Vec::new();
        let fault = rest.by_ref().take(HEAD_BYTES).read_to_end(&mut head).err();
        Self { head: Cursor::new(head), fault, rest }
    }

    /// The first bytes, all of them where the log is short.
    pub fn head(&self) -> &[u8] {
        self.head.get_ref()
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
