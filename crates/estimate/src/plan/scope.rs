//! Which days an assumption speaks of.

use std::fmt;

/// Three months each; the year of the meteorologists.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Season {
    Winter,
    Spring,
    Summer,
    Autumn,
}

impl Season {
    pub const ALL: [Season; 4] = [Season::Winter, Season::Spring, Season::Summer, Season::Autumn];

    pub fn as_str(self) -> &'static str {
        match self {
            Season::Winter => "winter",
            Season::Spring => "spring",
            Season::Summer => "summer",
            Season::Autumn => "autumn",
        }
    }

    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|season| season.as_str() == text)
    }

    /// Season of a service day "2026-02-28": December to February is winter in the north.
    pub fn of_day(day: &str, southern: bool) -> Option<Self> {
        let is_date = day.len() == 10 && day.get(4..5) == Some("-") && day.get(7..8) == Some("-");
        let month = day.get(5..7).filter(|_| is_date)?;
        let month: usize = month.parse().ok().filter(|month| (1..=12).contains(month))?;
        let quarter = month % 12 / 3;
        Some(Self::ALL[(quarter + if southern { 2 } else { 0 }) % 4])
    }
}

impl fmt::Display for Season {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// `None`: every one.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Scope {
    pub vehicle_type: Option<String>,
    pub route: Option<String>,
    pub season: Option<Season>,
}

impl Scope {
    pub fn takes_day(&self, vehicle_type: &str, season: Option<Season>) -> bool {
        let same_type = self.vehicle_type.as_deref().is_none_or(|wanted| wanted == vehicle_type);
        same_type && self.season.is_none_or(|wanted| season == Some(wanted))
    }

    pub fn takes_route(&self, route: &str) -> bool {
        self.route.as_deref().is_none_or(|wanted| wanted == route)
    }
}

impl fmt::Display for Scope {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let season = self.season.map(Season::as_str);
        let parts = [self.vehicle_type.as_deref(), self.route.as_deref(), season];
        let named: Vec<&str> = parts.into_iter().flatten().collect();
        if named.is_empty() { f.write_str("the whole pilot") } else { f.write_str(&named.join(", ")) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_have_seasons_and_the_south_has_the_other() {
        assert_eq!(Season::of_day("2026-12-31", false), Some(Season::Winter));
        assert_eq!(Season::of_day("2026-02-28", false), Some(Season::Winter));
        assert_eq!(Season::of_day("2026-03-01", false), Some(Season::Spring));
        assert_eq!(Season::of_day("2026-07-01", true), Some(Season::Winter));
        assert_eq!(Season::of_day("T1-0003", false), None);
        assert_eq!(Season::of_day("T-2-13-", false), None);
    }
}
