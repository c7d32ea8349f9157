//! What of a vehicle type follows the outside temperature. Nothing does unless the pilot file has the table for it.

use backwatt_physics::{Climate, RollingTemperature};
use backwatt_schema::unit::Dimension;

use crate::document::Section;
use crate::spread::{MEMORY, PRACTICE, Reader};

/// `[vehicle_types.ID.rolling_temperature]`
pub fn rolling_temperature(section: &Section<'_, '_>) -> Option<RollingTemperature> {
    let table = table(section, "rolling_temperature", "tyres warm up as they roll, and no log says how warm")?;
    let r = Reader { section: &table };
    let source = "UN Regulation 117, annex 6, paragraph 6.2: truck tyres above load index 121; 0.010 up to it";
    let per_k = r.share_or("per_k", 0.006, source).0;
    if per_k > 0.03 {
        let message = format!("{per_k} per kelvin is no temperature coefficient of a tyre");
        table.fault("pilot-out-of-range", "per_k", message, "0.006 to 0.010 for truck tyres".into());
    }
    let source = "UN Regulation 117, annex 6, paragraph 6.2";
    let reference_k = r.or("reference", Dimension::Temperature, 298.15, "25 degC", source).0;
    table.finish();
    Some(RollingTemperature { per_k, reference_k })
}

/// `[vehicle_types.ID.cab_climate]`
pub fn cab_climate(section: &Section<'_, '_>) -> Option<Climate> {
    let why = "cab climate is what is logged, or what stops show where battery power is measured";
    let table = table(section, "cab_climate", why)?;
    let r = Reader { section: &table };
    let none = "not stated: none";
    let heating_w_per_k = r.or("heating_per_k", Dimension::Power, 0.0, "0 W", none).0;
    let cooling_w_per_k = r.or("cooling_per_k", Dimension::Power, 0.0, "0 W", none).0;
    let heating_below_k = r.or("heating_below", Dimension::Temperature, 290.15, "17 degC", PRACTICE).0;
    let cooling_above_k = r.or("cooling_above", Dimension::Temperature, 296.15, "23 degC", PRACTICE).0;
    let source = format!("1 to 6 kW to heat or cool a cab, {MEMORY}");
    let power_max_w = r.or("power_max", Dimension::Power, 6000.0, "6 kW", &source).0;
    if cooling_above_k < heating_below_k {
        let message = "cooling_above must not lie below heating_below".to_owned();
        table.fault("pilot-out-of-range", "cooling_above", message, "\"23 degC\" and \"17 degC\", say".into());
    }
    table.finish();
    Some(Climate { heating_below_k, heating_w_per_k, cooling_above_k, cooling_w_per_k, power_max_w })
}

fn table<'c, 't>(section: &Section<'c, 't>, key: &str, why_not: &str) -> Option<Section<'c, 't>> {
    let found = section.section(key);
    if !section.has(key) {
        section.default(key, "off", why_not);
    }
    found
}
