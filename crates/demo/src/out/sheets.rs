//! The vehicle types as a user knows them: off a sheet, rounded, and not all of it right.
//!
//! Against the truth, rolling resistance is some 8 % low at the pilot's temperatures, drag area 5 % low, level
//! forces and fade speeds are nominal, and one fixed efficiency stands in for losses that depend on load.

/// The light type's table.
pub const LIGHT: &str = r#"[vehicle_types.light3]
mass = "3900 kg"                       # weighed empty, driver added
payload = "700 kg"
payload_low = "0 kg"
payload_high = "1500 kg"
drag_area = "3.8 m2"
rolling_resistance = 0.0077
rotating_mass = "227 kg"               # four tyres and the motor
axle_efficiency = 0.96
motor_efficiency = 0.90
battery_efficiency = 0.98
axle_deceleration_limit = "2.0 m/s2"
motor_torque_max = "340 N.m"
gear_ratio = 9.0
tyre_radius = "0.36 m"
regen_power_max = "75 kW"
charge_power_max = "60 kW"
charge_taper_start = "90 %"
charge_cold_full = "10 degC"
charge_cold_none = "-20 degC"
packs = 3
pack_energy = "20 kW.h"
usable_fraction = 0.9
aux_power = "400 W"
blending = "friction-only"
level_kind = "torque"
level_includes_road_load = false
default_level = "unknown"
power_boundary = "pack"

[vehicle_types.light3.levels.off]
lift_off = "0 kN"
fade_start = "3 mph"
fade_end = "9 mph"

[vehicle_types.light3.levels.low]
lift_off = "2.0 kN"
fade_start = "3 mph"
fade_end = "9 mph"

[vehicle_types.light3.levels.medium]
lift_off = "3.8 kN"
fade_start = "3 mph"
fade_end = "9 mph"

[vehicle_types.light3.levels.high]
lift_off = "6.0 kN"
fade_start = "3 mph"
fade_end = "9 mph"
"#;

/// The medium type's table.
pub const MEDIUM: &str = r#"[vehicle_types.medium5]
mass = "5400 kg"                       # weighed empty, driver added
payload = "1300 kg"
payload_low = "0 kg"
payload_high = "2800 kg"
drag_area = "5.0 m2"
rolling_resistance = 0.0077
rotating_mass = "340 kg"               # six tyres
axle_efficiency = 0.955
motor_efficiency = 0.90
battery_efficiency = 0.98
axle_deceleration_limit = "2.0 m/s2"
motor_torque_max = "490 N.m"
gear_ratio = 10.2
tyre_radius = "0.40 m"
regen_power_max = "110 kW"
charge_power_max = "100 kW"
charge_taper_start = "90 %"
charge_cold_full = "10 degC"
charge_cold_none = "-20 degC"
packs = 5
pack_energy = "20 kW.h"
usable_fraction = 0.9
aux_power = "600 W"
blending = "parallel"
pedal_regen_share = 0.5
level_kind = "torque"
level_includes_road_load = false
default_level = "unknown"
power_boundary = "pack"

[vehicle_types.medium5.levels.off]
lift_off = "0 kN"
fade_start = "3 mph"
fade_end = "8 mph"

[vehicle_types.medium5.levels.low]
lift_off = "2.8 kN"
fade_start = "3 mph"
fade_end = "8 mph"

[vehicle_types.medium5.levels.medium]
lift_off = "5.5 kN"
fade_start = "3 mph"
fade_end = "8 mph"

[vehicle_types.medium5.levels.high]
lift_off = "8.5 kN"
fade_start = "3 mph"
fade_end = "8 mph"
"#;
