//! The forward model: a driver, a road, a drivetrain and a battery, stepped ten times a second.

pub mod account;
pub mod auxiliaries;
pub mod battery;
pub mod day;
pub mod drivetrain;
pub mod habits;
mod rolling;
pub mod round;
mod run;
pub mod sample;
pub mod standing;
pub mod truck;
