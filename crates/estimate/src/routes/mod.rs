//! Routes: which trips belong together.
//!
//! First pass, one vehicle at a time: its rounds, grouped by how alike they are ([`Drafts::of`]). Then the groups of all
//! vehicles become routes ([`Routes::find`]), and vehicle by vehicle again each round is held against them
//! ([`Routes::assign`]), which also adds up what is driven on each.

mod assign;
mod drafts;
mod driven;
mod found;
mod linkage;
mod names;
mod path;
mod rounds;
mod table;
mod way;

pub use assign::Assigned;
pub use drafts::{ALIKE, CELLS_LEAST, Drafts};
pub use driven::Driven;
pub use found::Routes;
