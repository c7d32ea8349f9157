//! The note that lies beside the made-up pilot.

pub const TEXT: &str = r#"# A made-up pilot

Everything in this folder is invented: the harbour town of Quellmouth (its coordinates lie in open ocean), its
roads and customers, the drivers, the trucks and every number. None of it was measured. A forward model drove
the trucks through the town; loggers with faults watched them.

| file | what it is |
|---|---|
| `pilot.toml` | the pilot file: vehicle sheets as a user would know them (some values are a few percent off), sources, columns |
| `logs/harbour/<truck>/<date>.csv` | comma files, UTF-8, UTC, one row a second, one file a truck and day |
| `logs/upland/<truck>_<week>.csv` | semicolon files, windows-1252, decimal comma, local time (Etc/GMT+2), a row every 5 or 10 s, one file a truck and ISO week |
| `charge_sessions.csv` | what the depot's plugs metered at the wall, one line a truck and night: whole minutes UTC, tenths of a kilowatt hour |
| `truth/vehicle_days.csv` | what really happened, by truck and day |
| `truth/levels.csv` | the same by truck, day and regen level, while moving |
| `truth/drivers.csv` | each driver's habits and totals |
| `truth/vehicles.csv` | the trucks as they truly are |
| `truth/defects.csv` | each fault put into the logs: file, line, rows |

## How to read the truth

- State of charge runs from 0 to 1 over the usable window, as on the dash.
- Braking energy is all that was taken out at the wheels beyond road load: `energy_braking_kwh` =
  `energy_regen_wheel_kwh` + `energy_friction_kwh`.
- `energy_recoverable_kwh`: what level, pedal, motor and battery as they stood could have brought to the battery's
  terminals. `energy_returned_kwh`: given back to the dc link, before auxiliaries took their part.
  `energy_recovered_kwh`: arrived at the terminals while moving. Charging is never in it.
- `energy_discharge_gross_kwh` counts key-off time, which no logger sees; what was drawn then is
  `energy_auxiliary_key_off_kwh` (a refrigeration unit on H13 runs on while the key is off).
- `energy_plug_kwh` is what the night's charging put into the terminals, `energy_plug_logged_kwh` the part that
  the logger was awake for, `energy_wall_kwh` what the plug gave.
- `payload_distance_mean_kg` is the mean over distance; payload falls at each customer and is renewed at the depot.
- `line` in `defects.csv` counts from 1, preamble and header included; a drop-out is placed at the first line after
  it. Rows of `tunnel_without_gps` are one pass under ground each.

## What the loggers do

| truck | type | every | battery | charge steps | regen level | payload | charging logged |
|---|---|---|---|---|---|---|---|
| H11 | light3 | 1 s | voltage, current | 0.5 % | yes | yes | first 20 min |
| H12 | light3 | 1 s | voltage, current | 0.5 % | yes | empty column | no |
| H13 | medium5 | 1 s | voltage, current | 0.5 % | yes | yes | first 20 min |
| U21 | medium5 | 5 s | power, positive while charging | 0.4 %, cut off | yes | yes | first 20 min |
| U22 | light3 | 5 s | none | 1 %, cut off | yes | no | no |
| U23 | medium5 | 10 s | none | 1 %, cut off | no | no | no |

The small pilot has H12 and U22 only.

Voltage, current and power are momentary values. Speed comes from the wheels, with a tyre factor of its own for each
truck; altitude drifts by some 5 m over minutes. Long customer visits are made with the key off: the log pauses.
The light trucks brake by friction only on the pedal, the medium ones blend in parallel. On the first day of week
six (2026-03-09) H12, H13 and U22 received firmware that changes the regen map. Weeks four and five are cold.
"#;
