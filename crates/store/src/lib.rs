//! Tables on disk: Parquet in and out, written whole or not at all, with where they came from in their metadata.
//!
//! Deliberately absent: what the columns mean (`schema`), and any clock: provenance names inputs and settings by
//! digest, never a time of writing, so that the same input gives the same bytes.

mod atomic;
mod digest;
mod error;
mod hold;
mod layout;
mod parquet_file;

pub use atomic::{sweep_unfinished, write_bytes, write_with};
pub use digest::{digest_bytes, digest_file, digest_reader};
pub use error::StoreError;
pub use hold::Hold;
pub use layout::{Layout, safe_name};
pub use parquet_file::{
    Provenance, TableWriter, read_table, read_table_columns, read_table_if_present, read_table_start,
    write_table,
};
