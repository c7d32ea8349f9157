use std::process::ExitCode;

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    Done = 0,
    /// The thing asked for could not be done.
    Failed = 1,
    /// Wrong usage.
    Usage = 2,
    /// Done, but more data was rejected than allowed.
    Rejected = 3,
    /// A bug of ours.
    Bug = 70,
}

impl Exit {
    pub fn code(self) -> ExitCode {
        ExitCode::from(self as u8)
    }
}
