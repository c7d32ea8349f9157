//! Unpacking within bounds: a few kilobytes can be packed so that they come to petabytes.

use std::cell::Cell;
use std::io::{self, Read};
use std::rc::Rc;

/// What a packed log may come to. The defaults lie far above any log (text with a dozen columns packs to a tenth, one
/// of hardly anything but zeros to a hundredth; common practice, no source).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unpacking {
    pub bytes_most: u64,
    /// Unpacked over packed bytes.
    pub ratio_most: u64,
}

impl Default for Unpacking {
    fn default() -> Self {
        Self { bytes_most: 64 << 30, ratio_most: 500 }
    }
}

impl Unpacking {
    /// Whether so much may come out of so little.
    pub fn allow(&self, what: &str, unpacked: u64, packed: u64) -> io::Result<()> {
        let Unpacking { bytes_most, ratio_most } = *self;
        let told = if unpacked > bytes_most {
            format!(
                "{what} unpacks to more than {bytes_most} bytes, as a packed bomb would; if it is a log, raise unpack_bytes_max"
            )
        } else if unpacked > FREE_BYTES && unpacked / packed.max(1) >= ratio_most {
            format!(
                "{what} unpacks to more than {ratio_most} times its size, as a packed bomb would; if it is a log, raise \
                 unpack_ratio_max"
            )
        } else {
            return Ok(());
        };
        Err(io::Error::other(told))
    }
}

/// Bytes that may come out whatever the ratio: too few to hurt.
const FREE_BYTES: u64 = 64 << 20;

/// Counts what is read through it.
pub struct Counted<R> {
    inner: R,
    bytes: Rc<Cell<u64>>,
}

impl<R> Counted<R> {
    pub fn new(inner: R) -> (Self, Rc<Cell<u64>>) {
        let bytes = Rc::new(Cell::new(0));
        (Self { inner, bytes: Rc::clone(&bytes) }, bytes)
    }
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let taken = self.inner.read(buffer)?;
        self.bytes.set(self.bytes.get() + taken as u64);
        Ok(taken)
    }
}

/// Ends in an error where the limits are passed.
pub struct Guard<R> {
    inner: R,
    packed: Rc<Cell<u64>>,
    unpacked: u64,
    limits: Unpacking,
}

impl<R> Guard<R> {
    /// `packed`: bytes taken in so far.
    pub fn new(inner: R, packed: Rc<Cell<u64>>, limits: Unpacking) -> Self {
        Self { inner, packed, unpacked: 0, limits }
    }
}

impl<R: Read> Read for Guard<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let taken = self.inner.read(buffer)?;
        self.unpacked += taken as u64;
        self.limits.allow("it", self.unpacked, self.packed.get())?;
        Ok(taken)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_all(limits: Unpacking, packed: u64, unpacked: u64) -> (u64, Option<String>) {
        let mut guard = Guard::new(io::repeat(0).take(unpacked), Rc::new(Cell::new(packed)), limits);
        let mut buffer = vec![0; 1 << 16];
        let mut seen = 0;
        loop {
            match guard.read(&mut buffer) {
                Ok(0) => return (seen, None),
                Ok(taken) => seen += taken as u64,
                Err(error) => return (seen, Some(error.to_string())),
            }
        }
    }

    #[test]
    fn size_and_ratio_are_bounded() {
        let limits = Unpacking { bytes_most: 1 << 20, ratio_most: 10 };
        assert_eq!(read_all(limits, 1, 1 << 20), (1 << 20, None), "small enough, whatever the ratio");
        let (seen, fault) = read_all(limits, 1 << 20, 1 << 40);
        assert!(seen <= 1 << 20 && fault.is_some_and(|text| text.contains("unpack_bytes_max")));
        let limits = Unpacking { bytes_most: 1 << 40, ratio_most: 10 };
        assert_eq!(read_all(limits, 20 << 20, 100 << 20), (100 << 20, None));
        let (seen, fault) = read_all(limits, 20 << 20, 1 << 40);
        assert!(seen <= 200 << 20 && fault.is_some_and(|text| text.contains("unpack_ratio_max")));
    }
}
