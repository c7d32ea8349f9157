use std::path::PathBuf;

use backwatt_schema::BatchError;

#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    #[error("cannot {doing} {path}")]
    Io {
        doing: &'static str,
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("cannot {doing} {path} as Parquet")]
    Parquet {
        doing: &'static str,
        path: PathBuf,
        #[source]
        source: parquet::errors::ParquetError,
    },
    #[error("another run is writing to {folder}: wait for it to end, or name another folder with --out")]
    InUse { folder: PathBuf },
    #[error("{path} is not a {table} table of version {version}; run the stage that writes it again")]
    OtherVersion { path: PathBuf, table: &'static str, version: u32 },
    #[error("{path} does not hold what its table says")]
    Batch {
        path: PathBuf,
        #[source]
        source: BatchError,
    },
}

impl StoreError {
    pub(crate) fn io(doing: &'static str, path: &std::path::Path, source: std::io::Error) -> Self {
        Self::Io { doing, path: path.to_owned(), source }
    }
}
