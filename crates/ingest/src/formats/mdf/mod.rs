//! MDF.
