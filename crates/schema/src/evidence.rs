use std::fmt;

/// What a figure about the battery rests on. No such figure travels without one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Evidence {
    /// No battery signal at all: physics and the vehicle sheet alone.
    Modelled,
    /// State of charge narrowed what physics allowed.
    Inferred,
    /// Cumulative energy counters.
    Counter,
    /// Battery voltage and current, or power.
    Measured,
}

impl Evidence {
    pub fn as_str(self) -> &'static str {
        match self {
            Evidence::Modelled => "modelled",
            Evidence::Inferred => "inferred",
            Evidence::Counter => "counter",
            Evidence::Measured => "measured",
        }
    }

    /// The grade a stored text stands for; `None` for a text no version of this program wrote.
    pub fn parse(text: &str) -> Option<Self> {
        [Self::Modelled, Self::Inferred, Self::Counter, Self::Measured]
            .into_iter()
            .find(|grade| grade.as_str() == text)
    }
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}
