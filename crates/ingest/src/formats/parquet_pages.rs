//! The pieces a Parquet file is read in, bounded: a page that says it unpacks to gigabytes is refused before room is made for it.
//!
//! The library makes room for what a page's header says, up to 2 GiB, and looks afterwards. The directory at the end of the file
//! states what each column comes to, which was held against the limits of packed files by then: no page of it may be larger.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

use bytes::Bytes;
use parquet::errors::ParquetError;
use parquet::file::metadata::{ColumnChunkMetaData, ParquetMetaData, RowGroupMetaData};
use parquet::file::reader::{ChunkReader, Length};

/// Writers keep pages near 1 MiB (Apache Parquet format, "Configurations": 8 KB recommended for single row lookup; 1 MiB is the
/// default of the common writers, from memory). A row group without pages of its own comes to its size; this is far above any.
const PIECE_BYTES_MOST: u64 = 128 << 20;
/// The three counts a page header begins with are no longer than this.
const HEADER_BYTES: usize = 20;

pub struct Bounded {
    file: File,
    piece_bytes_most: u64,
    /// Of each column in each row group: where it begins and ends, and what it unpacks to.
    columns: Vec<(u64, u64, u64)>,
}

impl Bounded {
    pub fn new(file: File) -> Self {
        Self { file, piece_bytes_most: PIECE_BYTES_MOST, columns: Vec::new() }
    }

    /// From here on pages are held against what the directory says of their columns.
    pub fn know(&mut self, metadata: &ParquetMetaData) {
        let size = |bytes: i64| u64::try_from(bytes).unwrap_or(0);
        let columns = metadata.row_groups().iter().flat_map(RowGroupMetaData::columns);
        let place = |column: &ColumnChunkMetaData| {
            let start = size(column.dictionary_page_offset().unwrap_or(column.data_page_offset()));
            (start, start.saturating_add(size(column.compressed_size())), size(column.uncompressed_size()))
        };
        self.columns = columns.map(place).collect();
        self.columns.sort_unstable();
    }

    /// What a page that begins here may unpack to; `None` outside of the columns.
    fn most_at(&self, start: u64) -> Option<u64> {
        let after = self.columns.partition_point(|column| column.0 <= start);
        let (_, end, plain) = self.columns.get(after.checked_sub(1)?)?;
        (start < *end).then(|| (*plain).min(self.piece_bytes_most))
    }
}

impl Length for Bounded {
    fn len(&self) -> u64 {
        self.file.len()
    }
}

impl ChunkReader for Bounded {
    type T = <File as ChunkReader>::T;

    fn get_read(&self, start: u64) -> Result<Self::T, ParquetError> {
        if let Some(most) = self.most_at(start) {
            let mut head = Vec::with_capacity(HEADER_BYTES);
            let mut file = self.file.try_clone()?;
            file.seek(SeekFrom::Start(start))?;
            file.take(HEADER_BYTES as u64).read_to_end(&mut head)?;
            if let Some(unpacked) = unpacked_bytes(&head).filter(|unpacked| *unpacked > most) {
                return Err(ParquetError::General(format!(
                    "a page says that it unpacks to {unpacked} bytes, where its column may have {most}: the file is damaged, or made to \
                     fill the memory"
                )));
            }
        }
        self.file.get_read(start)
    }

    fn get_bytes(&self, start: u64, length: usize) -> Result<Bytes, ParquetError> {
        if length as u64 > self.piece_bytes_most {
            return Err(ParquetError::General(format!(
                "a page of {length} bytes is larger than the {} bytes read here at once: write the file with smaller pages (1 MiB is usual)",
                self.piece_bytes_most
            )));
        }
        self.file.get_bytes(start, length)
    }
}

/// What a page header says that its page unpacks to, in bytes: the second of the counts it begins with.
///
/// Source   Apache Parquet format, `PageHeader` (type, uncompressed_page_size, compressed_page_size) in the compact protocol of
///          Apache Thrift: each is a byte 0x15 (the next field, a 32-bit integer) and a zigzag count of seven bits a byte
fn unpacked_bytes(head: &[u8]) -> Option<u64> {
    let (kind, rest) = count(head)?;
    let (unpacked, rest) = count(rest)?;
    count(rest)?;
    (0..=3).contains(&kind).then(|| u64::try_from(unpacked).ok()).flatten()
}

fn count(bytes: &[u8]) -> Option<(i64, &[u8])> {
    let rest = bytes.strip_prefix(&[0x15])?;
    let last = rest.iter().take(5).position(|byte| byte & 0x80 == 0)?;
    let raw = rest[..=last].iter().rev().fold(0_u64, |sum, byte| sum << 7 | u64::from(byte & 0x7F));
    Some(((raw >> 1) as i64 ^ -((raw & 1) as i64), &rest[last + 1..]))
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    fn bounded(bytes: &[u8], piece_bytes_most: u64, columns: Vec<(u64, u64, u64)>) -> Bounded {
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(bytes).unwrap();
        Bounded { file, piece_bytes_most, columns }
    }

    #[test]
    fn no_piece_above_the_bound_is_taken_in() {
        let bounded = bounded(&[7; 4000], 1000, Vec::new());
        assert_eq!(bounded.get_bytes(100, 1000).unwrap().len(), 1000);
        let told = bounded.get_bytes(100, 1001).unwrap_err().to_string();
        assert!(told.contains("a page of 1001 bytes") && told.contains("smaller pages"), "{told}");
    }

    #[test]
    fn a_page_may_not_be_larger_than_its_column() {
        // A data page, 2 GiB less one byte unpacked, 300 bytes packed.
        let lie = [0x15, 0x00, 0x15, 0xFE, 0xFF, 0xFF, 0xFF, 0x0F, 0x15, 0xD8, 0x04, 0x2C];
        assert_eq!(unpacked_bytes(&lie), Some((1 << 31) - 1));
        let file = [&[0; 4][..], &lie, &[0; 400]].concat();
        let sound = |columns| {
            bounded(&file, PIECE_BYTES_MOST, columns).get_read(4).map(drop).map_err(|e| e.to_string())
        };
        assert_eq!(sound(Vec::new()), Ok(()), "outside of the columns nothing is a page");
        assert!(
            sound(vec![(4, 400, 9000)])
                .unwrap_err()
                .contains("unpacks to 2147483647 bytes, where its column may have 9000")
        );
        // Where the directory lies as well, a page is still no larger than a piece.
        assert!(sound(vec![(4, 400, u64::MAX)]).unwrap_err().contains("may have 134217728"));
        for no_header in
            [&[][..], &[0x15], &[0x15, 0x80, 0x80, 0x80, 0x80, 0x80], &[0x15, 0x08, 0x15, 0x02, 0x15, 0x02]]
        {
            assert_eq!(unpacked_bytes(no_header), None, "{no_header:?}");
        }
    }
}
