//! Takes the packing off a file, layer by layer, by what its first bytes show.

use std::fs::File;
use std::io::{self, BufReader, Cursor, Read};

use flate2::bufread::{DeflateDecoder, MultiGzDecoder};
use zstd::stream::read::Decoder as ZstdDecoder;

use super::archive::{Member, Packing, is_zip, members};
use super::guard::{Counted, Guard, Unpacking};
use crate::settings::LogFile;

/// A log in gzip in zip has two; more layers are no log.
const LAYERS_MOST: usize = 3;
/// A window of 128 MiB is the most a zstd file may ask for.
const ZSTD_WINDOW_LOG: u32 = 27;

/// The unpacked stream, and the names of the packings taken off, outermost first.
pub fn open(file: &LogFile, limits: Unpacking) -> io::Result<(Box<dyn Read>, Vec<&'static str>)> {
    let mut packing = Vec::new();
    let mut stream: Box<dyn Read> = match &file.member {
        None => Box::new(File::open(&file.path)?),
        Some(member) => {
            packing.push("zip");
            member_stream(file, member, limits)?
        }
    };
    loop {
        let mut head = Vec::new();
        // A fault within the first bytes is met again when they are read.
        let fault = stream.by_ref().take(300).read_to_end(&mut head).err();
        let again: Box<dyn Read> = Box::new(Cursor::new(head.clone()).chain(Faulty(fault)).chain(stream));
        if is_zip(&head) {
            return Err(unlisted(file));
        }
        let Some(name) = packing_of(&head)? else { return Ok((again, packing)) };
        if packing.len() >= LAYERS_MOST {
            return Err(io::Error::other("it is packed in more than three layers, as a packed bomb would be"));
        }
        packing.push(name);
        stream = layer(again, name, limits)?;
    }
}

/// The packing that first bytes show, or why it cannot be taken off.
fn packing_of(head: &[u8]) -> io::Result<Option<&'static str>> {
    let unread = |what: &str| {
        let hint = "unpack it, or pack the log with gzip, zstd or zip (deflate)";
        Err(io::Error::other(format!("it is {what}, which is not read here: {hint}")))
    };
    match head {
        [0x1F, 0x8B, ..] => Ok(Some("gzip")),
        [0x28, 0xB5, 0x2F, 0xFD, ..] | [0x50..=0x5F, 0x2A, 0x4D, 0x18, ..] => Ok(Some("zstd")),
        [b'B', b'Z', b'h', b'1'..=b'9', b'1', b'A', b'Y', ..] => unread("packed with bzip2"),
        [0xFD, b'7', b'z', b'X', b'Z', 0, ..] => unread("packed with xz"),
        [b'7', b'z', 0xBC, 0xAF, ..] => unread("a 7z archive"),
        [b'R', b'a', b'r', b'!', 0x1A, ..] => unread("a rar archive"),
        head if head.get(257..262) == Some(b"ustar") => unread("a tar archive"),
        _ => Ok(None),
    }
}

/// Why an archive stands where a log should.
fn unlisted(file: &LogFile) -> io::Error {
    if file.member.is_some() {
        return io::Error::other("it is an archive within an archive: unpack the outer one");
    }
    match members(&file.path) {
        Err(error) => error,
        Ok(archive) => io::Error::other(
            archive
                .and_then(|archive| archive.fault)
                .unwrap_or("it is an archive that holds no log".to_owned()),
        ),
    }
}

fn layer(stream: Box<dyn Read>, name: &'static str, limits: Unpacking) -> io::Result<Box<dyn Read>> {
    let (counted, packed) = Counted::new(stream);
    let buffered = BufReader::with_capacity(1 << 16, counted);
    Ok(match name {
        "gzip" => Box::new(Guard::new(MultiGzDecoder::new(buffered), packed, limits)),
        _ => {
            let mut decoder = ZstdDecoder::with_buffer(buffered)?;
            decoder.window_log_max(ZSTD_WINDOW_LOG)?;
            Box::new(Guard::new(decoder, packed, limits))
        }
    })
}

fn member_stream(file: &LogFile, member: &Member, limits: Unpacking) -> io::Result<Box<dyn Read>> {
    let packed_bytes = member.packed(&file.path)?;
    let unpacked: Box<dyn Read> = match member.packing {
        Packing::Stored => Box::new(packed_bytes),
        Packing::Deflated => {
            let (counted, packed) = Counted::new(packed_bytes);
            let buffered = BufReader::with_capacity(1 << 16, counted);
            Box::new(Guard::new(DeflateDecoder::new(buffered), packed, limits))
        }
        Packing::Encrypted => return Err(io::Error::other("it is encrypted: unpack it")),
        Packing::Other => {
            return Err(io::Error::other(
                "it is packed by a method that is not read here: unpack it, or pack it with deflate",
            ));
        }
    };
    Ok(Box::new(Checked { inner: unpacked, sum: flate2::Crc::new(), wanted: member.checksum }))
}

/// Ends in an error where the bytes were not those the archive's checksum was made of.
struct Checked {
    inner: Box<dyn Read>,
    sum: flate2::Crc,
    wanted: u32,
}

impl Read for Checked {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let taken = self.inner.read(buffer)?;
        self.sum.update(&buffer[..taken]);
        if taken == 0 && !buffer.is_empty() && self.sum.sum() != self.wanted {
            return Err(io::Error::other(
                "its bytes do not match the archive's checksum: cut short or damaged",
            ));
        }
        Ok(taken)
    }
}

/// Gives one error, if there is one, and then nothing.
struct Faulty(Option<io::Error>);

impl Read for Faulty {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        self.0.take().map_or(Ok(0), Err)
    }
}
