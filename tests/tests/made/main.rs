//! The made-up pilot against the truth its forward model knows.
//!
//! The forward model shares no code and no loss law with `physics` and `estimate`, so these are checks and not
//! echoes. The logs are noisy, quantised and damaged, and the sheet is off by a few percent: tolerances say how far
//! the answers may be from the truth, in its own units.

mod answers;
mod avoidable;
mod charging;
mod defects;
mod drivers;
mod filling;
mod plan;
mod repeat;
mod route_edges;
mod route_town;
mod routes;
mod sections;
mod steps;
mod truth;
