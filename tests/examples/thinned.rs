//! Thins the fast logs of a run, fills them again and compares: `thinned PILOT OUT others|fleet|files [odometer] [position] [height]`.
//!
//! `others`: each fast vehicle is filled from the other fast vehicles, without the time its own drivers drove them;
//! `fleet`: with that time. `files`: each file of a vehicle is filled from that vehicle's other files. All are filled from
//! the standard cycles that the program carries as well. The last words take signals away. OUT is the folder a run of
//! PILOT wrote.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use arrow::array::{Array, BooleanArray, RecordBatch};
use arrow::compute::{concat_batches, filter_record_batch};
use backwatt_physics::{Library, Origin, ReplaySettings, Sheet, Trace, is_fast, replay, speed_traces};
use backwatt_schema::{BatchView, number_at, tables, text_at};
use backwatt_store::Layout;

/// Seconds between the samples that are left.
const INTERVALS_S: [i64; 5] = [2, 5, 10, 30, 60];

struct Case {
    name: String,
    samples: RecordBatch,
    sheet: Sheet,
    /// Logs the library is made of.
    others: Vec<RecordBatch>,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [pilot, out, by, without @ ..] = &arguments[..] else {
        eprintln!("usage: thinned PILOT OUT others|fleet|files [odometer] [position] [height]");
        std::process::exit(2);
    };
    let mut hidden: Vec<&str> = Vec::new();
    for word in without {
        let columns: &[&str] = match word.as_str() {
            "odometer" => &["odometer_m"],
            "position" => &["lat_deg", "lon_deg"],
            _ => &["altitude_m", "grade_frac", "terrain_height_m"],
        };
        hidden.extend(columns);
    }
    let pilot = backwatt::read_pilot(Path::new(pilot)).expect("the pilot file reads");
    let layout = Layout::new(out.as_str());
    let vehicles = vehicles_in(&layout);
    let logs: BTreeMap<String, RecordBatch> = vehicles
        .into_iter()
        .filter_map(|vehicle| Some((vehicle.clone(), hide(&samples(&layout, &vehicle)?, &hidden))))
        .filter(|(_, batch)| is_fast(batch).expect("samples have a speed"))
        .collect();
    let mut cases = Vec::new();
    for (vehicle, log) in &logs {
        let sheet = pilot.type_of(vehicle).expect("it has a type").1.sheet.clone();
        if by == "files" {
            let files = names(log, "source_file");
            for file in &files {
                let part = |of: &str| keep(log, "source_file", |name| name == of);
                let others = files.iter().filter(|other| *other != file).map(|other| part(other)).collect();
                cases.push(Case { name: file.clone(), samples: part(file), sheet: sheet.clone(), others });
            }
        } else {
            let own = if by == "fleet" { BTreeSet::new() } else { names(log, "driver_id") };
            let others = logs.iter().filter(|(other, _)| *other != vehicle);
            let others =
                others.map(|(_, log)| keep(log, "driver_id", |driver| !own.contains(driver))).collect();
            cases.push(Case { name: vehicle.clone(), samples: log.clone(), sheet, others });
        }
    }
    run(&cases, &pilot.replay);
}

fn run(cases: &[Case], settings: &ReplaySettings) {
    let standard = backwatt::standard_library();
    println!(
        "case | every [s] | braking at 1 Hz [kWh] | lines / own library / cycles | sd own | recoverable: lines / own / cycles"
    );
    let mut errors: BTreeMap<(&str, i64, &str), Vec<f64>> = BTreeMap::new();
    let mut sums: BTreeMap<i64, [[f64; 2]; 4]> = BTreeMap::new();
    for case in cases {
        let traces: Vec<Trace> = case
            .others
            .iter()
            .flat_map(|log| speed_traces(&case.name, log, &case.sheet.nominal, settings).expect("traces"))
            .collect();
        let own = Arc::new(Library::new("others".to_owned(), Origin::OwnFleet, &traces));
        // Faster logs are thinned to 1 Hz, which is what the others are measured by.
        let truth = Figures::of(case, &thinned(&case.samples, 1), settings, None);
        if truth.braking < 0.05 {
            continue;
        }
        for every in INTERVALS_S {
            let thin = thinned(&case.samples, every);
            let line = Figures::of(case, &thin, settings, None);
            let started = Instant::now();
            let filled = Figures::of(case, &thin, settings, Some(&own));
            let took = started.elapsed().as_secs_f64();
            let cycles = Figures::of(case, &thin, settings, Some(&standard));
            let over = |of: &Figures| of.braking / truth.braking;
            let back = |of: &Figures| of.recoverable / truth.recoverable;
            println!(
                "{} ({:.0} h) | {every} | {:.2} | {:.3} / {:.3} / {:.3} | {:.3} | {:.3} / {:.3} / {:.3} | {:.0} gaps/s",
                case.name,
                own.hours(),
                truth.braking,
                over(&line),
                over(&filled),
                over(&cycles),
                filled.sd / truth.braking,
                back(&line),
                back(&filled),
                back(&cycles),
                thin.num_rows() as f64 / took
            );
            let sum = sums.entry(every).or_default();
            for (sum, of) in sum.iter_mut().zip([&truth, &line, &filled, &cycles]) {
                sum[0] += of.braking;
                sum[1] += of.recoverable;
            }
            for (name, of) in [("own", &filled), ("cycles", &cycles)] {
                for (unit, truth, of) in
                    [("days", &truth.days, &of.days), ("levels", &truth.levels, &of.levels)]
                {
                    for (key, braking) in truth.iter().filter(|(_, braking)| **braking > 0.2) {
                        let found = of.get(key).copied().unwrap_or(0.0);
                        errors.entry((unit, every, name)).or_default().push(found / braking - 1.0);
                    }
                }
            }
        }
    }
    for (every, [truth, line, own, cycles]) in sums {
        let ratio = |of: [f64; 2], what: usize| of[what] / truth[what];
        println!(
            "all | {every} s | braking {:.3} / {:.3} / {:.3} | recoverable {:.3} / {:.3} / {:.3}",
            ratio(line, 0),
            ratio(own, 0),
            ratio(cycles, 0),
            ratio(line, 1),
            ratio(own, 1),
            ratio(cycles, 1)
        );
    }
    for ((unit, every, name), mut of) in errors {
        of.sort_by(f64::total_cmp);
        let rms = (of.iter().map(|e| e * e).sum::<f64>() / of.len() as f64).sqrt();
        let mut sizes: Vec<f64> = of.iter().map(|e| e.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let (median, middle) = (sizes[sizes.len() / 2], of[of.len() / 2]);
        println!(
            "{unit} | {every} s | {name} | {} | median error {middle:+.3}, median size {median:.3}, rms {rms:.3}",
            of.len()
        );
    }
}

struct Figures {
    braking: f64,
    recoverable: f64,
    sd: f64,
    /// Braking energy by service day. [kWh]
    days: BTreeMap<String, f64>,
    /// Braking energy by regen level. [kWh]
    levels: BTreeMap<String, f64>,
}

impl Figures {
    fn of(
        case: &Case,
        samples: &RecordBatch,
        settings: &ReplaySettings,
        library: Option<&Arc<Library>>,
    ) -> Self {
        let settings = ReplaySettings { library: library.cloned(), ..settings.clone() };
        let day = |ns: i64| (ns / 86_400_000_000_000).to_string();
        let found = replay("V", samples, &case.sheet, &settings, &day).expect("the log replays");
        let trips = BatchView::new(&tables::TRIPS, &found.trips);
        let segments = BatchView::new(&tables::SEGMENTS, &found.segments);
        let braking = trips.numbers("energy_braking_kwh").expect("a column");
        let of_day = trips.texts("service_day").expect("a column");
        let sd = trips.numbers("energy_braking_imputation_sd_kwh").expect("a column");
        let recoverable = segments.numbers("energy_recoverable_kwh").expect("a column");
        let mut days = BTreeMap::new();
        for row in 0..trips.rows() {
            *days.entry(text_at(of_day, row).unwrap_or("-").to_owned()).or_default() += braking.value(row);
        }
        let mut levels = BTreeMap::new();
        let at_level = segments.texts("regen_level").expect("a column");
        let braking_at = segments.numbers("energy_braking_kwh").expect("a column");
        for row in 0..segments.rows() {
            if let Some(level) = text_at(at_level, row) {
                *levels.entry(level.to_owned()).or_default() += number_at(braking_at, row).unwrap_or(0.0);
            }
        }
        Self {
            levels,
            braking: braking.iter().flatten().sum(),
            recoverable: recoverable.iter().flatten().sum(),
            sd: (0..trips.rows()).filter_map(|row| number_at(sd, row)).map(|sd| sd * sd).sum::<f64>().sqrt(),
            days,
        }
    }
}

/// The first row of every so many seconds.
fn thinned(samples: &RecordBatch, every_s: i64) -> RecordBatch {
    let view = BatchView::new(&tables::SAMPLES, samples);
    let times = view.times("time_ns").expect("a column").values();
    let speeds = view.numbers("speed_m_s").expect("a column");
    let mut last = i64::MIN;
    let mask: BooleanArray = (0..samples.num_rows())
        .map(|row| {
            let bin = times[row].div_euclid(every_s * 1_000_000_000);
            let first = bin != last && speeds.is_valid(row);
            if first {
                last = bin;
            }
            Some(first)
        })
        .collect();
    filter_record_batch(samples, &mask).expect("a mask as long as the batch")
}

fn samples(layout: &Layout, vehicle: &str) -> Option<RecordBatch> {
    let mut paths: Vec<_> =
        std::fs::read_dir(layout.samples_folder(vehicle)).ok()?.flatten().map(|entry| entry.path()).collect();
    paths.sort();
    let months: Vec<RecordBatch> =
        paths.iter().map(|path| backwatt_store::read_table(path, &tables::SAMPLES).expect("a table")).collect();
    Some(concat_batches(&tables::SAMPLES.schema(), &months).expect("months of one table"))
}

fn names(log: &RecordBatch, column: &str) -> BTreeSet<String> {
    let texts = BatchView::new(&tables::SAMPLES, log).texts(column).expect("a column");
    texts.iter().flatten().map(str::to_owned).collect()
}

fn keep(log: &RecordBatch, column: &str, wanted: impl Fn(&str) -> bool) -> RecordBatch {
    let texts = BatchView::new(&tables::SAMPLES, log).texts(column).expect("a column");
    let mask: BooleanArray = texts.iter().map(|text| Some(text.is_some_and(&wanted))).collect();
    filter_record_batch(log, &mask).expect("a mask as long as the batch")
}

/// Vehicles a run left samples of.
fn vehicles_in(layout: &Layout) -> BTreeSet<String> {
    let folders = std::fs::read_dir(layout.root().join("samples")).expect("a run left samples").flatten();
    folders.filter_map(|entry| Some(entry.file_name().to_str()?.strip_prefix("vehicle=")?.to_owned())).collect()
}

/// The batch with some columns blank.
fn hide(log: &RecordBatch, hidden: &[&str]) -> RecordBatch {
    let schema = log.schema();
    let columns = schema.fields().iter().zip(log.columns()).map(|(field, column)| {
        let blank = hidden.contains(&field.name().as_str());
        if blank { arrow::array::new_null_array(field.data_type(), log.num_rows()) } else { Arc::clone(column) }
    });
    RecordBatch::try_new(Arc::clone(&schema), columns.collect()).expect("columns that may be null")
}
