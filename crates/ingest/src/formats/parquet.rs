//! Parquet: batch by batch, the wanted columns only. Fields of structs go by their names joined by dots.
//!
//! Every value becomes the text a person would write: numbers in their shortest form that reads back as the same number of
//! the column's own type (a 32-bit 0.1 is "0.1"), decimals in full, dates as 2026-02-01. An instant (a timestamp with a time
//! zone) becomes RFC 3339 in UTC (`kind = "iso"`); a timestamp without a zone becomes `2026-02-01 08:00:00.5`
//! (`kind = "local"`, `format = "%Y-%m-%d %H:%M:%S%.f"`), because nobody can know which zone it was in.

use std::fs::File;
use std::io;

use arrow::array::{Array, ArrayRef, RecordBatch, StructArray};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Field, Fields as ArrowFields};
use arrow::util::display::{ArrayFormatter, FormatOptions};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{
    ArrowReaderMetadata, ArrowReaderOptions, ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder,
};
use parquet::file::metadata::ParquetMetaData;

use super::guard::guarded;
use super::parquet_pages::Bounded;
use super::wanted::Wanted;
use super::{Fields, Opened, Records, RowText};
use crate::input::{Input, Unpacking};
use crate::settings::Source;

const BATCH_ROWS: usize = 4096;
/// A time and a speed are more than this as they stand in memory.
const ROW_BYTES_LEAST: u64 = 8;
const DEPTH_MOST: usize = 16;

pub fn recognises(head: &[u8]) -> bool {
    head.starts_with(b"PAR1")
}

pub fn open(source: &Source, input: Input) -> io::Result<Opened> {
    let file = input.into_file()?;
    let (reader, wanted) = sound(|| reader(source, file))?;
    let records = Parquet { reader, wanted, columns: Vec::new(), batch_rows: 0, at: 0, record: 0 };
    Ok(Opened { description: "Parquet".to_owned(), ..Opened::new(Box::new(records)) })
}

/// The library is not proof against every damaged file: where it stops hard, that is an error of the file.
fn sound<T>(read: impl FnOnce() -> io::Result<T>) -> io::Result<T> {
    guarded("Parquet", read)
}

fn reader(source: &Source, file: File) -> io::Result<(ParquetRecordBatchReader, Wanted)> {
    let mut bounded = Bounded::new(file);
    let metadata =
        ArrowReaderMetadata::load(&bounded, ArrowReaderOptions::default()).map_err(io::Error::other)?;
    bombs(metadata.metadata(), &source.unpacking)?;
    bounded.know(metadata.metadata());
    let builder = ParquetRecordBatchReaderBuilder::new_with_metadata(bounded, metadata);
    let (mut names, mut roots) = (Vec::new(), Vec::new());
    for (root, field) in builder.schema().fields().iter().enumerate() {
        let before = names.len();
        collect(field, "", 0, &mut names);
        roots.extend(std::iter::repeat_n(root, names.len() - before));
    }
    let wanted = Wanted::among(source, names, false);
    let needed = roots.iter().zip(&wanted.needed).filter(|(_, needed)| **needed).map(|(root, _)| *root);
    let mask = ProjectionMask::roots(builder.parquet_schema(), needed);
    let reader = builder.with_projection(mask).with_batch_size(BATCH_ROWS).build().map_err(io::Error::other)?;
    Ok((reader, wanted))
}

/// Refuses a file whose columns unpack to what no log comes to, as a packed stream would be refused.
fn bombs(metadata: &ParquetMetaData, limits: &Unpacking) -> io::Result<()> {
    let mut unpacked = 0_u64;
    for (number, group) in metadata.row_groups().iter().enumerate() {
        let size = |bytes: i64| u64::try_from(bytes).unwrap_or(0);
        // Runs of one value take no room, whatever their length; times and speeds are no such run.
        let rows_bytes = size(group.num_rows()).saturating_mul(ROW_BYTES_LEAST);
        limits.allow(&format!("row group {number}"), rows_bytes, size(group.compressed_size()))?;
        for column in group.columns() {
            let (packed, plain) = (size(column.compressed_size()), size(column.uncompressed_size()));
            unpacked = unpacked.saturating_add(plain);
            let what = format!("column {} of row group {number}", column.column_path());
            limits.allow(&what, plain, packed).and_then(|()| limits.allow("it", unpacked, unpacked))?;
        }
    }
    Ok(())
}

/// Adds the dotted names of all plain values; lists and maps are none.
fn collect(field: &Field, prefix: &str, depth: usize, names: &mut Vec<String>) {
    let name = joined(prefix, field.name());
    match field.data_type() {
        DataType::Struct(inner) if depth < DEPTH_MOST => {
            inner.iter().for_each(|field| collect(field, &name, depth + 1, names));
        }
        other if is_plain(other) => names.push(name),
        _ => {}
    }
}

fn joined(prefix: &str, name: &str) -> String {
    if prefix.is_empty() { name.to_owned() } else { format!("{prefix}.{name}") }
}

fn is_plain(kind: &DataType) -> bool {
    !kind.is_nested() || matches!(kind, DataType::Dictionary(..))
}

struct Parquet {
    reader: ParquetRecordBatchReader,
    wanted: Wanted,
    /// The batch at hand as texts, for each name; `None` where it is not needed.
    columns: Vec<Option<Texts>>,
    batch_rows: usize,
    at: usize,
    record: u64,
}

impl Records for Parquet {
    fn names(&self) -> &[String] {
        &self.wanted.names
    }

    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        while self.at >= self.batch_rows {
            match sound(|| self.reader.next().transpose().map_err(io::Error::other))? {
                None => return Ok(RowText::End),
                Some(batch) => self.turn_to(&batch)?,
            }
        }
        fields.clear();
        for column in &self.columns {
            fields.push(column.as_ref().map_or("", |texts| texts.get(self.at)).as_bytes());
        }
        let line = self.record;
        self.at += 1;
        self.record += 1;
        Ok(RowText::Row { line, raw: Vec::new() })
    }
}

impl Parquet {
    fn turn_to(&mut self, batch: &RecordBatch) -> io::Result<()> {
        self.columns.clear();
        for (name, needed) in self.wanted.names.iter().zip(&self.wanted.needed) {
            let found = if *needed { leaf(batch, name) } else { None };
            self.columns.push(found.map(|array| Texts::of(&array)).transpose()?);
        }
        (self.batch_rows, self.at) = (batch.num_rows(), 0);
        Ok(())
    }
}

/// The array of a dotted name.
fn leaf(batch: &RecordBatch, name: &str) -> Option<ArrayRef> {
    within(batch.schema_ref().fields(), batch.columns(), name)
}

fn within(fields: &ArrowFields, columns: &[ArrayRef], name: &str) -> Option<ArrayRef> {
    fields.iter().zip(columns).find_map(|(field, column)| {
        let rest = name.strip_prefix(field.name().as_str())?;
        match (rest.strip_prefix('.'), column.as_any().downcast_ref::<StructArray>()) {
            (None, None) if rest.is_empty() => Some(column.clone()),
            (Some(rest), Some(inner)) => {
                // A place that is null has no values within, whatever its children hold.
                let found = within(inner.fields(), inner.columns(), rest)?;
                let nulls = arrow::buffer::NullBuffer::union(inner.nulls(), found.nulls());
                let data = found.to_data().into_builder().nulls(nulls).build().ok()?;
                Some(arrow::array::make_array(data))
            }
            _ => None,
        }
    })
}

/// A column's cells as text.
struct Texts {
    bytes: String,
    ends: Vec<usize>,
}

impl Texts {
    fn of(array: &ArrayRef) -> io::Result<Self> {
        let array = in_utc(array)?;
        let options = FormatOptions::new()
            .with_null("")
            .with_timestamp_format(Some("%Y-%m-%d %H:%M:%S%.f"))
            .with_datetime_format(Some("%Y-%m-%d %H:%M:%S%.f"));
        let cells = ArrayFormatter::try_new(&array, &options).map_err(io::Error::other)?;
        let mut texts = Texts { bytes: String::new(), ends: Vec::with_capacity(array.len()) };
        for at in 0..array.len() {
            // A value that cannot be shown (a date beyond all calendars) is refused as the cell it is.
            if cells.value(at).write(&mut texts.bytes).is_err() {
                texts.bytes.push_str("unreadable");
            }
            texts.ends.push(texts.bytes.len());
        }
        Ok(texts)
    }

    fn get(&self, at: usize) -> &str {
        let start = if at == 0 { 0 } else { self.ends[at - 1] };
        &self.bytes[start..self.ends[at]]
    }
}

/// Instants are kept in UTC whatever zone they are to be shown in.
fn in_utc(array: &ArrayRef) -> io::Result<ArrayRef> {
    match array.data_type() {
        DataType::Timestamp(unit, Some(_)) => {
            cast(array, &DataType::Timestamp(*unit, Some("+00:00".into()))).map_err(io::Error::other)
        }
        DataType::Dictionary(_, values) => {
            cast(array, values).map_err(io::Error::other).and_then(|plain| in_utc(&plain))
        }
        _ => Ok(array.clone()),
    }
}
