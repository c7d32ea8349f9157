//! Words that columns of each signal go by, in the order of trust. Compared as `plain_name` leaves them.

/// Names that are a signal beyond doubt, then parts of names that make one likely.
pub struct Words {
    pub signal: &'static str,
    pub exact: &'static [&'static str],
    pub parts: &'static [&'static str],
    /// Parts that speak against it.
    pub not: &'static [&'static str],
    /// Unit where the log says none, and how sure that is.
    pub unit: &'static str,
}

const fn words(
    signal: &'static str,
    exact: &'static [&'static str],
    parts: &'static [&'static str],
    not: &'static [&'static str],
    unit: &'static str,
) -> Words {
    Words { signal, exact, parts, not, unit }
}

pub static WORDS: [Words; 30] = [
    words(
        "speed",
        &["speed", "vehiclespeed", "velocity", "odometryvehiclespeed", "speedmph", "speedkmh", "geschw"],
        &["speed", "velocity", "geschw"],
        &["limit", "wind", "wheelspeed", "gps", "engine", "motor", "gnss"],
        "km/h",
    ),
    words("gps_speed", &["gpsspeed", "gnssspeed", "speedgps", "sog"], &["gpsspeed", "gnssspeed"], &[], "km/h"),
    words(
        "odometer",
        &["odometer", "odo", "odokm", "odometermi", "cumulativedistance", "kilometerstand"],
        &["odometer", "kilometerstand", "cumulativedistance"],
        &["trip"],
        "km",
    ),
    words("latitude", &["latitude", "lat", "gnsslatitude", "latdeg", "breite"], &["latitude"], &[], "deg"),
    words(
        "longitude",
        &["longitude", "lon", "long", "lng", "gnsslongitude", "londeg", "länge"],
        &["longitude"],
        &[],
        "deg",
    ),
    words(
        "altitude",
        &["altitude", "alt", "elevation", "ele", "elv", "gnssaltitude", "altitudeft", "altitudem", "höhe"],
        &["altitude", "elevation"],
        &[],
        "m",
    ),
    words("grade", &["grade", "roadgrade", "slope"], &["roadgrade"], &[], "%"),
    words(
        "state_of_charge",
        &["soc", "stateofcharge", "hvbatterysoc", "batterysoc", "socpct", "ladezustand"],
        &["stateofcharge", "batterysoc"],
        &["displayed", "min", "max"],
        "%",
    ),
    words(
        "pack_voltage",
        &["packvolts", "packv", "packvoltage", "batteryvoltage", "hvbatteryvoltage"],
        &["packvolt", "batteryvolt"],
        &["12v", "heater"],
        "V",
    ),
    words(
        "pack_current",
        &["packamps", "packa", "packcurrent", "batterycurrent", "hvbatterycurrent"],
        &["packamp", "packcurrent", "batterycurrent"],
        &["12v", "heater"],
        "A",
    ),
    words(
        "pack_power",
        &["packpower", "batterypower", "electricpowerdemand", "leistung"],
        &["packpower"],
        &[],
        "W",
    ),
    words("aux_power", &["auxpower", "auxiliarypower", "auxpwr"], &["auxiliarypower"], &[], "W"),
    words("cab_climate_power", &["heaterpower", "hvacpower"], &["hvacpower"], &["requested"], "W"),
    words(
        "ambient_temperature",
        &["ambienttemperature", "ambient", "oat", "temperatureambient", "ambientf", "außentemp", "temperature"],
        &["ambienttemp", "outsidetemp", "außentemp"],
        &["sensor"],
        "degC",
    ),
    words("battery_temperature", &["batterytemperature"], &["batterytemp"], &["max", "min"], "degC"),
    words("wheel_force", &["tractiontractionforce", "wheelforce"], &["tractionforce"], &[], "N"),
    words("brake_pressure", &["tractionbrakepressure", "brakepressure"], &["brakepressure"], &[], "Pa"),
    words("engine_speed", &["enginerpm", "enginespeed"], &["enginerpm"], &[], "rpm"),
    words("payload", &["payload", "load", "loadlb", "zuladung"], &["payload"], &["absolute"], "kg"),
    words(
        "gross_weight",
        &["grossweight", "grossvehicleweight", "grosscombinationweight", "gcvw", "gvw", "gesamtgewicht"],
        &["grossweight", "grossvehicleweight", "grosscombination"],
        &["limit", "max", "rating"],
        "kg",
    ),
    words(
        "air_pressure",
        &["barometricpressure", "airpressure", "ambientpressure", "luftdruck"],
        &["barometricpressure", "ambientpressure"],
        &["tank", "brake", "tyre", "tire", "suspension"],
        "hPa",
    ),
    words("humidity", &["humidity", "relativehumidity", "luftfeuchte"], &["relativehumidity"], &["cab"], "%"),
    words("wind_speed", &["windspeed", "windgeschwindigkeit"], &["windspeed"], &["gust", "max"], "m/s"),
    words("wind_from", &["winddirection", "windfrom", "windrichtung"], &["winddirection"], &[], "deg"),
    words(
        "heading",
        &["heading", "course", "gnsscourse", "gpscourse", "gpsheading", "compassbearing"],
        &["courseoverground", "gnssheading", "gnsscourse"],
        &[],
        "deg",
    ),
    words(
        "battery_thermal_power",
        &["batterythermalpower", "batteryheaterpower", "batterycoolingpower"],
        &["batterythermal"],
        &["requested"],
        "W",
    ),
    words(
        "refrigeration_power",
        &["refrigerationpower", "reeferpower", "trupower"],
        &["refrigerationpower", "reeferpower"],
        &["requested"],
        "W",
    ),
    words("plugged_in", &["pluggedin", "plugstate", "netzstecker"], &["pluggedin"], &[], ""),
    words("driver", &["driver", "driverid", "operator", "fahrer"], &[], &[], ""),
    words("regen_level", &["regenlevel", "rekustufe"], &["regenlevel"], &[], ""),
];

pub static ROUTE: Words = words("route", &["route", "itcsbusroute", "strecke", "routeid"], &[], &[], "");
pub static OVERHEAD: Words = words("overhead_line", &["statusgridisavailable", "overheadline"], &[], &[], "");
