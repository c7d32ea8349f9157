//! Which names of a file the mapping asks for, where a file has no header that lists them all.

use crate::header::position;
use crate::settings::Source;

/// The names of a file's fields and which of them are worth filling.
pub struct Wanted {
    pub names: Vec<String>,
    pub needed: Vec<bool>,
    /// Some names stand there because the mapping asks for them, not because they were met.
    pub promised: bool,
}

impl Wanted {
    /// `met`: the names at the start of the file. Where it goes on, a mapped column that was not met may come later and is
    /// promised. Time and vehicle are in every row or the file cannot be read: they are not.
    pub fn among(source: &Source, met: Vec<String>, goes_on: bool) -> Self {
        let mut names = met;
        let mut promised = false;
        // In long form the columns of the mapping are no names of fields.
        if goes_on && source.long.is_none() {
            for mapping in &source.columns {
                let absent = !mapping.names.iter().any(|name| position(&names, name).is_some());
                if let (true, Some(first)) = (absent, mapping.names.first()) {
                    names.push(first.clone());
                    promised = true;
                }
            }
            // A receiver may find its first fix late.
            for name in source.time.gps.iter().flat_map(|gps| &gps.columns) {
                if position(&names, name).is_none() {
                    names.push(name.clone());
                }
            }
        }
        // Without a mapping somebody is looking at the file, and wants to see all.
        let mut needed = vec![source.columns.is_empty(); names.len()];
        for at in source.wanted().filter_map(|name| position(&names, name)) {
            needed[at] = true;
        }
        Self { names, needed, promised }
    }
}
