//! The steps that braking energy takes from the wheels to the battery terminals, with their names and intervals.

use backwatt_schema::tables;

use crate::answers::Balance;

/// One step of one group, in shares of its braking energy.
pub struct BrakingStep {
    pub column: &'static str,
    pub share: f64,
    /// 90 % interval at the braking energy as it stands.
    pub range: [f64; 2],
}

/// Every step; none where no braking energy is claimed.
pub fn of(balance: &Balance) -> Vec<BrakingStep> {
    let braking = balance.figure("energy_braking_kwh");
    if braking <= 0.0 {
        return Vec::new();
    }
    let share = |column: &str| balance.figure(column) / braking;
    let columns = tables::CASCADE.into_iter().zip(tables::CASCADE_RANGES);
    columns.map(|(column, ends)| BrakingStep { column, share: share(column), range: ends.map(share) }).collect()
}

impl BrakingStep {
    pub fn is_recoverable(&self) -> bool {
        self.column == "energy_recoverable_kwh"
    }

    pub fn name(&self) -> &'static str {
        step_name(self.column)
    }

    /// "12.3 % (9.8 to 15.1)".
    pub fn shown(&self) -> String {
        format!("{:.1} % ({})", 100.0 * self.share, self.range_shown())
    }

    /// "9.8 to 15.1", in percent.
    pub fn range_shown(&self) -> String {
        let [low, high] = self.range.map(|end| 100.0 * end);
        format!("{low:.1} to {high:.1}")
    }
}

/// Names of the steps, as printed.
pub fn step_name(column: &str) -> &'static str {
    match column {
        "braking_beyond_axle_kwh" => "beyond what the driven axle may take",
        "braking_beyond_blending_kwh" => "left to friction brakes by the pedal's blending",
        "braking_in_fade_kwh" => "in the low-speed fade of regen",
        "braking_beyond_level_kwh" => "withheld by a regen level below the strongest",
        "braking_beyond_torque_kwh" => "beyond motor torque",
        "braking_beyond_power_kwh" => "beyond motor power",
        "braking_beyond_acceptance_kwh" => "refused by a full or cold battery",
        "braking_converted_kwh" => "lost between wheel and dc link",
        "braking_to_auxiliaries_kwh" => "used by auxiliaries on the way",
        _ => "recoverable at the battery terminals",
    }
}

/// In what state the battery refused; nothing to tell where it refused next to nothing.
pub fn refused(balance: &Balance) -> Option<String> {
    let all = balance.figure("braking_beyond_acceptance_kwh");
    if all < 0.0005 * balance.figure("energy_braking_kwh") || all <= 0.0 {
        return None;
    }
    let share = |column: &str| 100.0 * balance.figure(column) / all;
    let (full, cold) = (share("braking_refused_full_kwh"), share("braking_refused_cold_kwh"));
    Some(format!(
        "Of what the battery refused {full:.0} % came while it was nearly full, {cold:.0} % while it was cold and {:.0} % while neither held its power down.",
        (100.0 - full - cold).abs()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_state_of_a_battery_that_refuses_is_told() {
        let of = |figures: &[(&str, f64)]| Balance {
            grouping: "pilot".to_owned(),
            name: "all".to_owned(),
            figures: figures.iter().map(|(name, value)| ((*name).to_owned(), Some(*value))).collect(),
            row: 0,
        };
        let refused_kwh = |kwh: f64| ("braking_beyond_acceptance_kwh", kwh);
        assert_eq!(refused(&of(&[("energy_braking_kwh", 100.0), refused_kwh(0.01)])), None);
        assert_eq!(refused(&of(&[])), None);
        let both = [("braking_refused_full_kwh", 1.0), ("braking_refused_cold_kwh", 2.0)];
        let told = refused(&of(&[[("energy_braking_kwh", 100.0), refused_kwh(4.0)], both].concat()));
        let told = told.unwrap_or_default();
        assert!(
            told.contains("25 % came while it was nearly full, 50 % while it was cold and 25 % while neither"),
            "{told}"
        );
    }
}
