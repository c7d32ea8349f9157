//! Suite.
