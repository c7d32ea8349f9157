//! A library that stops with a panic must cost its file, not the run.

use std::cell::Cell;
use std::fmt::Display;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};

thread_local! {
    static INSIDE: Cell<u32> = const { Cell::new(0) };
}

/// True while this thread is inside a library whose panics are caught: a panic then is the file's fault, not the program's.
pub fn panics_are_caught() -> bool {
    INSIDE.get() > 0
}

/// Counts the thread in, and out again however the call ends.
struct Inside;

impl Inside {
    fn enter() -> Self {
        INSIDE.set(INSIDE.get() + 1);
        Self
    }
}

impl Drop for Inside {
    fn drop(&mut self) {
        INSIDE.set(INSIDE.get() - 1);
    }
}

/// Calls into a library. Its error, or its panic, becomes an error of the file being read, which ends that file and
/// stands in its receipt. The library's values are dropped after a panic, never used again: whoever calls keeps that.
pub fn guarded<T, E: Display>(library: &str, call: impl FnOnce() -> Result<T, E>) -> io::Result<T> {
    let inside = Inside::enter();
    let ended = catch_unwind(AssertUnwindSafe(call));
    drop(inside);
    match ended {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(error)) => Err(io::Error::other(error.to_string())),
        Err(panic) => {
            let said = panic.downcast_ref::<&str>().map(|text| (*text).to_owned());
            let said = said.or_else(|| panic.downcast_ref::<String>().cloned()).unwrap_or_default();
            Err(io::Error::other(format!(
                "the {library} library gave up on this file ({said}): it may be damaged"
            )))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_an_error_of_the_file() {
        let table: Vec<u8> = Vec::new();
        let error = guarded("table", || Ok::<u8, io::Error>(table[3])).unwrap_err();
        assert!(
            error.to_string().contains("the table library gave up on this file (index out of bounds"),
            "{error}"
        );
        let plain = guarded("table", || Err::<u8, _>("no such block")).unwrap_err();
        assert_eq!(plain.to_string(), "no such block");
        assert_eq!(guarded("table", || Ok::<_, io::Error>(3)).unwrap(), 3);
        assert!(guarded("table", || Ok::<_, io::Error>(panics_are_caught())).unwrap());
        assert!(!panics_are_caught(), "also after a panic");
    }
}
