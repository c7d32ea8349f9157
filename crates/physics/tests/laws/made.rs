//! Random trucks and drives, and their replay.

use arrow::array::RecordBatch;
use backwatt_physics::kernels::loss_map::LossMap;
use backwatt_physics::kernels::losses::Coefficients;
use backwatt_physics::{
    Acceptance, Blending, Level, LiftOff, Losses, PhysicsError, PowerBoundary, Replay, ReplaySettings, Sheet,
    Truck, power_trace, replay,
};
use backwatt_schema::{BatchBuilder, BatchView, Kind, Table, number_at, tables};
use proptest::prelude::*;

/// A log as columns; what is not given is null.
#[derive(Debug, Clone, Default)]
pub struct Log {
    pub time_ns: Vec<i64>,
    pub columns: Vec<(&'static str, Vec<Option<f64>>)>,
    pub texts: Vec<(&'static str, Vec<Option<&'static str>>)>,
    pub flags: Vec<(&'static str, Vec<bool>)>,
}

impl Log {
    /// Speeds at steps of the lengths given; one step fewer than speeds.
    pub fn new(speed_m_s: &[f64], steps_s: &[f64]) -> Self {
        let mut now = 0;
        let mut time_ns = vec![];
        for at in 0..speed_m_s.len() {
            time_ns.push(now);
            now += (steps_s.get(at).copied().unwrap_or(1.0) * 1e9) as i64;
        }
        Self { time_ns, columns: vec![("speed_m_s", known(speed_m_s))], texts: vec![], flags: vec![] }
    }

    pub fn with(mut self, name: &'static str, values: Vec<Option<f64>>) -> Self {
        self.columns.push((name, values));
        self
    }

    pub fn saying(mut self, name: &'static str, values: Vec<Option<&'static str>>) -> Self {
        self.texts.push((name, values));
        self
    }

    pub fn flagging(mut self, name: &'static str, values: Vec<bool>) -> Self {
        self.flags.push((name, values));
        self
    }

    /// Samples `from..=to` of the same log.
    pub fn part(&self, from: usize, to: usize) -> Self {
        let cut = |values: &Vec<Option<f64>>| values[from..=to].to_vec();
        Self {
            time_ns: self.time_ns[from..=to].to_vec(),
            columns: self.columns.iter().map(|(name, values)| (*name, cut(values))).collect(),
            texts: self.texts.iter().map(|(name, values)| (*name, values[from..=to].to_vec())).collect(),
            flags: self.flags.iter().map(|(name, values)| (*name, values[from..=to].to_vec())).collect(),
        }
    }

    pub fn batch(&self) -> RecordBatch {
        let rows = self.time_ns.len();
        let mut builder = BatchBuilder::new(&tables::SAMPLES);
        for column in tables::SAMPLES.columns {
            let name = column.name;
            let given = self.columns.iter().find(|(given, _)| *given == name);
            builder = match column.kind {
                Kind::Time => builder.time(name, self.time_ns.iter().copied()),
                Kind::F64 => {
                    builder.number(name, given.map_or_else(|| vec![None; rows], |(_, values)| values.clone()))
                }
                Kind::Bool => {
                    let said = self.flags.iter().find(|(said, _)| *said == name);
                    let unsaid = || vec![(!column.nullable()).then_some(false); rows];
                    builder.flag(
                        name,
                        said.map_or_else(unsaid, |(_, values)| values.iter().copied().map(Some).collect()),
                    )
                }
                Kind::Text => {
                    let said = self.texts.iter().find(|(said, _)| *said == name);
                    let unsaid = || vec![(!column.nullable()).then_some("-"); rows];
                    builder.text(name, said.map_or_else(unsaid, |(_, values)| values.clone()))
                }
                Kind::U32 => builder.order(name, 0..rows as u32),
                Kind::U64 => builder.count(name, 0..rows as u64),
            };
        }
        builder.finish().unwrap_or_else(|e| panic!("{e}"))
    }

    pub fn try_replay(&self, sheet: &Sheet, settings: &ReplaySettings) -> Result<Replay, PhysicsError> {
        replay("T1", &self.batch(), sheet, settings, &|_| "2024-01-01".to_owned())
    }

    /// Power between the samples.
    pub fn trace(&self, truck: &Truck, settings: &ReplaySettings) -> RecordBatch {
        power_trace("T1", &self.batch(), &exactly(truck), settings).unwrap_or_else(|e| panic!("{e}"))
    }

    pub fn replay(&self, truck: &Truck, settings: &ReplaySettings) -> Replay {
        self.try_replay(&exactly(truck), settings).unwrap_or_else(|e| panic!("{e}"))
    }
}

/// A truck of 6.6 t with one level.
pub fn plain() -> Truck {
    Truck {
        mass_empty_kg: 6600.0,
        payload_kg: 0.0,
        rotating_mass_kg: 330.0,
        drag_area_m2: 5.0,
        rolling_resistance: 0.0077,
        losses: Losses::Constant { efficiency: 0.86 },
        rolling_temperature: None,
        axle_limit_m_s2: 1.9,
        motor_force_max_n: 20e3,
        motor_power_max_w: 120e3,
        acceptance: Acceptance {
            power_max_w: 100e3,
            taper_start_soc: 0.9,
            cold_full_k: 283.15,
            cold_none_k: 253.15,
        },
        battery_warmth: 0.5,
        aux_power_w: 800.0,
        climate: None,
        blending: Blending::FrictionOnly,
        levels: vec![Level {
            name: "level".to_owned(),
            lift_off: LiftOff::Deceleration { m_s2: 1.0, includes_road_load: false },
            fade_start_m_s: 1.0,
            fade_end_m_s: 3.0,
        }],
        default_level: Some(0),
    }
}

pub fn known(values: &[f64]) -> Vec<Option<f64>> {
    values.iter().copied().map(Some).collect()
}

/// A sheet without spread.
pub fn exactly(truck: &Truck) -> Sheet {
    Sheet {
        nominal: truck.clone(),
        low: truck.clone(),
        high: truck.clone(),
        open: Vec::new(),
        power_boundary: PowerBoundary::Pack,
    }
}

pub fn numbers(table: &'static Table, batch: &RecordBatch, name: &str) -> Vec<Option<f64>> {
    let array = BatchView::new(table, batch).numbers(name).unwrap_or_else(|e| panic!("{e}"));
    (0..batch.num_rows()).map(|row| number_at(array, row)).collect()
}

/// Sum of a column of segments.
pub fn sum(replay: &Replay, name: &str) -> f64 {
    numbers(&tables::SEGMENTS, &replay.segments, name).into_iter().flatten().sum()
}

/// Ramps shorter than half a metre per second would hold branches shorter than the cascade looks for.
fn level() -> impl Strategy<Value = Level> {
    let deceleration = (0.0..2.5f64, any::<bool>())
        .prop_map(|(m_s2, includes_road_load)| LiftOff::Deceleration { m_s2, includes_road_load });
    let force = (0.0..30e3f64).prop_map(|n| LiftOff::Force { n });
    let lift_off = prop_oneof![deceleration, force];
    (lift_off, 0.0..4.0f64, prop_oneof![Just(0.0), 0.5..8.0f64]).prop_map(|(lift_off, start, span)| Level {
        name: "level".to_owned(),
        lift_off,
        fade_start_m_s: start,
        fade_end_m_s: start + span,
    })
}

pub fn blending() -> impl Strategy<Value = Blending> {
    prop_oneof![
        Just(Blending::FrictionOnly),
        Just(Blending::Series),
        (0.0..1.0f64).prop_map(|pedal_share| Blending::Parallel { pedal_share }),
    ]
}

fn acceptance() -> impl Strategy<Value = Acceptance> {
    (0.0..300e3f64, 0.5..1.0f64).prop_map(|(power_max_w, taper_start_soc)| Acceptance {
        power_max_w,
        taper_start_soc,
        cold_full_k: 283.15,
        cold_none_k: 253.15,
    })
}

/// Losses of motor and inverter on a grid with or without a braking side, rising with force and speed as they do.
fn loss_map() -> impl Strategy<Value = LossMap> {
    (any::<bool>(), 2..6usize, 2..6usize, 2e3..30e3f64, 5.0..35.0f64, 0.0..500.0f64, 1e-6..1e-4f64).prop_map(
        |(both_ways, forces, speeds, most_n, fastest_m_s, idle_w, per_n2)| {
            let axis = |from: f64, to: f64, steps: usize| -> Vec<f64> {
                (0..steps).map(|at| from + (to - from) * at as f64 / (steps - 1) as f64).collect()
            };
            let forces = axis(if both_ways { -most_n } else { 0.0 }, most_n, forces);
            let speeds = axis(0.0, fastest_m_s, speeds);
            let loss = |force: f64, speed: f64| idle_w + 60.0 * speed + per_n2 * force * force;
            let grid = forces.iter().flat_map(|f| speeds.iter().map(move |v| loss(*f, *v))).collect();
            LossMap::new(forces, speeds, grid).unwrap_or_else(|e| panic!("{e}"))
        },
    )
}

pub fn losses() -> impl Strategy<Value = Losses> {
    let gears = 0.8..1.0f64;
    let coefficients = (gears.clone(), 0.0..1500.0f64, 0.0..150.0f64, 0.0..10.0f64, 0.0..2e-4f64).prop_map(
        |(gear_efficiency, idle_w, per_speed_n, per_speed_squared_kg_s, load_squared_w_per_n2)| {
            Losses::Coefficients(Coefficients {
                gear_efficiency,
                idle_w,
                per_speed_n,
                per_speed_squared_kg_s,
                load_squared_w_per_n2,
            })
        },
    );
    let map = (gears, loss_map()).prop_map(|(gear_efficiency, map)| Losses::Map { gear_efficiency, map });
    prop_oneof![(0.5..1.0f64).prop_map(|efficiency| Losses::Constant { efficiency }), coefficients, map]
}

pub fn truck() -> impl Strategy<Value = Truck> {
    let body = (800.0..18e3f64, 0.0..9e3f64, 0.0..600.0f64, 0.4..9.0f64, 0.004..0.02f64);
    let drive = (losses(), 0.5..6.0f64, 2e3..60e3f64, 10e3..400e3f64, 0.0..15e3f64);
    let levels = prop::collection::vec(level(), 1..4);
    (body, drive, acceptance(), blending(), levels).prop_map(|(body, drive, acceptance, blending, levels)| {
        Truck {
            mass_empty_kg: body.0,
            payload_kg: body.1,
            rotating_mass_kg: body.2,
            drag_area_m2: body.3,
            rolling_resistance: body.4,
            losses: drive.0,
            rolling_temperature: None,
            axle_limit_m_s2: drive.1,
            motor_force_max_n: drive.2,
            motor_power_max_w: drive.3,
            acceptance,
            battery_warmth: 0.5,
            aux_power_w: drive.4,
            climate: None,
            blending,
            levels,
            default_level: Some(0),
        }
    })
}

/// Speeds with standstills, at uneven steps short enough that no gap opens.
pub fn drive() -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    let speed = prop_oneof![1 => Just(0.0), 4 => 0.0..32.0f64];
    prop::collection::vec((speed, 0.2..2.5f64), 3..60).prop_map(|rows| rows.into_iter().unzip())
}

/// Modest numbers of cases, so that the laws hold in seconds without optimisation, unless PROPTEST_CASES asks for more;
/// no files of failures.
pub fn cases(cases: u32) -> ProptestConfig {
    let asked = ProptestConfig::default();
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() { asked.cases } else { cases };
    ProptestConfig { cases, failure_persistence: None, ..asked }
}
