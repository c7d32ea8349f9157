//! The tables `charge_sessions` and `capacity`.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, Evidence, tables};

use super::capacity::{apparent_kwh, rise_sd};
use super::{ChargerEfficiencies, Matched, Reading, SessionCapacity, capacity_from_sessions};
use crate::sheet::BatterySheet;

/// A vehicle's sessions and what they say.
#[derive(Debug, Clone)]
pub struct VehicleSessions {
    pub vehicle_id: String,
    pub vehicle_type: String,
    pub battery: Option<BatterySheet>,
    pub matched: Vec<Matched>,
    pub capacity: Option<SessionCapacity>,
    chargers: ChargerEfficiencies,
}

impl VehicleSessions {
    /// Weighs a vehicle's matched sessions.
    pub fn new(
        vehicle_id: &str,
        vehicle_type: &str,
        mut matched: Vec<Matched>,
        battery: Option<BatterySheet>,
        chargers: ChargerEfficiencies,
    ) -> Self {
        let capacity = capacity_from_sessions(&mut matched, battery, chargers);
        Self {
            vehicle_id: vehicle_id.to_owned(),
            vehicle_type: vehicle_type.to_owned(),
            battery,
            matched,
            capacity,
            chargers,
        }
    }

    fn refused(&self) -> u64 {
        self.matched.iter().filter(|one| one.refused.is_some()).count() as u64
    }

    /// Measured over stated, at the 5th, 50th and 95th percentile.
    fn ratio(&self) -> Option<[f64; 3]> {
        let stated_kwh = self.battery?.capacity_kwh;
        Some(self.capacity?.capacity_kwh().map(|kwh| kwh / stated_kwh))
    }

    fn evidence(&self) -> Evidence {
        if self.capacity.is_some() { Evidence::Counter } else { Evidence::Modelled }
    }

    fn why(&self) -> String {
        match (self.capacity, self.matched.len()) {
            (Some(found), all) => format!(
                "{} of {all} charge sessions, metered energy over the rise of the state of charge",
                found.sessions
            ),
            (None, 0) => "no charge session of this vehicle".to_owned(),
            (None, all) => format!("none of {all} charge sessions tells: charge_sessions says why"),
        }
    }
}

/// One row for each session, vehicles in the order given.
pub fn charge_sessions_table(vehicles: &[VehicleSessions]) -> Result<RecordBatch, BatchError> {
    let rows: Vec<(&VehicleSessions, &Matched)> =
        vehicles.iter().flat_map(|of| of.matched.iter().map(move |one| (of, one))).collect();
    let each = || rows.iter().map(|(_, one)| *one);
    let start = |pick: fn(Reading) -> f64| each().map(move |one| one.start.map(pick));
    let end = |pick: fn(Reading) -> f64| each().map(move |one| one.end.map(pick));
    let basis = |reading: Option<Reading>| reading.map(|r| if r.is_stated { "stated" } else { "logged" });
    let ends = || each().map(|one| one.start.zip(one.end));
    let apparent: Vec<Option<[f64; 3]>> = rows
        .iter()
        .map(|(of, one)| one.refused.is_none().then(|| apparent_kwh(one, of.battery, of.chargers)).flatten())
        .collect();
    let apparent = |at: usize| apparent.iter().map(move |kwh| kwh.map(|kwh| kwh[at]));
    let used = "it tells energy and rise";
    BatchBuilder::new(&tables::CHARGE_SESSIONS)
        .text("vehicle_id", rows.iter().map(|(of, _)| Some(of.vehicle_id.as_str())))
        .time("time_start_ns", each().map(|one| one.session.from_ns))
        .time("time_end_ns", each().map(|one| one.session.until_ns))
        .number("energy_metered_kwh", each().map(|one| one.session.energy_metered_kwh))
        .text("metered", each().map(|one| Some(one.session.metered.as_str())))
        .number("power_max_w", each().map(|one| one.session.power_max_w))
        .number("soc_start_frac", start(|r| r.soc_frac))
        .text("soc_start_basis", each().map(|one| basis(one.start)))
        .number("soc_end_frac", end(|r| r.soc_frac))
        .text("soc_end_basis", each().map(|one| basis(one.end)))
        .number("wait_start_s", start(|r| r.wait_s))
        .number("wait_end_s", end(|r| r.wait_s))
        .number("soc_rise_frac", ends().map(|ends| ends.map(|(start, end)| end.soc_frac - start.soc_frac)))
        .number("soc_rise_sd_frac", ends().map(|ends| ends.map(|(start, end)| rise_sd(start, end))))
        .number("capacity_apparent_p05_kwh", apparent(0))
        .number("capacity_apparent_p50_kwh", apparent(1))
        .number("capacity_apparent_p95_kwh", apparent(2))
        .flag("used", each().map(|one| one.refused.is_none()))
        .text("why", each().map(|one| Some(one.refused.as_deref().unwrap_or(used))))
        .count("source_line", each().map(|one| one.session.line))
        .finish()
}

/// One row for each vehicle, in the order given.
pub fn capacity_table(vehicles: &[VehicleSessions]) -> Result<RecordBatch, BatchError> {
    let why: Vec<String> = vehicles.iter().map(VehicleSessions::why).collect();
    let measured = |at: usize| vehicles.iter().map(move |of| of.capacity.map(|found| found.capacity_kwh()[at]));
    let ratio = |at: usize| vehicles.iter().map(move |of| of.ratio().map(|ratio| ratio[at]));
    BatchBuilder::new(&tables::CAPACITY)
        .text("vehicle_id", vehicles.iter().map(|of| Some(of.vehicle_id.as_str())))
        .text("vehicle_type", vehicles.iter().map(|of| Some(of.vehicle_type.as_str())))
        .number("capacity_stated_kwh", vehicles.iter().map(|of| of.battery.map(|battery| battery.capacity_kwh)))
        .number("capacity_measured_p05_kwh", measured(0))
        .number("capacity_measured_p50_kwh", measured(1))
        .number("capacity_measured_p95_kwh", measured(2))
        .number("capacity_ratio_p05_frac", ratio(0))
        .number("capacity_ratio_p50_frac", ratio(1))
        .number("capacity_ratio_p95_frac", ratio(2))
        .count("sessions", vehicles.iter().map(|of| of.capacity.map_or(0, |found| found.sessions)))
        .count("sessions_refused", vehicles.iter().map(VehicleSessions::refused))
        .text("evidence", vehicles.iter().map(|of| Some(of.evidence().as_str())))
        .text("why", why.iter().map(|why| Some(why.as_str())))
        .finish()
}
