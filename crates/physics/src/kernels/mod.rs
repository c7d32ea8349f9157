//! Formulas, one kernel a file, each with its source and a check value.

pub mod adhesion;
pub mod air;
pub mod axle_spin;
pub mod battery_flow;
pub mod cascade;
pub mod climate;
pub mod coastdown;
pub mod filling;
pub mod gravity;
pub mod hampel;
pub mod height;
pub mod level_fit;
pub mod loss_map;
pub mod losses;
pub mod mass;
mod quadrature;
pub mod rectified;
pub mod road_load;
pub mod rolling;
pub mod shares;
pub mod speed;
pub mod wind;
