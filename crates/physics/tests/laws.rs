//! Laws of the kernels and of the replay, on random trucks and drives.

mod laws {
    pub mod accounts;
    pub mod blending;
    pub mod cascade;
    pub mod crossings;
    pub mod edges;
    pub mod filling;
    pub mod ledger_trace;
    pub mod levels;
    pub mod loads;
    pub mod made;
    pub mod recovery;
    pub mod scenarios;
    pub mod shares;
    pub mod swings;
    pub mod symmetry;
    pub mod trace;
    pub mod what_if;
}
