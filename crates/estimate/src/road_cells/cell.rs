//! Sums of one cell.

use backwatt_schema::tables;

use super::shares::Battery;

#[derive(Debug, Clone, Default, PartialEq)]
pub struct Cell {
    pub passes: u64,
    pub vehicles: u64,
    pub stops: u64,
    pub distance_m: f64,
    pub moving_s: f64,
    pub climb_m: f64,
    pub descent_m: f64,
    /// Distance over which the height is known.
    pub height_known_m: f64,
    pub braking_kwh: f64,
    /// In the order of `tables::CASCADE`.
    pub cascade_kwh: [f64; tables::CASCADE.len()],
    pub braking_claimed_kwh: f64,
    /// 5th, 50th and 95th percentile, where they are claimed.
    pub recovered_kwh: [f64; 3],
    pub has_claim: bool,
    /// Braking energy beside it by evidence: measured, inferred, modelled.
    pub braking_by_evidence_kwh: [f64; 3],
    pub braking_measured_kwh: f64,
}

impl Cell {
    pub fn add_battery(&mut self, battery: &Battery) {
        if battery.is_braking_claimed {
            self.braking_claimed_kwh += battery.braking_kwh;
        }
        if battery.evidence == 0 {
            self.braking_measured_kwh += battery.braking_kwh;
        }
        let Some(recovered) = battery.recovered_kwh else { return };
        self.has_claim = true;
        self.recovered_kwh.iter_mut().zip(recovered).for_each(|(sum, part)| *sum += part);
        self.braking_by_evidence_kwh[battery.evidence] += battery.braking_kwh;
    }

    pub fn add(&mut self, other: &Cell) {
        self.passes += other.passes;
        self.vehicles += other.vehicles;
        self.stops += other.stops;
        self.distance_m += other.distance_m;
        self.moving_s += other.moving_s;
        self.climb_m += other.climb_m;
        self.descent_m += other.descent_m;
        self.height_known_m += other.height_known_m;
        self.braking_kwh += other.braking_kwh;
        self.braking_claimed_kwh += other.braking_claimed_kwh;
        self.has_claim |= other.has_claim;
        self.braking_measured_kwh += other.braking_measured_kwh;
        let add =
            |sums: &mut [f64], more: &[f64]| sums.iter_mut().zip(more).for_each(|(sum, part)| *sum += part);
        add(&mut self.cascade_kwh, &other.cascade_kwh);
        add(&mut self.recovered_kwh, &other.recovered_kwh);
        add(&mut self.braking_by_evidence_kwh, &other.braking_by_evidence_kwh);
    }
}
