//! A DBC file as a [`Database`]: its text is parsed by `can-dbc`, what its words mean is decided here.

use std::collections::HashMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use can_dbc::{
    AttributeValue, ByteOrder, Dbc, DbcError, MessageId, MultiplexIndicator, NumericValue,
    SignalExtendedValueType, ValueType,
};

use super::bits::{Order, Place};
use super::database::{Database, Gate, Message, Number, Signal};
use super::decimal::Scale;
use super::j1939;
use crate::formats::guard::guarded;

/// A larger file is no database of one bus.
const BYTES_MOST: u64 = 64 << 20;

/// A DBC file that is read once, however many logs are read by it.
#[derive(Debug, Clone)]
pub struct DbcFile {
    path: PathBuf,
    database: OnceLock<Result<Arc<Database>, String>>,
}

impl DbcFile {
    pub fn new(path: PathBuf) -> Self {
        Self { path, database: OnceLock::new() }
    }

    /// One that was read already.
    pub(crate) fn read_before(database: Arc<Database>) -> Self {
        Self { path: PathBuf::new(), database: OnceLock::from(Ok(database)) }
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads the file, so that what is wrong with it is told before any log is opened.
    pub fn check(&self) -> Result<(), String> {
        self.database().map(drop)
    }

    pub(super) fn database(&self) -> Result<Arc<Database>, String> {
        let read = || read(&self.path).map(Arc::new).map_err(|error| error.to_string());
        self.database.get_or_init(read).clone()
    }
}

fn read(path: &Path) -> io::Result<Database> {
    let named = |error: io::Error| io::Error::other(format!("the DBC file {} {error}", path.display()));
    let size = std::fs::metadata(path).map_err(named)?.len();
    if size > BYTES_MOST {
        return Err(named(io::Error::other("is longer than 64 MiB")));
    }
    let bytes = std::fs::read(path).map_err(named)?;
    // Editors write the code page of the machine; units hold a degree sign.
    let text = match std::str::from_utf8(&bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => encoding_rs::WINDOWS_1252.decode(&bytes).0.into_owned(),
    };
    parse(text.trim_start_matches('\u{feff}')).map_err(named)
}

pub fn parse(text: &str) -> io::Result<Database> {
    let dbc = guarded("DBC", || Dbc::try_from(text).map_err(|error| explained(&error)))?;
    Ok(Database::new(messages(&dbc)))
}

/// Where the text stops being a DBC file.
fn explained(error: &DbcError) -> String {
    let text = error.to_string();
    let mut lines = text.lines();
    match lines.next().and_then(|first| first.trim().strip_prefix("--> ")) {
        Some(place) => format!("is not one: it cannot be read from line {place} (line:character) on"),
        None => format!("is not one: {text}"),
    }
}

fn messages(dbc: &Dbc) -> Vec<Message> {
    let is_j1939 = j1939_messages(dbc);
    let mut floats: HashMap<(MessageId, &str), Number> = HashMap::new();
    for stated in &dbc.signal_extended_value_type_list {
        let number = match stated.signal_extended_value_type {
            SignalExtendedValueType::SignedOrUnsignedInteger => continue,
            SignalExtendedValueType::IEEEfloat32Bit => Number::Float,
            SignalExtendedValueType::IEEEdouble64bit => Number::Double,
        };
        floats.insert((stated.message_id, &stated.signal_name), number);
    }
    let mut messages = Vec::new();
    for message in &dbc.messages {
        // A message that holds what belongs to none.
        if message.name == "VECTOR__INDEPENDENT_SIG_MSG" {
            continue;
        }
        let (id, extended) = match message.id {
            MessageId::Standard(id) => (u32::from(id), false),
            MessageId::Extended(id) => (id, true),
        };
        let kept: Vec<&can_dbc::Signal> =
            message.signals.iter().filter(|signal| place(signal).is_some()).collect();
        let signals = kept.iter().filter_map(|signal| {
            let number = match (floats.get(&(message.id, &signal.name)), signal.value_type) {
                (Some(Number::Float), _) if signal.size == 32 => Number::Float,
                (Some(Number::Double), _) if signal.size == 64 => Number::Double,
                (_, ValueType::Signed) => Number::Signed,
                (_, ValueType::Unsigned) => Number::Unsigned,
            };
            Some(Signal {
                name: signal.name.clone(),
                unit: signal.unit.clone(),
                place: place(signal)?,
                number,
                scale: Scale::new(signal.factor, signal.offset),
                range: range(signal),
                gate: gate(dbc, message.id, &kept, signal),
            })
        });
        let signals = signals.collect();
        messages.push(Message {
            name: message.name.clone(),
            id,
            extended,
            j1939: is_j1939(message.id),
            signals,
        });
    }
    messages
}

/// Which messages are J1939: 29-bit ones whose `VFrameFormat` says "J1939PG" (3 in every such enumeration), all of them
/// where `ProtocolType` of the file is "J1939", and those that name the null address as sender, which no node sends from.
fn j1939_messages(dbc: &Dbc) -> impl Fn(MessageId) -> bool {
    let is = |value: &AttributeValue, word: &str| matches!(value, AttributeValue::String(text) if text == word);
    let of_file =
        dbc.attribute_values_database.iter().any(|of| of.name == "ProtocolType" && is(&of.value, "J1939"));
    let by_format = |value: &AttributeValue| match value {
        AttributeValue::Uint(3) | AttributeValue::Int(3) => true,
        value => is(value, "J1939PG"),
    };
    let default = dbc.attribute_default("VFrameFormat").is_some_and(by_format);
    let stated: HashMap<MessageId, bool> = dbc
        .attribute_values_message
        .iter()
        .filter(|of| of.name == "VFrameFormat")
        .map(|of| (of.message_id, by_format(&of.value)))
        .collect();
    move |id| match id {
        MessageId::Standard(_) => false,
        MessageId::Extended(raw) => {
            of_file || j1939::sender(raw) == j1939::NULL_ADDRESS || stated.get(&id).copied().unwrap_or(default)
        }
    }
}

fn place(signal: &can_dbc::Signal) -> Option<Place> {
    let order = match signal.byte_order {
        ByteOrder::LittleEndian => Order::Intel,
        ByteOrder::BigEndian => Order::Motorola,
    };
    Place::new(signal.start_bit, signal.size, order)
}

/// `[0|0]` states no range.
fn range(signal: &can_dbc::Signal) -> Option<(f64, f64)> {
    let number = |value: NumericValue| match value {
        NumericValue::Uint(value) => value as f64,
        NumericValue::Int(value) => value as f64,
        NumericValue::Double(value) => value,
    };
    let (least, most) = (number(signal.min), number(signal.max));
    (least < most).then_some((least, most))
}

/// The multiplexor of a signal: the one that `SG_MUL_VAL_` names, or else the only one there is.
fn gate(dbc: &Dbc, id: MessageId, signals: &[&can_dbc::Signal], signal: &can_dbc::Signal) -> Option<Gate> {
    let count = match signal.multiplexer_indicator {
        MultiplexIndicator::Plain | MultiplexIndicator::Multiplexor => return None,
        MultiplexIndicator::MultiplexedSignal(count)
        | MultiplexIndicator::MultiplexorAndMultiplexedSignal(count) => count,
    };
    let extended =
        dbc.extended_multiplex.iter().find(|of| of.message_id == id && of.signal_name == signal.name);
    let (multiplexor, counts) = match extended {
        Some(of) => (
            signals.iter().position(|other| other.name == of.multiplexor_signal_name),
            of.mappings.iter().map(|pair| (pair.min_value, pair.max_value)).collect(),
        ),
        None => (
            signals.iter().position(|other| other.multiplexer_indicator == MultiplexIndicator::Multiplexor),
            vec![(count, count)],
        ),
    };
    // A gate on a signal that is not there never opens.
    Some(Gate { multiplexor: multiplexor.unwrap_or(usize::MAX), counts })
}

#[cfg(test)]
mod tests {
    use super::super::database::Value;
    use super::*;

    const HEAD: &str = "VERSION \"\"\n\nNS_ :\n\nBS_:\n\nBU_: ECU\n\n";

    fn value(database: &Database, id: u32, signal: &str, data: &[u8]) -> Value {
        let message = &database.messages[database.message(id, true).or(database.message(id, false)).unwrap()];
        let at = message.signals.iter().position(|s| s.name == signal).unwrap();
        message.value(at, data)
    }

    fn text(text: &str) -> Value {
        Value::Text(text.to_owned())
    }

    #[test]
    fn orders_signs_scales_and_floats() {
        let database = parse(&format!(
            "{HEAD}BO_ 291 Mixed: 8 ECU\n \
             SG_ Low : 0|12@1+ (0.5,-10) [0|0] \"\" ECU\n \
             SG_ High : 23|16@0- (0.1,0) [0|0] \"\" ECU\n \
             SG_ Real : 32|32@1- (1,0) [0|0] \"\" ECU\n\n\
             BO_ 292 Wide: 8 ECU\n SG_ Wide : 7|64@0- (2,1) [0|0] \"\" ECU\n\n\
             SIG_VALTYPE_ 291 Real : 1;\nSIG_VALTYPE_ 292 Wide : 2;\n"
        ))
        .unwrap();
        let real = 12.3_f32.to_bits().to_le_bytes();
        let data = [0x34, 0xF2, 0xFF, 0x38, real[0], real[1], real[2], real[3]];
        // 0x234 = 564 counts of 0.5 less 10; 0xFF38 = -200 counts of 0.1; a single as the double that it is.
        assert_eq!(value(&database, 291, "Low", &data), text("272"));
        assert_eq!(value(&database, 291, "High", &data), text("-20"));
        assert_eq!(value(&database, 291, "Real", &data), text("12.300000190734863"));
        assert_eq!(value(&database, 291, "Real", &data[..6]), Value::Cut);
        assert_eq!(value(&database, 292, "Wide", &1.25_f64.to_be_bytes()), text("3.5"));
        assert_eq!(value(&database, 292, "Wide", &f64::NAN.to_be_bytes()), Value::Missing);
    }

    #[test]
    fn a_value_beyond_the_range_says_so_and_one_step_is_let_through() {
        let database =
            parse(&format!("{HEAD}BO_ 291 M: 2 ECU\n SG_ S : 0|16@1+ (0.1,0) [0|99.9] \"\" ECU\n")).unwrap();
        let of = |count: u16| value(&database, 291, "S", &count.to_le_bytes());
        assert_eq!(of(1000), text("100"));
        assert_eq!(of(1002), text("100.2 (beyond 0 to 99.9, the range of the database)"));
    }

    #[test]
    fn multiplexed_signals() {
        let database = parse(&format!(
            "{HEAD}BO_ 291 Pages: 8 ECU\n \
             SG_ Page M : 0|8@1+ (1,0) [0|0] \"\" ECU\n \
             SG_ One m1 : 8|8@1+ (1,0) [0|0] \"\" ECU\n \
             SG_ Two m2 : 8|8@1+ (1,0) [0|0] \"\" ECU\n\n\
             BO_ 292 Deep: 8 ECU\n \
             SG_ Outer M : 0|8@1+ (1,0) [0|0] \"\" ECU\n \
             SG_ Inner m3M : 8|8@1+ (1,0) [0|0] \"\" ECU\n \
             SG_ Leaf m5 : 16|8@1+ (1,0) [0|0] \"\" ECU\n\n\
             SG_MUL_VAL_ 292 Inner Outer 3-4;\nSG_MUL_VAL_ 292 Leaf Inner 5-5, 7-9;\n"
        ))
        .unwrap();
        assert_eq!(value(&database, 291, "One", &[1, 42]), text("42"));
        assert_eq!(value(&database, 291, "Two", &[1, 42]), Value::Elsewhere);
        assert_eq!(value(&database, 291, "Page", &[1, 42]), text("1"));
        assert_eq!(value(&database, 292, "Leaf", &[4, 8, 42]), text("42"));
        assert_eq!(value(&database, 292, "Leaf", &[4, 6, 42]), Value::Elsewhere);
        assert_eq!(value(&database, 292, "Leaf", &[5, 8, 42]), Value::Elsewhere, "the outer page is another");
        assert_eq!(value(&database, 292, "Leaf", &[4]), Value::Cut);
    }

    /// 2566844672 is 0x98FEF100: CCVS1 of sender 0; 2566844926 the same of the null address.
    #[test]
    fn which_messages_are_j1939() {
        let message = |id: u32| {
            format!("BO_ {id} CCVS1: 8 ECU\n SG_ Speed : 8|16@1+ (0.00390625,0) [0|0] \"km/h\" ECU\n\n")
        };
        let plain = parse(&format!("{HEAD}{}", message(2_566_844_672))).unwrap();
        assert!(plain.message(0x18FE_F100, true).is_some());
        assert!(plain.message(0x18FE_F117, true).is_none(), "an identifier like any other");
        assert!(plain.message(0x18FE_F100 & 0x7FF, false).is_none());
        let null = parse(&format!("{HEAD}{}", message(2_566_844_926))).unwrap();
        assert!(null.message(0x18FE_F117, true).is_some());
        assert!(null.message(0x0CFE_F117, true).is_some(), "another priority");
        assert_eq!(value(&null, 0x18FE_F117, "Speed", &[0, 0, 0xFB, 0, 0, 0, 0, 0]), Value::Missing);
        for stated in [
            "BA_DEF_ \"ProtocolType\" STRING ;\nBA_DEF_DEF_ \"ProtocolType\" \"\";\nBA_ \"ProtocolType\" \"J1939\";\n",
            "BA_DEF_ BO_ \"VFrameFormat\" ENUM \"StandardCAN\",\"ExtendedCAN\",\"reserved\",\"J1939PG\";\n\
             BA_DEF_DEF_ \"VFrameFormat\" \"J1939PG\";\n",
            "BA_DEF_ BO_ \"VFrameFormat\" ENUM \"StandardCAN\",\"ExtendedCAN\",\"reserved\",\"J1939PG\";\n\
             BA_DEF_DEF_ \"VFrameFormat\" \"ExtendedCAN\";\nBA_ \"VFrameFormat\" BO_ 2566844672 3;\n",
        ] {
            let database = parse(&format!("{HEAD}{}{stated}", message(2_566_844_672))).unwrap();
            assert!(database.message(0x18FE_F117, true).is_some(), "{stated}");
        }
    }

    #[test]
    fn what_is_no_dbc_file_says_where() {
        let error =
            parse(&format!("{HEAD}BO_ 291 M: 2 ECU\n SG_ S : 0|16@1+ (0.1,0\n")).unwrap_err().to_string();
        assert!(error.starts_with("is not one: it cannot be read from line 10:"), "{error}");
        assert!(read(Path::new("/nowhere/at.dbc")).unwrap_err().to_string().contains("/nowhere/at.dbc"));
    }
}
