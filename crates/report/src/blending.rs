//! How the brake pedal of each vehicle type blends, from the settings as resolved.

use std::collections::BTreeMap;

use crate::SettingRow;
use crate::answers::Balance;
use crate::figure;

/// A sentence to follow another, as "by the way the pedal blends" asks for it; empty where no type is known.
pub fn told(settings: &[SettingRow], balances: &[Balance]) -> String {
    let of = |setting: &str| -> BTreeMap<String, &str> {
        let rows = settings.iter().filter_map(|row| {
            let name = row.key.strip_prefix("vehicle_types.")?.strip_suffix(setting)?;
            Some((name.to_owned(), row.value.as_str()))
        });
        rows.collect()
    };
    let shares = of(".pedal_regen_share");
    let share =
        |name: &String| shares.get(name).map_or(String::new(), |share| format!(", pedal share {share}"));
    let kinds: Vec<String> = of(".blending")
        .into_iter()
        .map(|(name, kind)| {
            let kind = match kind {
                "friction-only" => "friction brakes only".to_owned(),
                "parallel" => format!("in parallel{}", share(&name)),
                "series" => "in series".to_owned(),
                _ => format!("kind unknown, taken as parallel{}", share(&name)),
            };
            format!("{} {kind}{}", figure::name(&figure::scrub(&name)), left_to_friction(&name, balances))
        })
        .collect();
    if kinds.is_empty() {
        return String::new();
    }
    format!(" How the pedal blends, by the sheet: {}.", kinds.join("; "))
}

/// What of a type's braking energy that left to the friction brakes.
fn left_to_friction(vehicle_type: &str, balances: &[Balance]) -> String {
    let own =
        balances.iter().find(|balance| balance.grouping == "vehicle_type" && balance.name == vehicle_type);
    own.filter(|balance| balance.figure("energy_braking_kwh") > 0.0).map_or(String::new(), |balance| {
        let share = balance.share(balance.figure("braking_beyond_blending_kwh"), 1);
        format!(" ({share} % of its braking energy left to friction)")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings(rows: &[(&str, &str)]) -> Vec<SettingRow> {
        let row = |(key, value): &(&str, &str)| SettingRow {
            key: format!("vehicle_types.{key}"),
            value: (*value).to_owned(),
            origin: "pilot file, line 9".to_owned(),
        };
        rows.iter().map(row).collect()
    }

    #[test]
    fn every_kind_is_told() {
        let settings = settings(&[
            ("a.mass", "3000 kg"),
            ("a.blending", "friction-only"),
            ("b.blending", "parallel"),
            ("b.pedal_regen_share", "0.4"),
            ("c.blending", "series"),
            ("d.blending", "unknown"),
            ("d.pedal_regen_share", "0.5"),
        ]);
        assert_eq!(
            told(&settings, &[]),
            " How the pedal blends, by the sheet: a friction brakes only; b in parallel, pedal share 0.4; \
             c in series; d kind unknown, taken as parallel, pedal share 0.5."
        );
        assert_eq!(told(&settings[..1], &[]), "");
        let balance = Balance {
            grouping: "vehicle_type".to_owned(),
            name: "c".to_owned(),
            figures: [
                ("energy_braking_kwh".to_owned(), Some(40.0)),
                ("braking_beyond_blending_kwh".to_owned(), Some(3.0)),
            ]
            .into(),
            row: 0,
        };
        let told = figure::plain(&told(&settings, &[balance]));
        assert!(told.contains("c in series (7.5 % of its braking energy left to friction); d"), "{told}");
    }
}
