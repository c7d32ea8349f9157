//! Every resolved value with where it comes from.

use std::collections::HashMap;

use serde::Serialize;

#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "from", rename_all = "lowercase")]
pub enum Origin {
    /// Written in the pilot file.
    File { line: u64 },
    /// Supplied by the tool; the source says why this value.
    Default { source: String },
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Setting {
    pub key: String,
    pub value: String,
    #[serde(flatten)]
    pub origin: Origin,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Listing {
    settings: Vec<Setting>,
    positions: HashMap<String, usize>,
}

impl Listing {
    pub fn put(&mut self, key: String, value: String, origin: Origin) {
        match self.positions.get(&key) {
            Some(&at) => (self.settings[at].value, self.settings[at].origin) = (value, origin),
            None => {
                self.positions.insert(key.clone(), self.settings.len());
                self.settings.push(Setting { key, value, origin });
            }
        }
    }

    pub fn into_settings(self) -> Vec<Setting> {
        self.settings
    }
}
