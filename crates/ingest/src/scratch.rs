//! Files that live no longer than a run: not flushed to disk, and small ones not packed, since a fleet of thousands has one of each
//! vehicle. A run that was killed starts with an empty spool, so nothing depends on what stood in them.

use std::fs::File;
use std::path::Path;

use arrow::array::{RecordBatch, RecordBatchReader};
use arrow::compute::concat_batches;
use backwatt_store::StoreError;
use bytes::Bytes;
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::basic::{Compression, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::reader::ChunkReader;

use crate::IngestError;

/// Below, packing costs more time than the room is worth.
const PACKED_ROWS: usize = 4096;
/// Files up to this size are read at once, the others piece by piece. [bytes]
const WHOLE_BYTES: u64 = 4 << 20;

pub fn write(path: &Path, batch: &RecordBatch) -> Result<(), IngestError> {
    let io = |source| IngestError::Io { doing: "write", path: path.to_owned(), source };
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(io)?;
    }
    let packed = batch.num_rows() >= PACKED_ROWS;
    let compression = if packed { Compression::ZSTD(ZstdLevel::default()) } else { Compression::UNCOMPRESSED };
    let properties = WriterProperties::builder()
        .set_compression(compression)
        .set_dictionary_enabled(packed)
        .set_statistics_enabled(EnabledStatistics::None)
        .build();
    let file = File::create(path).map_err(io)?;
    let mut writer =
        ArrowWriter::try_new(file, batch.schema(), Some(properties)).map_err(|e| fault("write", path, e))?;
    writer.write(batch).and_then(|()| writer.close()).map(drop).map_err(|e| fault("write", path, e))
}

pub fn read(path: &Path) -> Result<RecordBatch, IngestError> {
    let io = |source| IngestError::Io { doing: "read", path: path.to_owned(), source };
    let file = File::open(path).map_err(io)?;
    let batch = if file.metadata().map_err(io)?.len() <= WHOLE_BYTES {
        batch(Bytes::from(std::fs::read(path).map_err(io)?))
    } else {
        batch(file)
    };
    batch.map_err(|e| fault("read", path, e))
}

fn batch(reader: impl ChunkReader + 'static) -> Result<RecordBatch, ParquetError> {
    let reader = ParquetRecordBatchReaderBuilder::try_new(reader)?.with_batch_size(1 << 16).build()?;
    let schema = reader.schema();
    let batches = reader.collect::<Result<Vec<_>, _>>()?;
    Ok(concat_batches(&schema, &batches)?)
}

fn fault(doing: &'static str, path: &Path, source: ParquetError) -> IngestError {
    StoreError::Parquet { doing, path: path.to_owned(), source }.into()
}
