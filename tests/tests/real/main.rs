//! Open data of real vehicles: short excerpts, which are always here, and the whole data sets where they are.
//!
//! Expected figures are those the publishers print or those worked out from the raw files beside the data, each
//! cited where it is used. Tolerances are constants with units and stand for a stated difference of method.

mod checks;
mod diesel_truck;
mod drafts;
mod fit;
mod heavy_tractor;
mod hidden_power;
mod passenger_ev;
mod passenger_ev_errors;
mod passenger_ev_power;
mod plug_in_cars;
mod quadrature;
mod quadricycle;
mod set;
mod slow_log;
mod trolleybus;
mod trolleybus_braking;
mod trolleybus_mass;
mod trolleybus_motor;
mod trolleybus_road;
mod trolleybus_steps;
