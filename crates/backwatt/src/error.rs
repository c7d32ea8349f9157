use std::path::PathBuf;

use backwatt_demo::DemoError;
use backwatt_ingest::IngestError;
use backwatt_physics::PhysicsError;
use backwatt_report::ReportError;
use backwatt_schema::{BatchError, Problem};
use backwatt_store::StoreError;

/// Why a stage could not be done. Problems with single rows are no errors: they are in the outcome.
#[derive(Debug, thiserror::Error)]
pub enum BackwattError {
    #[error("{}", .0.iter().map(Problem::to_string).collect::<Vec<_>>().join("\n\n"))]
    Problems(Vec<Problem>),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Ingest(#[from] IngestError),
    #[error(transparent)]
    Physics(#[from] PhysicsError),
    #[error(transparent)]
    Batch(#[from] BatchError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error(transparent)]
    Demo(#[from] DemoError),
    #[error("cannot {doing} {path}")]
    Io {
        doing: &'static str,
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
}

impl BackwattError {
    /// True when the file system had no room left, or a file may not grow any further.
    pub fn is_disk_full(&self) -> bool {
        use std::io::ErrorKind::{FileTooLarge, QuotaExceeded, StorageFull};
        let mut next: Option<&(dyn std::error::Error + 'static)> = Some(self);
        while let Some(error) = next {
            let kind = error.downcast_ref::<std::io::Error>().map(std::io::Error::kind);
            if matches!(kind, Some(StorageFull | QuotaExceeded | FileTooLarge)) {
                return true;
            }
            next = error.source();
        }
        false
    }

    /// A fault of this program rather than of its inputs.
    pub fn is_bug(&self) -> bool {
        matches!(
            self,
            Self::Ingest(IngestError::Unbalanced { .. } | IngestError::Batch(_))
                | Self::Physics(
                    PhysicsError::Open { .. } | PhysicsError::NotSorted { .. } | PhysicsError::Batch(_)
                )
                | Self::Batch(_)
        )
    }
}
