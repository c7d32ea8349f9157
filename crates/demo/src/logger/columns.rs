//! The columns of both file formats: header, signal, unit and how a reading becomes a cell.

use super::reading::Reading;
use super::text::{Dates, push_clock, push_fixed};
use crate::fleet::trucks::{BatterySignal, Format, Truck};
use crate::fleet::types::LEVEL_NAMES;
use crate::place::LOCAL_BEHIND_UTC_S;

const MPH_M_S: f64 = 0.447_04;
const FOOT_M: f64 = 0.3048;
const MILE_M: f64 = 1609.344;
const POUND_KG: f64 = 0.453_592_37;

/// How a cell is made.
#[derive(Clone, Copy)]
enum Cell {
    /// RFC 3339, UTC.
    Stamp,
    /// Local date, day first.
    LocalDate,
    LocalClock,
    Number(u32, fn(&Reading) -> Option<f64>),
    Text(fn(&Reading) -> &'static str),
}

/// One column: its header as written, and what the pilot file says about it.
#[derive(Clone, Copy)]
pub struct Column {
    pub header: &'static str,
    /// Name of the signal in the pilot file; empty for the clock.
    pub signal: &'static str,
    pub unit: &'static str,
    cell: Cell,
}

const fn clock(header: &'static str, cell: Cell) -> Column {
    Column { header, signal: "", unit: "", cell }
}

const fn number(
    header: &'static str,
    signal: &'static str,
    unit: &'static str,
    decimals: u32,
    value: fn(&Reading) -> Option<f64>,
) -> Column {
    Column { header, signal, unit, cell: Cell::Number(decimals, value) }
}

const fn text(header: &'static str, signal: &'static str, value: fn(&Reading) -> &'static str) -> Column {
    Column { header, signal, unit: "", cell: Cell::Text(value) }
}

fn level_name(row: &Reading) -> &'static str {
    LEVEL_NAMES[row.level]
}

fn plug_number(row: &Reading) -> Option<f64> {
    Some(f64::from(u8::from(row.is_plugged)))
}

const HARBOUR: [Column; 15] = [
    clock("time_utc", Cell::Stamp),
    number("speed_mph", "speed", "mph", 2, |row| Some(row.speed_m_s / MPH_M_S)),
    number("lat_deg", "latitude", "deg", 6, |row| row.lat_lon_deg.map(|place| place.0)),
    number("lon_deg", "longitude", "deg", 6, |row| row.lat_lon_deg.map(|place| place.1)),
    number("altitude_ft", "altitude", "ft", 1, |row| Some(row.height_m / FOOT_M)),
    number("soc_pct", "state_of_charge", "%", 1, |row| row.soc_pct),
    number("pack_v", "pack_voltage", "V", 1, |row| Some(row.voltage_v)),
    number("pack_a", "pack_current", "A", 1, |row| Some(row.current_a)),
    number("ambient_f", "ambient_temperature", "degF", 0, |row| Some(row.ambient_deg_c * 1.8 + 32.0)),
    number("odometer_mi", "odometer", "mi", 2, |row| Some(row.odometer_m / MILE_M)),
    text("driver", "driver", |row| row.driver),
    text("route", "route", |row| row.route),
    text("regen_level", "regen_level", level_name),
    number("load_lb", "payload", "lb", 0, |row| Some(row.payload_kg / POUND_KG)),
    number("plugged_in", "plugged_in", "1", 0, plug_number),
];

/// What every upland file has.
const UPLAND: [Column; 11] = [
    clock("Datum", Cell::LocalDate),
    clock("Uhrzeit", Cell::LocalClock),
    number("Geschw. [km/h]", "speed", "km/h", 1, |row| Some(row.speed_m_s * 3.6)),
    number("Breite [°]", "latitude", "deg", 5, |row| row.lat_lon_deg.map(|place| place.0)),
    number("Länge [°]", "longitude", "deg", 5, |row| row.lat_lon_deg.map(|place| place.1)),
    number("Höhe [m]", "altitude", "m", 1, |row| Some(row.height_m)),
    number("Ladezustand [%]", "state_of_charge", "%", 1, |row| row.soc_pct),
    number("Außentemp. [°C]", "ambient_temperature", "degC", 1, |row| Some(row.ambient_deg_c)),
    number("Kilometerstand [km]", "odometer", "km", 2, |row| Some(row.odometer_m / 1000.0)),
    text("Fahrer", "driver", |row| row.driver),
    text("Strecke", "route", |row| row.route),
];

const UPLAND_LEVEL: Column = text("Reku-Stufe", "regen_level", level_name);
const UPLAND_PAYLOAD: Column = number("Zuladung [kg]", "payload", "kg", 0, |row| Some(row.payload_kg));
/// Positive into the battery, against the harbour loggers' sign.
const UPLAND_POWER: Column =
    number("Leistung [kW]", "pack_power", "kW", 1, |row| Some(-row.voltage_v * row.current_a / 1000.0));
const UPLAND_PLUG: Column = number("Netzstecker", "plugged_in", "1", 0, plug_number);

/// The columns of a truck's files, in order.
pub fn columns(spec: &Truck) -> Vec<Column> {
    if spec.format == Format::Harbour {
        return HARBOUR.into_iter().filter(|column| is_logged(column, spec)).collect();
    }
    let mut columns = UPLAND.to_vec();
    columns.extend(spec.has_level_column.then_some(UPLAND_LEVEL));
    columns.extend(spec.has_payload_column.then_some(UPLAND_PAYLOAD));
    columns.extend((spec.battery == BatterySignal::Power).then_some(UPLAND_POWER));
    columns.extend(spec.logs_charging.then_some(UPLAND_PLUG));
    columns
}

/// Says whether a harbour logger of this kind has a column at all.
fn is_logged(column: &Column, spec: &Truck) -> bool {
    match column.signal {
        "pack_voltage" | "pack_current" => spec.battery == BatterySignal::VoltageAndCurrent,
        "regen_level" => spec.has_level_column,
        _ => true,
    }
}

/// Says whether a truck's logger leaves a column of its format empty.
pub fn is_always_empty(column: &Column, spec: &Truck) -> bool {
    column.signal == "payload" && !spec.has_payload_column
}

/// Turns readings into lines of text.
pub struct LineWriter<'a> {
    spec: &'a Truck,
    columns: Vec<Column>,
    separator: u8,
    mark: u8,
    dates: Dates,
}

impl<'a> LineWriter<'a> {
    pub fn new(spec: &'a Truck) -> LineWriter<'a> {
        let (separator, mark) = if spec.format == Format::Harbour { (b',', b'.') } else { (b';', b',') };
        LineWriter { spec, columns: columns(spec), separator, mark, dates: Dates::default() }
    }

    pub fn separator(&self) -> u8 {
        self.separator
    }

    /// The header without a line end, as text.
    pub fn header(&self) -> String {
        let headers: Vec<&str> = self.columns.iter().map(|column| column.header).collect();
        headers.join(char::from(self.separator).encode_utf8(&mut [0; 4]))
    }

    /// Where a signal's cell stands in a line.
    pub fn place_of(&self, signal: &str) -> usize {
        self.columns.iter().position(|column| column.signal == signal).unwrap_or(0)
    }

    /// Appends one line without its end.
    pub fn push_line(&mut self, out: &mut Vec<u8>, row: &Reading) {
        for index in 0..self.columns.len() {
            if index > 0 {
                out.push(self.separator);
            }
            let column = self.columns[index];
            if !is_always_empty(&column, self.spec) {
                self.push_cell(out, column.cell, row);
            }
        }
    }

    fn push_cell(&mut self, out: &mut Vec<u8>, cell: Cell, row: &Reading) {
        let local_s = row.time_s - LOCAL_BEHIND_UTC_S;
        match cell {
            Cell::Stamp => {
                out.extend_from_slice(self.dates.iso(row.time_s).as_bytes());
                out.push(b'T');
                push_clock(out, row.time_s);
                out.push(b'Z');
            }
            Cell::LocalDate => out.extend_from_slice(self.dates.dotted(local_s).as_bytes()),
            Cell::LocalClock => push_clock(out, local_s),
            Cell::Number(decimals, value) => {
                if let Some(value) = value(row) {
                    push_fixed(out, value, decimals, self.mark);
                }
            }
            Cell::Text(value) => out.extend_from_slice(value(row).as_bytes()),
        }
    }
}
