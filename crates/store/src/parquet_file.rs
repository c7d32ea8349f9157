use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::{RecordBatch, RecordBatchReader};
use arrow::compute::concat_batches;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::arrow::{ArrowWriter, ProjectionMask};
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use tempfile::NamedTempFile;

use backwatt_schema::Table;

use crate::{StoreError, atomic};

/// Rows in a row group: small enough to stream, large enough to compress.
const ROW_GROUP_ROWS: usize = 131_072;

/// Where a table came from, written into its file metadata.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Provenance {
    /// Version of the program.
    pub program: String,
    /// Digest over the resolved settings that moved a number of this table.
    pub settings_digest: String,
    /// Digest over the inputs' digests, in name order.
    pub inputs_digest: String,
}

impl Provenance {
    fn pairs(&self) -> Vec<KeyValue> {
        [
            ("backwatt.program", &self.program),
            ("backwatt.settings_digest", &self.settings_digest),
            ("backwatt.inputs_digest", &self.inputs_digest),
        ]
        .into_iter()
        .map(|(key, value)| KeyValue::new(key.to_owned(), value.clone()))
        .collect()
    }
}

/// Writes a table piece by piece; nothing stands at its path until `finish`.
pub struct TableWriter {
    path: PathBuf,
    temporary: NamedTempFile,
    writer: ArrowWriter<File>,
    rows: u64,
}

impl TableWriter {
    pub fn create(path: &Path, table: &'static Table, provenance: &Provenance) -> Result<Self, StoreError> {
        let folder = path.parent().unwrap_or(Path::new("."));
        std::fs::create_dir_all(folder).map_err(|e| StoreError::io("make the folder of", path, e))?;
        let temporary = atomic::temporary_in(folder).map_err(|e| StoreError::io("write beside", path, e))?;
        let file = temporary.as_file().try_clone().map_err(|e| StoreError::io("write", path, e))?;
        let properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .set_max_row_group_row_count(Some(ROW_GROUP_ROWS))
            .set_created_by("backwatt".to_owned())
            .set_key_value_metadata(Some(provenance.pairs()))
            .build();
        let writer = ArrowWriter::try_new(file, table.schema(), Some(properties))
            .map_err(|source| StoreError::Parquet { doing: "write", path: path.to_owned(), source })?;
        Ok(Self { path: path.to_owned(), temporary, writer, rows: 0 })
    }

    pub fn write(&mut self, batch: &RecordBatch) -> Result<(), StoreError> {
        self.rows += batch.num_rows() as u64;
        self.writer.write(batch).map_err(|source| StoreError::Parquet {
            doing: "write",
            path: self.path.clone(),
            source,
        })
    }

    /// Puts the file in its place and gives the number of rows in it.
    pub fn finish(self) -> Result<u64, StoreError> {
        let Self { path, temporary, writer, rows } = self;
        writer.close().map_err(|source| StoreError::Parquet { doing: "write", path: path.clone(), source })?;
        atomic::finish(temporary, &path)?;
        Ok(rows)
    }
}

pub fn write_table(
    path: &Path,
    table: &'static Table,
    batch: &RecordBatch,
    provenance: &Provenance,
) -> Result<(), StoreError> {
    let mut writer = TableWriter::create(path, table, provenance)?;
    writer.write(batch)?;
    writer.finish().map(drop)
}

/// Reads a table whole, refusing one of another version.
pub fn read_table(path: &Path, table: &'static Table) -> Result<RecordBatch, StoreError> {
    let whole = read(path, table, None)?;
    // The table's own schema again, without the file's provenance keys in it.
    RecordBatch::try_new(table.schema(), whole.columns().to_vec()).map_err(|e| arrow_fault(path, &e))
}

/// Reads some columns of a table, in the table's order, refusing one of another version.
pub fn read_table_columns(
    path: &Path,
    table: &'static Table,
    columns: &[&str],
) -> Result<RecordBatch, StoreError> {
    let some = read(path, table, Some(columns))?;
    let kept: Vec<usize> =
        (0..table.columns.len()).filter(|at| columns.contains(&table.columns[*at].name)).collect();
    let schema = table.schema().project(&kept).map_err(|e| arrow_fault(path, &e))?;
    RecordBatch::try_new(Arc::new(schema), some.columns().to_vec()).map_err(|e| arrow_fault(path, &e))
}

/// Reads the first rows of a table, however long it is.
pub fn read_table_start(path: &Path, table: &'static Table, rows: usize) -> Result<RecordBatch, StoreError> {
    let some = read_rows(path, table, None, Some(rows))?;
    RecordBatch::try_new(table.schema(), some.columns().to_vec()).map_err(|e| arrow_fault(path, &e))
}

fn arrow_fault(path: &Path, error: &arrow::error::ArrowError) -> StoreError {
    let source = parquet::errors::ParquetError::ArrowError(error.to_string());
    StoreError::Parquet { doing: "read", path: path.to_owned(), source }
}

fn read(path: &Path, table: &'static Table, columns: Option<&[&str]>) -> Result<RecordBatch, StoreError> {
    read_rows(path, table, columns, None)
}

fn read_rows(
    path: &Path,
    table: &'static Table,
    columns: Option<&[&str]>,
    most: Option<usize>,
) -> Result<RecordBatch, StoreError> {
    let parquet = |source| StoreError::Parquet { doing: "read", path: path.to_owned(), source };
    let file = File::open(path).map_err(|e| StoreError::io("read", path, e))?;
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).map_err(parquet)?;
    let metadata = builder.schema().metadata();
    let version = metadata.get("backwatt.table_version").map(String::as_str);
    if metadata.get("backwatt.table").map(String::as_str) != Some(table.name)
        || version != Some(table.version.to_string().as_str())
        || !builder.schema().fields().iter().map(|f| f.name().as_str()).eq(table.columns.iter().map(|c| c.name))
    {
        return Err(StoreError::OtherVersion {
            path: path.to_owned(),
            table: table.name,
            version: table.version,
        });
    }
    let mask = match columns {
        Some(names) => ProjectionMask::columns(builder.parquet_schema(), names.iter().copied()),
        None => ProjectionMask::all(),
    };
    let builder = builder.with_projection(mask).with_batch_size(ROW_GROUP_ROWS);
    let builder = match most {
        Some(rows) => builder.with_limit(rows),
        None => builder,
    };
    let reader = builder.build().map_err(parquet)?;
    let schema = reader.schema();
    let batches = reader.collect::<Result<Vec<_>, _>>().map_err(|e| arrow_fault(path, &e))?;
    concat_batches(&schema, &batches).map_err(|e| arrow_fault(path, &e))
}

/// As [`read_table`], with `None` where there is no such file.
pub fn read_table_if_present(path: &Path, table: &'static Table) -> Result<Option<RecordBatch>, StoreError> {
    if path.exists() { read_table(path, table).map(Some) } else { Ok(None) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use backwatt_schema::{BatchBuilder, tables::STOPS};

    fn stops() -> RecordBatch {
        BatchBuilder::new(&STOPS)
            .text("vehicle_id", [Some("T1")])
            .text("trip_id", [None])
            .text("kind", [Some("parked")])
            .time("time_start_ns", [1])
            .time("time_end_ns", [2])
            .number("duration_s", [1e-9])
            .number("lat_deg", [None])
            .number("lon_deg", [None])
            .number("energy_discharged_kwh", [Some(0.5)])
            .finish()
            .unwrap()
    }

    #[test]
    fn there_and_back_with_the_same_bytes() {
        let folder = tempfile::tempdir().unwrap();
        let paths = ["a", "b"].map(|name| folder.path().join(name));
        for path in &paths {
            write_table(path, &STOPS, &stops(), &Provenance::default()).unwrap();
            assert_eq!(read_table(path, &STOPS).unwrap(), stops());
        }
        assert_eq!(std::fs::read(&paths[0]).unwrap(), std::fs::read(&paths[1]).unwrap());
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2, "no temporary file stays behind");
    }

    #[test]
    fn another_table_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t");
        write_table(&path, &STOPS, &stops(), &Provenance::default()).unwrap();
        let refusal = read_table(&path, &backwatt_schema::tables::TRIPS).unwrap_err();
        assert!(matches!(refusal, StoreError::OtherVersion { .. }));
    }
}
