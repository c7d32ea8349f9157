//! The accounts of a page: columns of `ledger_trace` under the words a reader sees.

/// What a figure rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rests {
    Model,
    /// Known where battery power is logged.
    Battery,
}

/// One account of the ledger.
#[derive(Debug, Clone, Copy)]
pub struct Account {
    pub column: &'static str,
    pub label: &'static str,
    pub rests: Rests,
}

/// Accounts that belong together, under one heading.
pub struct Group {
    pub heading: &'static str,
    /// Column that the group's shares are of, and its words; none where shares say nothing.
    pub share_of: Option<(&'static str, &'static str)>,
    pub accounts: &'static [Account],
}

const fn model(column: &'static str, label: &'static str) -> Account {
    Account { column, label, rests: Rests::Model }
}

const fn battery(column: &'static str, label: &'static str) -> Account {
    Account { column, label, rests: Rests::Battery }
}

const BRAKING: Option<(&str, &str)> = Some(("energy_braking_kwh", "of the span's braking at the wheels"));

pub const GROUPS: [Group; 4] = [
    Group {
        heading: "At the wheels; kinetic + grade + rolling + air = tractive − braking",
        share_of: None,
        accounts: &[
            model("energy_tractive_kwh", "tractive"),
            model("energy_braking_kwh", "braking"),
            model("energy_kinetic_kwh", "kinetic, faster at the end counts up"),
            model("energy_grade_kwh", "grade, uphill counts up"),
            model("energy_rolling_kwh", "rolling resistance"),
            model("energy_aero_kwh", "air drag"),
        ],
    },
    Group {
        heading: "Where the braking energy went, by the first limit that binds",
        share_of: BRAKING,
        accounts: &[
            model("braking_beyond_axle_kwh", "beyond the driven axle"),
            model("braking_beyond_blending_kwh", "left to friction by the pedal's blending"),
            model("braking_in_fade_kwh", "low-speed fade"),
            model("braking_beyond_level_kwh", "withheld by a level below the strongest"),
            model("braking_beyond_torque_kwh", "beyond motor torque"),
            model("braking_beyond_power_kwh", "beyond motor power"),
            model("braking_beyond_acceptance_kwh", "not accepted by the battery"),
            model("braking_converted_kwh", "lost between wheel and dc link"),
            model("braking_to_auxiliaries_kwh", "fed to auxiliaries"),
            model("energy_recoverable_kwh", "recoverable at the terminals"),
        ],
    },
    Group {
        heading: "Between wheels and battery",
        share_of: None,
        accounts: &[
            model("energy_drive_dc_kwh", "drawn at the dc link to drive"),
            model(
                "energy_returned_bus_kwh",
                "returned at the dc link, from battery power where that is logged",
            ),
            model("energy_auxiliary_kwh", "auxiliaries"),
            model("energy_attainable_kwh", "attainable: recoverable at the best level"),
        ],
    },
    Group {
        heading: "At the battery terminals, as logged",
        share_of: None,
        accounts: &[
            battery("energy_discharged_kwh", "gross discharge"),
            battery("energy_recovered_kwh", "recovered"),
            battery("energy_returned_unknown_store_kwh", "returned, store unknown"),
            battery("energy_unbraked_inflow_kwh", "inflow that braking cannot explain"),
            battery("energy_plugged_kwh", "charged at a plug"),
            battery("energy_unexplained_kwh", "unexplained: logged less modelled"),
        ],
    },
];

/// Accounts that are packed, in this order.
pub fn packed() -> impl Iterator<Item = &'static Account> {
    GROUPS.iter().flat_map(|group| group.accounts)
}

#[cfg(test)]
mod tests {
    use backwatt_schema::tables;

    use super::*;

    #[test]
    fn every_account_is_a_column_of_the_trace_and_of_the_segments() {
        for account in packed() {
            let trace = tables::LEDGER_TRACE.column(account.column).expect(account.column);
            let segments = tables::SEGMENTS.column(account.column).expect(account.column);
            assert_eq!(trace.unit, segments.unit);
        }
        for column in tables::CASCADE {
            assert!(packed().any(|account| account.column == column), "{column}");
        }
    }
}
