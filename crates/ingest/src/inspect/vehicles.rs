//! Which vehicle a file is of, where only its name or its folder says so.

use std::collections::BTreeMap;

use super::Look;
use super::draft::escaped;

/// Whether the names of the files begin with their vehicle: "T1_0329.csv", "T1_0330.csv", "T2_0329.csv".
pub fn in_names(looks: &[Look]) -> bool {
    let mut files: BTreeMap<&str, usize> = BTreeMap::new();
    for look in looks {
        let Some((vehicle, _)) = parted(&look.shown) else { return false };
        *files.entry(vehicle).or_default() += 1;
    }
    // Beginnings that differ throughout may number the files.
    files.len() > 1 && files.values().any(|count| *count > 1)
}

/// The name of a file with its vehicle captured.
pub fn pattern(shown: &str) -> String {
    let (folder, name) = shown.rsplit_once('/').map_or(("", shown), |(folder, name)| (folder, name));
    let folder = if folder.is_empty() { String::new() } else { escaped(folder) + "/" };
    match parted(shown) {
        Some((vehicle, _)) => format!("{folder}{{vehicle}}{}", escaped(&name[vehicle.len()..])),
        None => escaped(shown),
    }
}

/// The last folder on the way to the files.
pub fn by_folder(folder: &str) -> Option<&str> {
    folder.rsplit('/').next().filter(|name| !name.is_empty())
}

/// A name of letters and digits, and what follows it.
fn parted(shown: &str) -> Option<(&str, &str)> {
    let name = shown.rsplit('/').next()?;
    let (vehicle, rest) = name.split_once(['_', '-', ' '])?;
    let has = |is: fn(&char) -> bool| vehicle.chars().any(|c| is(&c));
    let sound =
        has(char::is_ascii_digit) && has(|c| c.is_alphabetic()) && vehicle.chars().all(char::is_alphanumeric);
    (sound && vehicle.len() <= 20).then_some((vehicle, rest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::Format;

    fn looks(names: &[&str]) -> Vec<Look> {
        let look = |name: &&str| Look {
            shown: (*name).to_owned(),
            format: Format::Delimited,
            dbc: None,
            description: String::new(),
            decimal_comma: false,
            long: None,
            names: Vec::new(),
            units: Vec::new(),
            rows: Vec::new(),
        };
        names.iter().map(look).collect()
    }

    #[test]
    fn files_that_begin_with_their_vehicle() {
        assert!(in_names(&looks(&["T1_0329.csv", "T1_0330.csv", "logs/T2_0329.csv"])));
        for no in [
            &["TripA01.csv", "TripA02.csv"][..],
            &["T1_0329.csv", "T2_0329.csv"],
            &["T1_0329.csv", "T1_0330.csv"],
            &["log_1.csv", "log_2.csv", "log_1.txt"],
            &["2026-03-01.csv", "2026-03-02.csv", "2027-03-02.csv"],
        ] {
            assert!(!in_names(&looks(no)), "{no:?}");
        }
        assert_eq!(pattern("a[1]/T1_0329.csv"), "a[[]1]/{vehicle}_0329.csv");
        assert_eq!((by_folder("logs/T1"), by_folder("")), (Some("T1"), None));
    }
}
