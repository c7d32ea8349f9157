//! Energy per segment: pure kernels, and the ledger that books each joule to an account.
//!
//! One vehicle's samples and its sheet go in as an Arrow batch and plain numbers; trips, segments, braking events,
//! stops and charges come out as Arrow batches. Two layers: `kernels` (formulas, each with its source) and
//! `replay` (which stretch of log they are applied to).
//!
//! Deliberately absent: files, clocks, logs, globals, threads, settings files. Time zones enter as a function.

pub mod kernels;
pub mod replay;
mod truck;

pub use kernels::climate::Climate;
pub use kernels::filling::{Library, Origin, Trace};
pub use kernels::losses::Losses;
pub use replay::{
    AS_DRIVEN, Amount, Change, Driving, PhysicsError, Replay, ReplaySettings, Scenario, SpeedReading, Vehicle,
    Weather, Wind, is_fast, ledger_trace, power_trace, replay, scenarios, speed_traces, what_if, what_if_trace,
};
pub use truck::{Acceptance, Blending, Level, LiftOff, Open, PowerBoundary, RollingTemperature, Sheet, Truck};

/// Standard acceleration of gravity. [m/s²] 3rd CGPM (1901), exact.
pub const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;
