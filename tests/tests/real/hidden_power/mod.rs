//! Power hidden from real logs: what is inferred from state of charge alone against what was measured.
//!
//! Columns of power are left out, state of charge is rounded and rows are dropped; the sheet stays the fixture's, and
//! nothing is tuned. `scripts/proof` prints the page that these suites fill.

mod coarser;
mod page;
mod passenger_ev;
mod quadricycle;
mod score;
mod slow_log;
