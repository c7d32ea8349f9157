//! Sums of one vehicle by whatever the pilot can be cut by. Tallies of several vehicles add up.

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use backwatt_schema::{
    BatchError, BatchView, Evidence, KILOGRAMS_PER_SHORT_TON, METRES_PER_MILE, number_at, tables, text_at,
};

use crate::correction::{Band, bands};
use crate::errors::Errors;
use crate::features;
use crate::learned::{Figure, OfDay, Posterior};
use crate::statistics::day_of;

/// One group of one grouping on one vehicle-day: what an interval takes as its unit.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    pub grouping: &'static str,
    pub group: String,
    pub cluster: String,
}

pub type Tally = BTreeMap<Key, Sums>;

/// Sums over segments. Ratios need numerator and denominator over the same segments, hence the pairs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sums {
    pub trips: BTreeSet<String>,
    /// Dated service days: a clock of its own has none.
    pub days: BTreeSet<String>,
    pub distance_mi: f64,
    pub moving_s: f64,
    pub measured_moving_s: f64,
    pub inferred_moving_s: f64,
    pub claimed_moving_s: f64,
    pub engine_or_unexplained_s: f64,
    pub tractive_kwh: f64,
    pub braking_raw_kwh: f64,
    pub tractive_claimed_kwh: f64,
    pub braking_kwh: f64,
    pub braking_low_kwh: f64,
    pub braking_high_kwh: f64,
    pub recoverable_kwh: f64,
    pub recoverable_low_kwh: f64,
    pub recoverable_high_kwh: f64,
    pub attainable_kwh: f64,
    /// Recovered wherever it is claimed.
    pub recovered_kwh: f64,
    pub recovered_errors: Errors,
    pub net_errors: Errors,
    /// Of net energy where something is claimed to have come back.
    pub net_paired_errors: Errors,
    /// Of the braking energy claimed: what mass, rolling and drag may be other than on the sheet.
    pub braking_errors: Errors,
    pub braking_beyond_sheet_kwh: f64,
    /// Recovered where braking energy is claimed as well, and the denominators of the same segments.
    pub recovered_braking_kwh: f64,
    pub braking_paired_kwh: f64,
    pub recoverable_paired_kwh: f64,
    pub discharged_paired_kwh: f64,
    pub net_paired_kwh: f64,
    pub bus_paired_kwh: f64,
    pub distance_paired_mi: f64,
    pub moving_paired_s: f64,
    pub measured_paired_s: f64,
    pub inferred_paired_s: f64,
    pub unknown_store_kwh: f64,
    pub discharged_kwh: f64,
    pub net_kwh: f64,
    /// Consumption, where the battery alone drove.
    pub net_driving_kwh: f64,
    pub distance_battery_mi: f64,
    pub measured_discharged_kwh: f64,
    pub unexplained_kwh: f64,
    pub standing_kwh: f64,
    pub parked_kwh: f64,
    pub net_with_payload_kwh: f64,
    pub ton_mi: f64,
    pub distance_with_payload_mi: f64,
}

/// Names of the groupings, in the order they are printed.
pub const GROUPINGS: [&str; 10] = [
    "pilot",
    "vehicle_type",
    "vehicle",
    "route",
    "driver",
    "regen_level",
    "level_of_type",
    "temperature_band",
    "service_day",
    "trip",
];

/// The group of what the log does not name.
pub(crate) const UNKNOWN: &str = "(unknown)";

/// Adds up one vehicle's segments with their battery figures, and their errors as the posterior has them.
pub fn tally(
    segments: &RecordBatch,
    battery: &RecordBatch,
    trips: &RecordBatch,
    trip_routes: &RecordBatch,
    posterior: &Posterior<'_>,
) -> Result<Tally, BatchError> {
    let reader = Reader::new(segments, battery, trips, trip_routes)?;
    let features = features::Reader::new(segments, trips, posterior.sheet())?;
    let level_told: Vec<bool> = (0..posterior.sheet().level_slots())
        .map(|slot| posterior.told(Some(slot)).evidence == Evidence::Inferred)
        .collect();
    let mut of_days: BTreeMap<String, OfDay> = BTreeMap::new();
    let mut tally = Tally::new();
    for row in 0..reader.rows() {
        let mut sums = reader.sums(row);
        let day = day_of(reader.text("service_day", row), reader.text("trip_id", row));
        let of_day = of_days.entry(day.to_owned()).or_insert_with(|| posterior.on_day(day));
        reader.add_errors(row, &features.features(row), of_day, posterior.type_name(), &mut sums);
        let cluster = reader.cluster(row);
        for grouping in GROUPINGS {
            let group = match grouping {
                "vehicle_type" => Some(posterior.sheet().name.clone()),
                // Levels of one name are not the same on trucks of another type.
                "level_of_type" => {
                    reader.group("regen_level", row).map(|level| format!("{}: {level}", posterior.sheet().name))
                }
                _ => reader.group(grouping, row),
            };
            if let Some(group) = group {
                let key = Key { grouping, group, cluster: cluster.clone() };
                let of_level = matches!(grouping, "regen_level" | "level_of_type");
                let untold = of_level && !level_told[features.slot(row)];
                let sums_here = if untold { sums.of_untold_level() } else { sums.clone() };
                tally.entry(key).or_default().add(&sums_here);
            }
        }
    }
    Ok(tally)
}

impl Sums {
    /// The logs may tell what came back in all and not what came back at one level: there it is the sheet that speaks.
    fn of_untold_level(&self) -> Sums {
        Sums { inferred_moving_s: 0.0, inferred_paired_s: 0.0, ..self.clone() }
    }

    pub fn add(&mut self, other: &Sums) {
        self.trips.extend(other.trips.iter().cloned());
        self.days.extend(other.days.iter().cloned());
        macro_rules! add {
            ($($field:ident),*) => { $(self.$field += other.$field;)* };
        }
        add!(
            distance_mi,
            moving_s,
            measured_moving_s,
            inferred_moving_s,
            claimed_moving_s,
            engine_or_unexplained_s,
            tractive_kwh,
            braking_raw_kwh,
            tractive_claimed_kwh,
            braking_kwh,
            braking_low_kwh,
            braking_high_kwh,
            recoverable_kwh,
            recoverable_low_kwh,
            recoverable_high_kwh,
            attainable_kwh,
            recovered_kwh,
            braking_beyond_sheet_kwh,
            recovered_braking_kwh,
            braking_paired_kwh,
            recoverable_paired_kwh,
            discharged_paired_kwh,
            net_paired_kwh,
            bus_paired_kwh,
            distance_paired_mi,
            moving_paired_s,
            measured_paired_s,
            inferred_paired_s,
            unknown_store_kwh,
            discharged_kwh,
            net_kwh,
            net_driving_kwh,
            distance_battery_mi,
            measured_discharged_kwh,
            unexplained_kwh,
            standing_kwh,
            parked_kwh,
            net_with_payload_kwh,
            ton_mi,
            distance_with_payload_mi
        );
        self.recovered_errors.add(&other.recovered_errors);
        self.net_errors.add(&other.net_errors);
        self.net_paired_errors.add(&other.net_paired_errors);
        self.braking_errors.add(&other.braking_errors);
    }
}

#[derive(Debug, Clone, Copy)]
struct TripFacts {
    suspicious: bool,
    engine: bool,
}

pub(crate) struct Reader<'a> {
    segments: BatchView<'a>,
    battery: BatchView<'a>,
    facts: BTreeMap<&'a str, TripFacts>,
    /// Routes of trips, found where the log does not name them.
    routes: BTreeMap<&'a str, &'a str>,
    bands: Vec<Option<Band>>,
}

impl<'a> Reader<'a> {
    pub(crate) fn new(
        segments: &'a RecordBatch,
        battery: &'a RecordBatch,
        trips: &'a RecordBatch,
        trip_routes: &'a RecordBatch,
    ) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::TRIPS, trips);
        let (ids, checks) = (view.texts("trip_id")?, view.texts("recovery_check")?);
        let fact = |row: usize| TripFacts {
            suspicious: matches!(checks.value(row), "engine" | "more-than-braking" | "unknown-store"),
            engine: checks.value(row) == "engine",
        };
        let found = BatchView::new(&tables::TRIP_ROUTES, trip_routes);
        let (trips_found, routes) = (found.texts("trip_id")?, found.texts("route_id")?);
        let route = |row| Some((text_at(trips_found, row)?, text_at(routes, row)?));
        let segments = BatchView::new(&tables::SEGMENTS, segments);
        Ok(Self {
            routes: (0..found.rows()).filter_map(route).collect(),
            bands: bands(trips, segments.texts("trip_id")?)?,
            battery: BatchView::new(&tables::SEGMENT_BATTERY, battery),
            facts: (0..view.rows()).map(|row| (ids.value(row), fact(row))).collect(),
            segments,
        })
    }

    pub(crate) fn rows(&self) -> usize {
        self.segments.rows()
    }

    pub(crate) fn number(&self, name: &str, row: usize) -> f64 {
        self.maybe(name, row).unwrap_or(0.0)
    }

    pub(crate) fn maybe(&self, name: &str, row: usize) -> Option<f64> {
        self.segments.numbers(name).ok().and_then(|array| number_at(array, row))
    }

    pub(crate) fn battery(&self, name: &str, row: usize) -> Option<f64> {
        self.battery.numbers(name).ok().and_then(|array| number_at(array, row))
    }

    pub(crate) fn text(&self, name: &str, row: usize) -> Option<&'a str> {
        self.segments.texts(name).ok().and_then(|array| text_at(array, row))
    }

    /// A vehicle's service day; on a relative clock its trip stands for a day.
    fn cluster(&self, row: usize) -> String {
        let vehicle = self.text("vehicle_id", row).unwrap_or_default();
        let day =
            self.text("service_day", row).or_else(|| self.text("trip_id", row)).unwrap_or("outside trips");
        format!("{vehicle} {day}")
    }

    /// Parked segments count for the pilot, the vehicle and the day; a route or a driver has no parking.
    fn group(&self, grouping: &str, row: usize) -> Option<String> {
        let named = |text: Option<&str>| Some(text.unwrap_or(UNKNOWN).to_owned());
        let parked = self.text("kind", row) == Some("parked");
        match grouping {
            "pilot" => Some("all".to_owned()),
            "vehicle" => named(self.text("vehicle_id", row)),
            "service_day" => self.text("service_day", row).map(str::to_owned),
            _ if parked => None,
            "trip" => self.text("trip_id", row).map(str::to_owned),
            "route" => {
                let of_trip = || self.routes.get(self.text("trip_id", row)?).copied();
                named(self.text("route_id", row).or_else(of_trip))
            }
            "driver" => named(self.text("driver_id", row)),
            "regen_level" => named(self.text("regen_level", row)),
            _ => Some(temperature_band(self.maybe("temperature_ambient_k", row))),
        }
    }

    fn is_measured(&self, row: usize) -> bool {
        self.battery.texts("evidence").ok().and_then(|array| text_at(array, row)) == Some("measured")
    }

    pub(crate) fn add_errors(
        &self,
        row: usize,
        features: &[f64],
        of_day: &OfDay,
        vehicle_type: &str,
        sums: &mut Sums,
    ) {
        if self.text("kind", row) == Some("parked") {
            return;
        }
        let (vehicle, day) = (self.text("vehicle_id", row).unwrap_or_default(), self.cluster(row));
        let of = |figure: &Figure| Errors::of(figure, vehicle_type, vehicle, &day);
        let measured = self.is_measured(row);
        let (net, recovered) = if measured {
            (&of_day.false_net, &of_day.hidden_inflow)
        } else {
            (&of_day.net, &of_day.recovered)
        };
        sums.net_errors = of(&net.figure(features));
        if self.bands[row].is_some() {
            let beyond = of_day.braking_beyond_sheet.figure(features);
            sums.braking_beyond_sheet_kwh = beyond.value;
            sums.braking_errors = of(&beyond);
        }
        if self.battery("energy_recovered_p50_kwh", row).is_some() {
            sums.recovered_errors = of(&recovered.figure(features));
            sums.net_paired_errors = sums.net_errors.clone();
            if measured {
                // What the samples leave open where the sign changes.
                let open =
                    self.number("energy_recovered_high_kwh", row) - self.number("energy_recovered_kwh", row);
                sums.recovered_errors.add(&Errors::one_sided(open));
            }
        }
    }

    pub(crate) fn sums(&self, row: usize) -> Sums {
        let kind = self.text("kind", row).unwrap_or("parked");
        let discharged = self.battery("energy_discharged_p50_kwh", row).unwrap_or(0.0);
        if kind == "parked" {
            return Sums { parked_kwh: discharged, ..Sums::default() };
        }
        let net = self.battery("energy_net_p50_kwh", row).unwrap_or(0.0);
        let mut sums = Sums {
            trips: self.text("trip_id", row).map(str::to_owned).into_iter().collect(),
            days: self.text("service_day", row).map(str::to_owned).into_iter().collect(),
            distance_mi: self.number("distance_m", row) / METRES_PER_MILE,
            moving_s: self.number("moving_s", row),
            tractive_kwh: self.number("energy_tractive_kwh", row),
            braking_raw_kwh: self.number("energy_braking_kwh", row),
            discharged_kwh: discharged,
            net_kwh: net,
            unknown_store_kwh: self.number("energy_returned_unknown_store_kwh", row),
            ..Sums::default()
        };
        let moving = sums.moving_s;
        match self.battery.texts("evidence").ok().and_then(|array| text_at(array, row)) {
            Some("measured") => sums.measured_moving_s = moving,
            Some("inferred") => sums.inferred_moving_s = moving,
            _ => {}
        }
        if let Some(unexplained) = self.maybe("energy_unexplained_kwh", row) {
            (sums.unexplained_kwh, sums.measured_discharged_kwh) = (unexplained, discharged);
        }
        let fallback = TripFacts { suspicious: false, engine: false };
        let facts = self.text("trip_id", row).and_then(|id| self.facts.get(id)).copied().unwrap_or(fallback);
        if kind != "driving" {
            sums.standing_kwh = discharged;
        } else if !facts.engine {
            (sums.net_driving_kwh, sums.distance_battery_mi) = (net, sums.distance_mi);
        }
        if let Some(payload) = self.maybe("payload_kg", row) {
            sums.distance_with_payload_mi = sums.distance_mi;
            sums.ton_mi = sums.distance_mi * payload / KILOGRAMS_PER_SHORT_TON;
            sums.net_with_payload_kwh = sums.net_driving_kwh;
        }
        if facts.suspicious {
            sums.engine_or_unexplained_s = moving;
        }
        self.claims(row, &mut sums);
        sums
    }

    fn claims(&self, row: usize, sums: &mut Sums) {
        let recovered = self.battery("energy_recovered_p50_kwh", row);
        if let Some(band) = self.bands[row] {
            let middle = band.middle();
            sums.claimed_moving_s = sums.moving_s;
            sums.braking_low_kwh = sums.braking_raw_kwh * band.low;
            sums.braking_high_kwh = sums.braking_raw_kwh * band.high;
            sums.braking_kwh = sums.braking_raw_kwh * middle;
            // Braking that slow samples hide is made good by as much traction.
            sums.tractive_claimed_kwh = sums.tractive_kwh + sums.braking_kwh - sums.braking_raw_kwh;
            sums.recoverable_kwh = self.number("energy_recoverable_kwh", row) * middle;
            sums.recoverable_low_kwh = self.number("energy_recoverable_low_kwh", row) * band.low;
            sums.recoverable_high_kwh = self.number("energy_recoverable_high_kwh", row) * band.high;
            sums.attainable_kwh = self.number("energy_attainable_kwh", row) * middle;
        }
        let Some(p50) = recovered else { return };
        sums.recovered_kwh = p50;
        sums.discharged_paired_kwh = sums.discharged_kwh;
        sums.net_paired_kwh = sums.net_kwh;
        sums.distance_paired_mi = sums.distance_mi;
        sums.moving_paired_s = sums.moving_s;
        sums.measured_paired_s = sums.measured_moving_s;
        sums.inferred_paired_s = sums.inferred_moving_s;
        sums.bus_paired_kwh = self.battery("energy_returned_bus_p50_kwh", row).unwrap_or(p50);
        if self.bands[row].is_some() {
            sums.recovered_braking_kwh = p50;
            sums.braking_paired_kwh = sums.braking_kwh;
            sums.recoverable_paired_kwh = sums.recoverable_kwh;
        }
    }
}

/// Ten-degree bands of the outside air, in degrees Celsius.
pub(crate) fn temperature_band(temperature_k: Option<f64>) -> String {
    let Some(kelvin) = temperature_k else { return UNKNOWN.to_owned() };
    let from = 10.0 * ((kelvin - 273.15) / 10.0).floor() + 0.0;
    format!("{from} to {} degC", from + 10.0)
}
