//! Agreement with regulations, published tables, closed forms and libraries that are not ours.
//!
//! One module a group; each check is a function of its own that names its source. A tolerance is the rounding of the
//! printed value or the claim of the source, never what the program happened to give.

mod air_geodesy;
mod avoidable;
mod batches;
mod cycles;
mod drive;
mod filling;
mod integrated;
mod partitions;
mod pilot_defaults;
mod posterior;
mod ratios;
mod regulation;
mod road_load;
mod rules_of_thumb;
mod sampling;
mod smoothing;
mod tables;
mod units;
mod worked_stop;
