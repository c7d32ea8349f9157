//! The pilot file: as written, everything optional and unknown keys refused; as resolved, nothing optional, each
//! value with its origin.
//!
//! Settings live with the crates that use them; this crate fills them in and is the only one that knows the file.
//! Deliberately absent: environment variables, a search path, any default without a source.

mod charging;
mod document;
mod estimation;
mod events;
mod files;
mod levels;
mod listing;
mod loads;
mod loss_map;
mod losses;
mod manifest;
mod map_rules;
mod parts;
mod plan;
mod replay;
mod routes;
mod shifts;
mod side_table;
mod source_time;
mod sources;
mod spread;
mod vehicle_type;
mod weather;
mod weather_table;
pub mod what_if;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use backwatt_ingest::Settings as IngestSettings;
use backwatt_physics::ReplaySettings;
use backwatt_schema::{Problem, Severity};
use jiff::civil::date;
use jiff::tz::TimeZone;
use toml::de::DeTable;

pub use charging::Charging;
use document::{Context, Section};
pub use events::Event;
pub use listing::{Origin, Setting};
pub use plan::{Plan, PlanScenario, USUAL_CAB};
pub use routes::{Depot, DepotPlace};
pub use vehicle_type::VehicleType;

/// How figures are shown. It never changes what is computed or stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DisplayUnits {
    Us,
    Metric,
}

/// A pilot, resolved.
#[derive(Debug, Clone)]
pub struct Pilot {
    pub name: String,
    pub folder: PathBuf,
    pub units: DisplayUnits,
    pub zone: Option<TimeZone>,
    /// True where drivers go by names that are not their own: small groups are kept silent about then.
    pub pseudonyms: bool,
    /// What happened when, such as coaching or new tyres.
    pub events: Vec<Event>,
    pub vehicle_types: BTreeMap<String, VehicleType>,
    /// Vehicle to type, as `[vehicles]` lists them.
    pub vehicles: BTreeMap<String, String>,
    /// Type of each source's vehicles that are not listed.
    source_types: Vec<Option<String>>,
    pub ingest: IngestSettings,
    pub replay: ReplaySettings,
    pub charging: Charging,
    pub plan: Plan,
    /// Where trucks are kept and loaded, as the map of routes has it.
    pub depots: Vec<Depot>,
    /// The map of routes, where one is named.
    pub routes_file: Option<PathBuf>,
    /// Tables that `ingest` fills logs from, where they are named.
    pub side_files: Vec<PathBuf>,
    pub settings: Vec<Setting>,
    pub problems: Vec<Problem>,
}

impl Pilot {
    /// The type of a vehicle: its own entry, that of the source its files belong to, or the only type there is.
    pub fn type_of(&self, vehicle: &str) -> Option<(&str, &VehicleType)> {
        let by_source = || {
            self.ingest.sources.iter().zip(&self.source_types).find_map(|(source, vehicle_type)| {
                let named = source.files.iter().any(|file| file.vehicle.as_deref() == Some(vehicle));
                let may = named || source.files.iter().any(|file| file.vehicle.is_none());
                if may { vehicle_type.clone() } else { None }
            })
        };
        let only =
            || if self.vehicle_types.len() == 1 { self.vehicle_types.keys().next().cloned() } else { None };
        let name = self.vehicles.get(vehicle).cloned().or_else(by_source).or_else(only)?;
        self.vehicle_types.get_key_value(&name).map(|(name, found)| (name.as_str(), found))
    }
}

/// A pilot file is written by hand.
const LARGEST_BYTES: u64 = 16 << 20;

/// Reads and resolves a pilot file. Every fault found is returned, not only the first.
pub fn read(path: &Path) -> Result<Pilot, Vec<Problem>> {
    let shown = path.display().to_string();
    let read = || match std::fs::metadata(path)? {
        file if file.is_file() && file.len() <= LARGEST_BYTES => std::fs::read_to_string(path),
        _ => Err(std::io::Error::other("not a pilot file: no regular file, or larger than 16 MiB")),
    };
    let text = read().map_err(|error| {
        let hint = "name the pilot file; backwatt inspect FOLDER drafts one from the logs";
        vec![Problem::error("pilot-unreadable", error.to_string()).in_file(&shown).hint(hint)]
    })?;
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    parse(&text, &shown, folder)
}

/// As [`read`], from a text.
pub fn parse(text: &str, shown: &str, folder: &Path) -> Result<Pilot, Vec<Problem>> {
    let context = Context::new(shown.to_owned(), text);
    let table = DeTable::parse(text).map_err(|error| {
        let mut problem = Problem::error("pilot-not-toml", error.message().to_owned())
            .in_file(shown)
            .hint("the pilot file is TOML: key = value, texts in quotes, [sections]");
        if let Some(span) = error.span() {
            problem = problem.on_line(context.line(span.start));
        }
        vec![problem]
    })?;
    let pilot = resolve(&Section::root(table.get_ref(), &context), folder);
    let problems = context.problems.into_inner();
    match pilot {
        Some(pilot) if problems.iter().all(|p| p.severity < Severity::Error) => {
            Ok(Pilot { settings: context.listing.into_inner().into_settings(), problems, ..pilot })
        }
        _ => Err(problems),
    }
}

fn resolve(root: &Section<'_, '_>, folder: &Path) -> Option<Pilot> {
    let head = root.section("pilot");
    if head.is_none() && !root.has("pilot") {
        let hint = "[pilot]\nname = \"...\"\ntime_zone = \"...\"".to_owned();
        root.fault("pilot-head-missing", "pilot", "the file has no [pilot] section".into(), hint);
    }
    let head = head?;
    let name = head.text("name").map_or_else(|| "(unnamed pilot)".to_owned(), |at| at.value);
    let zone_name = head.text("time_zone").map(|at| at.value);
    let zone = zone_name.and_then(|name| zone(&head, "time_zone", &name));
    if !head.has("time_zone") {
        head.default("time_zone", "UTC", "service days are cut in UTC until the pilot says where it was");
    }
    let units = display_units(&head);
    let pseudonyms = pseudonyms(&head);
    head.finish();
    let vehicle_types: BTreeMap<String, VehicleType> = root
        .named_sections("vehicle_types")
        .into_iter()
        .filter_map(|(name, section)| Some((name, vehicle_type::read(&section, folder)?)))
        .collect();
    if vehicle_types.is_empty() {
        let hint = "[vehicle_types.van]\nmass = \"5400 kg\"".to_owned();
        root.fault("pilot-no-types", "vehicle_types", "the file describes no vehicle type".into(), hint);
    }
    let vehicles = vehicles(root, &vehicle_types);
    let mut sources = Vec::new();
    let mut source_types = Vec::new();
    for (number, section) in root.sections("sources").iter().enumerate() {
        if let Some(found) = sources::read(section, number, folder, zone.as_ref()) {
            if let Some(wanted) = &found.vehicle_type {
                check_type(section, "vehicle_type", wanted, &vehicle_types);
            }
            source_types.push(found.vehicle_type);
            sources.push(found.source);
        }
    }
    refuse_overlap(root, &sources);
    if !root.has("sources") {
        let hint = "[[sources]]\nfiles = \"logs/*.csv\"".to_owned();
        root.fault("pilot-no-sources", "sources", "the file names no logs".into(), hint);
    }
    let map = routes::read(root, folder);
    let replay = ReplaySettings { routes: map.routes.map(Arc::new), ..replay::read(root) };
    map_rules::list(root);
    let plan = plan::read(root, &vehicle_types);
    let tiles = elevation_tiles(root, folder);
    let manifest = manifest_path(root, folder);
    let loads = manifest.as_deref().map(|path| loads(root, path, zone.as_ref())).unwrap_or_default();
    let charging = charging::read(root, folder, zone.as_ref());
    let wall_clock = zone.clone().unwrap_or(TimeZone::UTC);
    let (shifts_file, shifts) = shifts::read(root, folder, &wall_clock);
    let (weather_file, weather) = weather_table::read(root, folder, &wall_clock).unzip();
    let side_files = [manifest, shifts_file, weather_file].into_iter().flatten().collect();
    let events = events::read(root);
    root.finish();
    let ingest =
        IngestSettings { elevation_tiles: tiles, loads, shifts, weather, ..ingest_settings(root, sources) };
    Some(Pilot {
        name,
        folder: folder.to_owned(),
        units,
        zone,
        pseudonyms,
        events,
        vehicle_types,
        vehicles,
        source_types,
        ingest,
        replay,
        charging,
        plan,
        depots: map.depots,
        routes_file: map.file,
        side_files,
        settings: Vec::new(),
        problems: Vec::new(),
    })
}

/// A file read by two sources would be two files of one name in every receipt and reject.
fn refuse_overlap(root: &Section<'_, '_>, sources: &[backwatt_ingest::settings::Source]) {
    let mut seen: BTreeMap<(PathBuf, &str), &str> = BTreeMap::new();
    for source in sources {
        for file in &source.files {
            let real = file.path.canonicalize().unwrap_or_else(|_| file.path.clone());
            let member = file.member.as_ref().map_or("", |member| &member.name);
            if let Some(other) = seen.insert((real, member), &source.name) {
                let message = format!("{} is read twice, by \"{other}\" and \"{}\"", file.shown, source.name);
                let hint = "one source can map every column of a file: put the mappings together".to_owned();
                root.fault("pilot-file-twice", "sources", message, hint);
                return;
            }
        }
    }
}

fn display_units(head: &Section<'_, '_>) -> DisplayUnits {
    match head.text("units").map(|at| at.value).as_deref() {
        Some("us") => DisplayUnits::Us,
        Some("metric") => DisplayUnits::Metric,
        None => {
            head.default("units", "us", "display only");
            DisplayUnits::Us
        }
        Some(other) => {
            head.fault("pilot-units", "units", format!("\"{other}\" are no units"), "us or metric".into());
            DisplayUnits::Us
        }
    }
}

fn pseudonyms(head: &Section<'_, '_>) -> bool {
    match head.text("driver_names").map(|at| at.value).as_deref() {
        Some("names") => false,
        Some("pseudonyms") => true,
        None => {
            head.default("driver_names", "pseudonyms", "nothing is said of people in groups under five");
            true
        }
        Some(other) => {
            let hint = "pseudonyms or names".to_owned();
            head.fault("pilot-driver-names", "driver_names", format!("driver names are no \"{other}\""), hint);
            true
        }
    }
}

fn vehicles(root: &Section<'_, '_>, types: &BTreeMap<String, VehicleType>) -> BTreeMap<String, String> {
    let mut vehicles = BTreeMap::new();
    for (name, section) in root.named_sections("vehicles") {
        if let Some(wanted) = section.text("type").map(|at| at.value) {
            check_type(&section, "type", &wanted, types);
            vehicles.insert(name, wanted);
        }
        section.finish();
    }
    vehicles
}

pub(crate) fn check_type(
    section: &Section<'_, '_>,
    key: &str,
    wanted: &str,
    types: &BTreeMap<String, VehicleType>,
) {
    if types.contains_key(wanted) {
        return;
    }
    let valid: Vec<&str> = types.keys().map(String::as_str).collect();
    let near = backwatt_schema::nearest(wanted, valid.iter().copied());
    let near = near.map_or(String::new(), |near| format!("did you mean \"{near}\"? "));
    let hint = format!("{near}types described here: {}", valid.join(", "));
    section.fault("pilot-unknown-type", key, format!("there is no vehicle type \"{wanted}\""), hint);
}

fn ingest_settings(root: &Section<'_, '_>, sources: Vec<backwatt_ingest::settings::Source>) -> IngestSettings {
    let instant = |year| {
        let start = date(year, 1, 1).at(0, 0, 0, 0);
        let stamp = jiff::tz::Offset::UTC.to_timestamp(start).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
        i64::try_from(stamp.as_nanosecond()).unwrap_or(0)
    };
    root.default(
        "ingest.time_earliest",
        "2005-01-01",
        "a clock before is one that was reset; common practice, no source",
    );
    root.default(
        "ingest.time_latest",
        "2060-01-01",
        "a clock after is one that was reset; common practice, no source",
    );
    root.default(
        "ingest.frozen_after",
        "10 s",
        "every signal unchanged while moving; common practice, no source",
    );
    root.default(
        "ingest.values_held",
        "3 intervals of the signal, 1 s to 5 min",
        "where signals come at instants of their own: two values may be lost; common practice, no source",
    );
    root.default(
        "ingest.position_held_after",
        "5 m",
        "a position repeated further on is an earlier fix; receivers are good to some metres; common practice, no source",
    );
    for (key, value, source) in backwatt_ingest::rules::LISTED {
        root.default(key, value, source);
    }
    IngestSettings {
        sources,
        time_earliest_ns: instant(2005),
        time_latest_ns: instant(2060),
        frozen_after_s: 10.0,
        memory_bytes: ingest_memory(root),
        elevation_tiles: None,
        loads: Vec::new(),
        shifts: Vec::new(),
        weather: None,
    }
}

/// What ingest may take of the memory. [bytes]
fn ingest_memory(root: &Section<'_, '_>) -> u64 {
    const MIB: f64 = 1_048_576.0;
    let section = root.section("ingest").unwrap_or_else(|| root.nothing("ingest"));
    let memory = section.number("memory_mib");
    if memory.is_none() {
        section.default(
            "memory_mib",
            "1024",
            "a window of a vehicle is held at once, and as many as fit in this",
        );
    }
    section.finish();
    match memory.map(|at| at.value) {
        Some(mib) if (64.0..=1_048_576.0).contains(&mib) => (mib * MIB) as u64,
        Some(mib) => {
            let message = format!("ingest.memory_mib = {mib} is not between 64 and 1048576");
            root.fault("pilot-out-of-range", "ingest.memory_mib", message, "memory_mib = 1024".to_owned());
            backwatt_ingest::settings::MEMORY_BYTES
        }
        None => backwatt_ingest::settings::MEMORY_BYTES,
    }
}

fn manifest_path(root: &Section<'_, '_>, folder: &Path) -> Option<PathBuf> {
    let Some(section) = root.section("payloads") else {
        root.default("payloads.manifest", "none", "payload comes from the log or the vehicle type");
        return None;
    };
    let named = section.text("manifest").map(|at| folder.join(at.value));
    section.finish();
    named
}

fn loads(root: &Section<'_, '_>, path: &Path, zone: Option<&TimeZone>) -> Vec<backwatt_ingest::settings::Load> {
    let utc = TimeZone::UTC;
    manifest::read(path, &path.display().to_string(), zone.unwrap_or(&utc)).unwrap_or_else(|problems| {
        problems.into_iter().for_each(|problem| root.keep(problem));
        Vec::new()
    })
}

/// The folder of elevation tiles, where the pilot names one.
fn elevation_tiles(root: &Section<'_, '_>, folder: &Path) -> Option<PathBuf> {
    let Some(section) = root.section("elevation") else {
        root.default("elevation.tiles", "none", "heights come from the log");
        return None;
    };
    let named = section.text("tiles").map(|at| folder.join(at.value));
    if let Some(tiles) = named.as_ref().filter(|tiles| !tiles.is_dir() && !tiles.is_file()) {
        let message = format!("{} is no folder and no file", tiles.display());
        let hint =
            "a GeoTIFF, or a folder, relative to the pilot file, of GeoTIFF tiles or of tiles named by their south-west corner: N47E008.hgt"
                .to_owned();
        section.fault("pilot-no-tiles", "tiles", message, hint);
    }
    section.finish();
    named
}

/// A time zone by its IANA name.
pub(crate) fn zone(section: &Section<'_, '_>, key: &str, name: &str) -> Option<TimeZone> {
    match TimeZone::get(name) {
        Ok(zone) => Some(zone),
        Err(_) => {
            let hint = "an IANA name such as \"America/Los_Angeles\" or \"UTC\"".to_owned();
            section.fault("pilot-time-zone", key, format!("\"{name}\" is no time zone known here"), hint);
            None
        }
    }
}
