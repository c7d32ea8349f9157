//! What the frames of a bus mean: messages and the signals in their data.

use std::collections::HashMap;

use super::bits::Place;
use super::decimal::Scale;
use super::j1939;

/// The messages of a bus, found by identifier or by parameter group.
#[derive(Debug, Default)]
pub struct Database {
    pub messages: Vec<Message>,
    by_id: HashMap<(u32, bool), usize>,
    by_group: HashMap<u32, Vec<usize>>,
}

#[derive(Debug)]
pub struct Message {
    pub name: String,
    pub id: u32,
    pub extended: bool,
    /// Matched by parameter group whoever sends it, with the reserved codes of SAE J1939-71.
    pub j1939: bool,
    pub signals: Vec<Signal>,
}

#[derive(Debug)]
pub struct Signal {
    pub name: String,
    /// As the database writes it.
    pub unit: String,
    pub place: Place,
    pub number: Number,
    pub scale: Scale,
    /// Accepted by the database, where it says so.
    pub range: Option<(f64, f64)>,
    pub gate: Option<Gate>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Number {
    Unsigned,
    Signed,
    Float,
    Double,
}

/// The signal is there while another one, the multiplexor, shows one of these counts.
#[derive(Debug)]
pub struct Gate {
    /// Position in the message's signals.
    pub multiplexor: usize,
    pub counts: Vec<(u64, u64)>,
}

/// What a frame says of one signal.
#[derive(Debug, PartialEq, Eq)]
pub enum Value {
    Text(String),
    /// In the frame, with a code for "error" or "not available", or not a number.
    Missing,
    /// Its multiplexor shows another page.
    Elsewhere,
    /// The data end before it.
    Cut,
}

/// Multiplexors may hang on each other this deep; deeper is a circle.
const GATES_DEEP: usize = 8;

impl Database {
    pub fn new(messages: Vec<Message>) -> Self {
        let mut database = Self { messages, ..Self::default() };
        for (at, message) in database.messages.iter().enumerate() {
            database.by_id.entry((message.id, message.extended)).or_insert(at);
            if message.j1939 {
                database.by_group.entry(j1939::group(message.id)).or_default().push(at);
            }
        }
        database
    }

    /// The message of an identifier: the very one first. Else a J1939 message of the same parameter group, one that names
    /// the same sender before the others.
    pub fn message(&self, id: u32, extended: bool) -> Option<usize> {
        let exact = self.by_id.get(&(id, extended)).copied();
        exact.or_else(|| if extended { self.of_group(j1939::group(id), j1939::sender(id)) } else { None })
    }

    pub fn of_group(&self, group: u32, sender: u8) -> Option<usize> {
        let all = self.by_group.get(&group)?;
        all.iter().find(|at| j1939::sender(self.messages[**at].id) == sender).or_else(|| all.first()).copied()
    }
}

impl Message {
    pub fn value(&self, signal: usize, data: &[u8]) -> Value {
        self.value_within(signal, data, GATES_DEEP)
    }

    fn value_within(&self, at: usize, data: &[u8], depth: usize) -> Value {
        let signal = &self.signals[at];
        match self.is_open(signal, data, depth) {
            None => return Value::Cut,
            Some(false) => return Value::Elsewhere,
            Some(true) => {}
        }
        let Some(raw) = signal.place.raw(data) else { return Value::Cut };
        if self.j1939 && signal.number == Number::Unsigned && j1939::is_reserved(raw, signal.place.size()) {
            return Value::Missing;
        }
        signal.text(raw).map_or(Value::Missing, Value::Text)
    }

    /// Whether the multiplexors above the signal show its page; `None` where the data end before one of them.
    fn is_open(&self, signal: &Signal, data: &[u8], depth: usize) -> Option<bool> {
        let Some(gate) = &signal.gate else { return Some(true) };
        let Some(multiplexor) = self.signals.get(gate.multiplexor).filter(|_| depth > 0) else {
            return Some(false);
        };
        let shown = multiplexor.place.raw(data)?;
        let open = gate.counts.iter().any(|(from, to)| (*from..=*to).contains(&shown));
        Some(open && self.is_open(multiplexor, data, depth - 1)?)
    }
}

impl Signal {
    /// The value as a decimal number. One outside the range of the database says so, and is refused as a cell for it.
    fn text(&self, raw: u64) -> Option<String> {
        let of_number = |number: f64| self.scale.value(number);
        let (text, value) = match self.number {
            Number::Unsigned => (self.scale.text(i128::from(raw)), of_number(raw as f64)),
            Number::Signed => {
                let count = self.place.signed(raw);
                (self.scale.text(i128::from(count)), of_number(count as f64))
            }
            Number::Float => of_float(of_number(f64::from(f32::from_bits(u32::try_from(raw).ok()?))))?,
            Number::Double => of_float(of_number(f64::from_bits(raw)))?,
        };
        // Databases round the ends of a range: one step is let through.
        let step =
            if matches!(self.number, Number::Float | Number::Double) { 0.0 } else { self.scale.factor().abs() };
        match self.range {
            Some((least, most)) if !(least - step..=most + step).contains(&value) => {
                Some(format!("{text} (beyond {least} to {most}, the range of the database)"))
            }
            _ => Some(text),
        }
    }
}

fn of_float(value: f64) -> Option<(String, f64)> {
    value.is_finite().then(|| (value.to_string(), value))
}
