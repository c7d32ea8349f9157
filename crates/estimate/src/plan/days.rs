//! One vehicle's tables as service days: by route for ratios, by trip for what a battery goes through.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};

use super::climate::ClimateSums;
use super::coverage::payload_band;
use super::scope::Season;
use super::settings::TypePlan;
use crate::features;
use crate::learned::{OfDay, Posterior};
use crate::statistics::day_of;
use crate::tally::{Reader, Sums, UNKNOWN, temperature_band};

/// What one service day of a vehicle was.
#[derive(Debug, Clone, Default)]
pub struct VehicleDay {
    pub vehicle: String,
    pub vehicle_type: String,
    pub day: String,
    /// `None` on a relative clock.
    pub season: Option<Season>,
    pub routes: BTreeMap<String, Sums>,
    /// Distance by route, band of temperature and band of payload. [mi]
    pub cells: BTreeMap<(String, String, String), f64>,
    /// Climate by route and band of temperature.
    pub climate: BTreeMap<(String, String), ClimateSums>,
    pub legs: Vec<Leg>,
    /// Usable energy of this vehicle and its standard deviation. [kWh]
    pub capacity_kwh: Option<(f64, f64)>,
}

/// One trip, and what happened until the next.
#[derive(Debug, Clone, Default)]
pub struct Leg {
    pub trip: String,
    pub route: String,
    pub start_ns: i64,
    pub end_ns: i64,
    pub distance_mi: f64,
    /// Net out of the battery while driving, and at the stops of the trip. [kWh]
    pub driving_kwh: f64,
    pub standing_kwh: f64,
    /// Out of the battery until the next trip, as far as it was logged, and into it from a plug. [kWh]
    pub parked_kwh: f64,
    pub charged_kwh: f64,
    pub moving_s: f64,
    pub soc_end: Option<f64>,
    pub soc_start: Option<f64>,
    pub scenarios: ByScenario,
}

/// A trip as modelled. [kWh]
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Modelled {
    pub driving_kwh: f64,
    pub standing_kwh: f64,
    /// Driving and standing less the same as driven: at the sheet's ends.
    pub change_low_kwh: f64,
    pub change_high_kwh: f64,
    pub total_low_kwh: f64,
    pub total_high_kwh: f64,
}

/// A trip under each scenario. All trips of a vehicle share the names: days of a whole fleet are kept at once.
#[derive(Debug, Clone, Default)]
pub struct ByScenario {
    names: Arc<Vec<String>>,
    of: Vec<Modelled>,
}

impl ByScenario {
    pub fn get(&self, name: &str) -> Option<&Modelled> {
        self.of.get(self.names.iter().position(|own| own == name)?)
    }
}

impl FromIterator<(String, Modelled)> for ByScenario {
    fn from_iter<I: IntoIterator<Item = (String, Modelled)>>(rows: I) -> Self {
        let (names, of) = rows.into_iter().unzip();
        Self { names: Arc::new(names), of }
    }
}

impl Modelled {
    pub fn total_kwh(&self) -> f64 {
        self.driving_kwh + self.standing_kwh
    }
}

pub struct VehicleTables<'a> {
    pub segments: &'a RecordBatch,
    pub battery: &'a RecordBatch,
    pub trips: &'a RecordBatch,
    pub trip_routes: &'a RecordBatch,
    pub charges: &'a RecordBatch,
    pub scenarios: &'a RecordBatch,
}

/// A rise of state of charge between two trips that is a charge and no settling.
const CHARGE: f64 = 0.02;

/// Service days of one vehicle in the order of time; on a relative clock each trip stands for one.
///
/// `usual_cab_w` is what a cab usually takes at an outside temperature, where nothing else is known of it.
pub fn observe_days(
    plan: &TypePlan,
    of: &VehicleTables<'_>,
    posterior: &Posterior<'_>,
    is_southern: bool,
    usual_cab_w: &dyn Fn(f64) -> f64,
) -> Result<Vec<VehicleDay>, BatchError> {
    let reader = Reader::new(of.segments, of.battery, of.trips, of.trip_routes)?;
    let features = features::Reader::new(of.segments, of.trips, posterior.sheet())?;
    let legs = legs(of, posterior)?;
    let mut order: Vec<String> = Vec::new();
    let mut days: HashMap<String, VehicleDay> = HashMap::new();
    let mut of_days: HashMap<String, OfDay> = HashMap::new();
    for row in 0..reader.rows() {
        let (trip, dated) = (reader.text("trip_id", row), reader.text("service_day", row));
        // Parking outside every trip of a relative clock belongs to no day.
        let Some(name) = dated.or(trip) else { continue };
        let day = days.entry(name.to_owned()).or_insert_with(|| {
            order.push(name.to_owned());
            VehicleDay {
                vehicle: reader.text("vehicle_id", row).unwrap_or_default().to_owned(),
                vehicle_type: plan.name.clone(),
                day: name.to_owned(),
                season: dated.and_then(|day| Season::of_day(day, is_southern)),
                capacity_kwh: posterior.capacity_kwh(),
                ..VehicleDay::default()
            }
        });
        let Some(trip) = trip else {
            // Before the first trip nothing is missing yet: the day begins full.
            if let Some(leg) = day.legs.last_mut() {
                leg.parked_kwh += reader.battery("energy_discharged_p50_kwh", row).unwrap_or(0.0);
            }
            continue;
        };
        let mut sums = reader.sums(row);
        let of_day =
            of_days.entry(name.to_owned()).or_insert_with(|| posterior.on_day(day_of(dated, Some(trip))));
        reader.add_errors(row, &features.features(row), of_day, posterior.type_name(), &mut sums);
        if day.legs.last().is_none_or(|leg| leg.trip != trip) {
            let fresh = || Leg { trip: trip.to_owned(), route: UNKNOWN.to_owned(), ..Leg::default() };
            day.legs.push(legs.get(trip).cloned().unwrap_or_else(fresh));
        }
        if let Some(leg) = day.legs.last_mut() {
            leg.distance_mi += sums.distance_mi;
            leg.moving_s += sums.moving_s;
            let net = if reader.text("kind", row) == Some("driving") {
                &mut leg.driving_kwh
            } else {
                &mut leg.standing_kwh
            };
            *net += sums.net_kwh;
        }
        let route = reader.text("route_id", row).unwrap_or(UNKNOWN).to_owned();
        let band = temperature_band(reader.maybe("temperature_ambient_k", row));
        let climate = ClimateSums::read(&reader, row, &sums, usual_cab_w);
        day.climate.entry((route.clone(), band.clone())).or_default().add(&climate);
        let load = payload_band(reader.maybe("payload_kg", row), plan.payload_full_kg);
        *day.cells.entry((route.clone(), band, load)).or_default() += sums.distance_mi;
        day.routes.entry(route).or_default().add(&sums);
    }
    let mut found: Vec<VehicleDay> = order.iter().filter_map(|name| days.remove(name)).collect();
    found.retain(|day| !day.legs.is_empty());
    found.iter_mut().for_each(charged_unseen);
    Ok(found)
}

impl VehicleDay {
    /// The route with nine tenths of the day's distance.
    pub fn route(&self) -> &str {
        let whole: f64 = self.routes.values().map(|sums| sums.distance_mi).sum();
        let most = self.routes.iter().max_by(|a, b| a.1.distance_mi.total_cmp(&b.1.distance_mi));
        most.filter(|(_, sums)| sums.distance_mi >= 0.9 * whole).map_or("(several)", |(name, _)| name.as_str())
    }

    pub fn distance_mi(&self) -> f64 {
        self.legs.iter().map(|leg| leg.distance_mi).sum()
    }

    pub fn use_kwh(&self) -> f64 {
        self.legs.iter().map(|leg| leg.driving_kwh + leg.standing_kwh + leg.parked_kwh).sum()
    }

    pub fn sums(&self) -> Sums {
        let mut sums = Sums::default();
        self.routes.values().for_each(|of| sums.add(of));
        sums
    }
}

/// Trips by name, with what was charged after them as the log of charges has it.
fn legs(of: &VehicleTables<'_>, posterior: &Posterior<'_>) -> Result<HashMap<String, Leg>, BatchError> {
    let view = BatchView::new(&tables::TRIPS, of.trips);
    let (ids, routes) = (view.texts("trip_id")?, view.texts("route_id")?);
    let (starts, ends) = (view.times("time_start_ns")?, view.times("time_end_ns")?);
    let (soc_start, soc_end) = (view.numbers("soc_start_frac")?, view.numbers("soc_end_frac")?);
    let mut legs: Vec<Leg> = (0..view.rows())
        .map(|row| Leg {
            trip: ids.value(row).to_owned(),
            route: text_at(routes, row).unwrap_or(UNKNOWN).to_owned(),
            start_ns: starts.value(row),
            end_ns: ends.value(row),
            soc_start: number_at(soc_start, row),
            soc_end: number_at(soc_end, row),
            ..Leg::default()
        })
        .collect();
    let charges = BatchView::new(&tables::CHARGES, of.charges);
    let (from, plugged) = (charges.times("time_start_ns")?, charges.numbers("energy_plugged_kwh")?);
    let (before, after) = (charges.numbers("soc_start_frac")?, charges.numbers("soc_end_frac")?);
    let capacity = posterior.capacity_kwh().map(|(kwh, _)| kwh);
    for row in 0..charges.rows() {
        let rise = number_at(before, row).zip(number_at(after, row)).map(|(a, b)| (b - a).max(0.0));
        let kwh = number_at(plugged, row).or_else(|| Some(rise? * capacity?)).unwrap_or(0.0);
        let next = legs.partition_point(|leg| leg.end_ns <= from.value(row));
        if let Some(leg) = next.checked_sub(1).and_then(|at| legs.get_mut(at)) {
            leg.charged_kwh += kwh;
        }
    }
    read_scenarios(of.scenarios, &mut legs)?;
    Ok(legs.into_iter().map(|leg| (leg.trip.clone(), leg)).collect())
}

fn read_scenarios(scenarios: &RecordBatch, legs: &mut [Leg]) -> Result<(), BatchError> {
    let view = BatchView::new(&tables::SCENARIOS, scenarios);
    let (ids, names) = (view.texts("trip_id")?, view.texts("scenario")?);
    let columns = [
        "energy_driving_kwh",
        "energy_standing_kwh",
        "energy_change_low_kwh",
        "energy_change_high_kwh",
        "energy_total_low_kwh",
        "energy_total_high_kwh",
    ];
    let columns = columns.map(|name| view.numbers(name));
    let places: HashMap<String, usize> =
        legs.iter().enumerate().map(|(at, leg)| (leg.trip.clone(), at)).collect();
    // Every trip has the same scenarios in the same order.
    let first = if view.rows() > 0 { ids.value(0) } else { "" };
    let of_first = (0..view.rows()).take_while(|row| ids.value(*row) == first);
    let shared = Arc::new(of_first.map(|row| names.value(row).to_owned()).collect::<Vec<_>>());
    for row in 0..view.rows() {
        let Some(leg) = places.get(ids.value(row)).and_then(|at| legs.get_mut(*at)) else { continue };
        let mut values = [0.0; 6];
        for (value, column) in values.iter_mut().zip(&columns) {
            *value = number_at(column.clone()?, row).unwrap_or(0.0);
        }
        let [driving_kwh, standing_kwh, change_low_kwh, change_high_kwh, total_low_kwh, total_high_kwh] =
            values;
        leg.scenarios.names = Arc::clone(&shared);
        leg.scenarios.of.push(Modelled {
            driving_kwh,
            standing_kwh,
            change_low_kwh,
            change_high_kwh,
            total_low_kwh,
            total_high_kwh,
        });
    }
    Ok(())
}

/// A logger that sleeps at the plug: state of charge is higher at the next trip than it was left.
fn charged_unseen(day: &mut VehicleDay) {
    let Some((capacity, _)) = day.capacity_kwh else { return };
    for at in 1..day.legs.len() {
        let rise = day.legs[at].soc_start.zip(day.legs[at - 1].soc_end).map(|(now, before)| now - before);
        let seen = &mut day.legs[at - 1].charged_kwh;
        if let Some(rise) = rise.filter(|rise| *rise > CHARGE) {
            *seen = seen.max(rise * capacity);
        }
    }
    // What is charged after the last trip belongs to the night.
    if let Some(last) = day.legs.last_mut() {
        last.charged_kwh = 0.0;
    }
}
