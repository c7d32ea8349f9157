// Writes a pilot of one short drive whose every name means harm. Usage: node hostile_pilot.mjs DIR
import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";

const folder = process.argv[2];
const harm = (what) => `<script>document.title='taken by ${what}'</script>"'&<img src=x onerror="document.title='taken'">\u202e${what}`;
const LONG = "W".repeat(10_000);
const TYPE = "</script><b>type";
const quoted = (text) => `"${text.replaceAll('"', '""')}"`;
const toml = (text) => JSON.stringify(text);

// Four hills and stops at 1 Hz, 9 m/s at most, battery power along.
const rows = [];
for (let second = 0; second < 900; second += 1) {
  const round = second % 60;
  const speed = round < 12 ? 0.75 * round : round < 40 ? 9 : Math.max(0, 9 - 0.9 * (round - 40));
  const slope = round < 12 ? 0.75 : round >= 40 && speed > 0 ? -0.9 : 0;
  const watts = 600 + 3000 * slope * speed + 500 * speed;
  const time = new Date(Date.UTC(2026, 2, 4, 6, 0, second)).toISOString();
  rows.push([time, speed.toFixed(3), (-45 + second * 5e-5).toFixed(6), "-130.000000", (0.9 - second * 2e-5).toFixed(4), watts.toFixed(0), LONG, harm("route"), second < 400 ? harm("level") : "high"]);
}
const log = ["time,speed,lat,lon,soc,power,driver,route,level", ...rows.map((row) => row.map(quoted).join(","))].join("\n");
const level = (name, slowing) => `[vehicle_types.${toml(TYPE)}.levels.${toml(name)}]\nlift_off = "${slowing} m/s2"\nfade_start = "3 km/h"\nfade_end = "12 km/h"\n`;
const pilot = `[pilot]
name = ${toml(harm("pilot"))}
time_zone = "UTC"
units = "metric"

[vehicle_types.${toml(TYPE)}]
mass = "5000 kg"
packs = 3
pack_energy = "20 kW.h"

${level(harm("level"), 0.4)}
${level("high", 1.1)}
[[sources]]
files = "logs/*.csv"
vehicle = ${toml(harm("vehicle"))}
delimiter = ","
decimal = "."
encoding = "utf-8"
time = { column = "time", kind = "iso" }

[sources.columns]
speed = { column = "speed", unit = "m/s" }
latitude = { column = "lat", unit = "deg" }
longitude = { column = "lon", unit = "deg" }
state_of_charge = { column = "soc", unit = "1" }
pack_power = { column = "power", unit = "W", positive = "discharge" }
driver = { column = "driver" }
route = { column = "route" }
regen_level = { column = "level" }
`;
mkdirSync(join(folder, "logs"), { recursive: true });
writeFileSync(join(folder, "logs", "drive.csv"), `${log}\n`);
writeFileSync(join(folder, "pilot.toml"), pilot);
