//! Test suites live in `tests/`; this library is empty on purpose.
