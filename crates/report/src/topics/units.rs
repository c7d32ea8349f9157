//! Miles or kilometres: what the pilot file asks for; a page can show the other.

use crate::figure::{self, Kind};

#[derive(Debug, Clone, Copy)]
pub struct Units {
    pub metric: bool,
}

impl Units {
    /// The unit of a figure of this kind, as a mark.
    pub fn unit(self, kind: Kind) -> String {
        figure::unit(kind, self.metric)
    }

    /// A figure that stands in no table by itself, as a mark.
    pub fn figure(self, si: f64, kind: Kind, digits: usize) -> String {
        figure::figure(si, kind, digits, self.metric)
    }

    pub fn per_distance(self) -> String {
        self.unit(Kind::PerDistance)
    }

    pub fn distance(self) -> String {
        self.unit(Kind::Distance)
    }

    /// A heading with `{kWh/mile}` and `{miles}` filled in.
    pub fn heading(self, head: &str) -> String {
        head.replace("{kWh/mile}", &self.per_distance()).replace("{miles}", &self.distance())
    }
}
