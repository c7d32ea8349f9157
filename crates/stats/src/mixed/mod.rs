//! Linear mixed models with crossed random intercepts, by restricted maximum likelihood.
//!
//! y = X b + Σ Z u + e with u ~ N(0, s² I) for each grouping and e ~ N(0, s²/w + v); w are weights, v variances that are
//! known. Groupings may be crossed, nested and unbalanced. What it is used for: what is left of each level once the others
//! are allowed for.
//!
//! [`fit`] finds the variances, [`Fit::contrast`] any linear combination of coefficients and levels with its standard
//! error and small-sample degrees of freedom, [`Fit::draws`] the levels with the variances left as open as rows leave them.

mod contrast;
mod design;
mod draws;
mod information;
mod reml;
mod system;

pub use contrast::Estimate;
pub use design::{Design, Grouping, Unfit, is_independent};
pub use reml::{Fit, fit};
