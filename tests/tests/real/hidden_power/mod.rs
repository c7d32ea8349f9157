//! Power hidden from real logs: what is inferred from state of charge alone against what was measured.

mod coarser;
mod passenger_ev;
mod score;
