use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::StoreError;

/// SHA-256 of a file, in hexadecimal, read in pieces.
pub fn digest_file(path: &Path) -> Result<String, StoreError> {
    File::open(path).and_then(digest_reader).map_err(|e| StoreError::io("read", path, e))
}

/// SHA-256 of all that a reader gives, in hexadecimal, read in pieces.
pub fn digest_reader(mut reader: impl Read) -> io::Result<String> {
    let mut hasher = Sha256::new();
    let mut buffer = vec![0_u8; 1 << 16];
    loop {
        match reader.read(&mut buffer)? {
            0 => break,
            n => hasher.update(&buffer[..n]),
        }
    }
    Ok(hexadecimal(&hasher.finalize()))
}

/// SHA-256 of bytes, in hexadecimal.
pub fn digest_bytes(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    #[test]
    fn matches_the_published_vector() {
        // FIPS 180-2, appendix B.1: SHA-256 of "abc".
        assert_eq!(
            super::digest_bytes(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
