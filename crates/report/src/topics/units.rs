//! Miles or kilometres, as the pilot file asks.

const KM_PER_MILE: f64 = 1.609_344;

#[derive(Debug, Clone, Copy)]
pub struct Units {
    pub metric: bool,
}

impl Units {
    /// Factor from miles.
    pub fn miles(self) -> f64 {
        if self.metric { KM_PER_MILE } else { 1.0 }
    }

    /// Factor from something for each mile.
    pub fn per_mile(self) -> f64 {
        1.0 / self.miles()
    }

    pub fn mile(self) -> &'static str {
        if self.metric { "km" } else { "mile" }
    }

    pub fn miles_word(self) -> &'static str {
        if self.metric { "km" } else { "miles" }
    }

    /// A heading with `{mile}` and `{miles}` filled in.
    pub fn heading(self, head: &str) -> String {
        head.replace("{miles}", self.miles_word()).replace("{mile}", self.mile())
    }
}
