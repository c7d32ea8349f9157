//! The drafted pilot file, and what the logs found will and will not answer.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;

use super::clocks::{Clock, TimeGuess};
use super::dates::Written;
use super::{ColumnGuess, Look, Shape, notes, vehicles};

#[derive(Debug, Clone)]
pub struct Draft {
    /// The pilot file, ready to be completed.
    pub toml: String,
    /// What was found, for reading on a terminal.
    pub notes: Vec<String>,
    pub sources: usize,
}

impl Draft {
    pub fn new(folder: &Path, shapes: &[Shape], skipped: &[(String, String)]) -> Self {
        let name = folder
            .canonicalize()
            .ok()
            .and_then(|path| path.file_name().map(|n| n.to_string_lossy().into_owned()))
            .unwrap_or_else(|| "pilot".to_owned());
        let mut notes = Vec::new();
        for shape in shapes {
            notes.extend(notes::of(shape));
        }
        for (file, reason) in skipped {
            notes.push(format!("left out {file}: {reason}"));
        }
        // Names of files and columns may hold what a terminal obeys.
        let notes = notes.iter().map(|note| one_line(note, 2000)).collect();
        Self { toml: toml(&name, shapes), sources: shapes.len(), notes }
    }
}

fn toml(name: &str, shapes: &[Shape]) -> String {
    let mut out = String::new();
    let local = shapes.iter().any(|shape| shape.time.clock.is_local());
    let _ = writeln!(
        out,
        "# Drafted from the logs. Values marked ? are what logs cannot know; the file is refused until they are filled in.\n"
    );
    let _ = writeln!(out, "[pilot]\nname = {}", quoted(name));
    if local {
        let _ = writeln!(
            out,
            "time_zone = \"?\"   # IANA name of the zone the logger's clock was set to, e.g. \"America/Chicago\": ask whoever installed it"
        );
    } else {
        let _ = writeln!(
            out,
            "# time_zone = \"...\"   # IANA name; cuts the service days at 03:00 local instead of UTC"
        );
    }
    let _ = writeln!(
        out,
        "units = \"us\"\n\n[vehicle_types.vehicle]\n\
         mass = \"? kg\"          # empty, with driver: weigh one, or the type plate\n\
         # payload = \"900 kg\"   # carried on a usual day: loading records\n\
         # packs = 3             # with pack_energy: the maker's data sheet; needed to infer energy from state of charge\n\
         # pack_energy = \"20 kW.h\"\n\
         # drag_area = \"3.4 m2\"  # and rolling_resistance, motor_torque_max, gear_ratio, tyre_radius, aux_power: data sheet\n\
         # blending = \"friction-only\"   # what the brake pedal does: friction-only, parallel, series\n\
         # [vehicle_types.vehicle.levels.high]\n\
         # lift_off = \"1.3 m/s2\"   # deceleration when the accelerator is released on the flat"
    );
    if let Some(seen) = notes::vehicle_type(shapes) {
        let _ = writeln!(out, "# seen: {seen}");
    }
    let folders = shapes.iter().map(|shape| &shape.folder).collect::<BTreeSet<_>>().len();
    for shape in shapes {
        out.push_str(&source(shape, name, folders));
    }
    out
}

fn source(shape: &Shape, pilot: &str, folders: usize) -> String {
    let mut out = String::new();
    let label = if shape.folder.is_empty() { "logs" } else { &shape.folder };
    let _ = writeln!(out, "\n[[sources]]\nname = {}", quoted(label));
    let captured = shape.vehicle_column.is_none() && vehicles::in_names(&shape.looks);
    let pattern = |look: &Look| if captured { vehicles::pattern(&look.shown) } else { escaped(&look.shown) };
    let files: BTreeSet<String> = shape.looks.iter().map(|look| quoted(&pattern(look))).collect();
    let _ = writeln!(out, "files = [{}]", files.into_iter().collect::<Vec<_>>().join(", "));
    match &shape.vehicle_column {
        Some(column) => {
            let _ = writeln!(out, "vehicle_column = {}", quoted(column));
        }
        None if captured => out.push_str("# {vehicle} is what the files begin with\n"),
        None => {
            let vehicle = vehicles::by_folder(&shape.folder).filter(|_| folders > 1).unwrap_or(pilot);
            let _ = writeln!(
                out,
                "vehicle = {}   # or {{vehicle}} in files, where the path names it",
                quoted(vehicle)
            );
        }
    }
    let _ = writeln!(out, "vehicle_type = \"vehicle\"\n{}", time(shape));
    if let Some(look) = shape.looks.first() {
        if let Some(dbc) = &look.dbc {
            let _ = writeln!(out, "dbc = {}", quoted(dbc));
        }
        if let Some(long) = &look.long {
            let (signal, value) = (quoted(&long.signal), quoted(&long.value));
            let _ = writeln!(
                out,
                "long = {{ signal = {signal}, value = {value} }}   # signals stand below each other"
            );
        }
        let _ = writeln!(out, "# seen: {}", one_line(&look.description, 500));
    }
    let _ = writeln!(out, "[sources.columns]");
    for column in &shape.columns {
        let _ = writeln!(out, "{}", column_line(column));
    }
    out
}

fn time(shape: &Shape) -> String {
    let gps = shape.gps_time.as_ref().map_or(String::new(), |gps| {
        // What a receiver writes without an offset is UTC.
        let zone = if gps.clock.is_local() { ", zone = \"UTC\"" } else { "" };
        format!(", gps = {{ {}{zone} }}", clock(gps))
    });
    let note = match &shape.time.clock {
        Clock::Relative { .. } => {
            "   # a clock of its own: no claim that needs a date until its start is known".to_owned()
        }
        Clock::Local(Written { format, or_else: Some(other), .. }) => format!(
            "   # day and month cannot be told apart: {} or {}; ask whoever set up the logger",
            quoted(format),
            quoted(other)
        ),
        _ => String::new(),
    };
    format!("time = {{ {}{gps} }}{note}", clock(&shape.time))
}

fn clock(time: &TimeGuess) -> String {
    let columns: Vec<String> = time.columns.iter().map(|c| quoted(c)).collect();
    let which = if columns.len() == 1 {
        format!("column = {}", columns[0])
    } else {
        format!("columns = [{}]", columns.join(", "))
    };
    let detail = match &time.clock {
        Clock::Iso => String::new(),
        Clock::Epoch { unit } | Clock::Relative { unit } => format!(", unit = {}", quoted(unit)),
        Clock::DayNumber { epoch, first } => format!(", epoch = {}, first = {first}", quoted(epoch)),
        Clock::Local(Written { format, or_else, zone }) => {
            let format = if or_else.is_some() { "?" } else { format };
            let zone = zone.map_or(String::new(), |zone| format!(", zone = {}", quoted(zone)));
            format!(", format = {}{zone}", quoted(format))
        }
    };
    format!("{which}, kind = \"{}\"{detail}", time.clock.kind())
}

fn column_line(column: &ColumnGuess) -> String {
    let names: Vec<String> = column.names.iter().map(|n| quoted(n)).collect();
    let which = if names.len() == 1 { names[0].clone() } else { format!("[{}]", names.join(", ")) };
    let unit =
        if column.unit.is_empty() { String::new() } else { format!(", unit = {}", quoted(&column.unit)) };
    let scale = if column.scale == 1.0 { String::new() } else { format!(", scale = {}", column.scale) };
    let unit = unit + &scale;
    let comment = format!("# {:.0} %: {}", column.confidence * 100.0, one_line(&column.reason, 200));
    if column.never_leaves_zero {
        return format!(
            "# {} = {{ column = {which}{unit} }}   # zero in every row seen: unknown, not flat",
            column.signal
        );
    }
    format!("{} = {{ column = {which}{unit} }}   {comment}", column.signal)
}

fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", c as u32);
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A file name as a pattern that matches only itself.
pub fn escaped(name: &str) -> String {
    name.chars().map(|c| if matches!(c, '*' | '?' | '[') { format!("[{c}]") } else { c.to_string() }).collect()
}

fn one_line(text: &str, most: usize) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(most).collect()
}

/// The dimension a draft's unit must have is the signal's: kept here so that a draft never contradicts the reader.
#[cfg(test)]
mod tests {
    use crate::inspect::names::WORDS;
    use crate::signal::{Holds, SIGNALS, position};
    use backwatt_schema::unit::Unit;

    #[test]
    fn usual_units_fit_their_signals() {
        for words in &WORDS {
            let signal = SIGNALS[position(words.signal).unwrap()];
            if let Holds::Number { dimension, .. } = signal.holds {
                assert_eq!(Unit::parse(words.unit).unwrap().dimension, dimension, "{}", words.signal);
            }
        }
    }
}
