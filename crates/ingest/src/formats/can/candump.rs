//! One line of a candump log: `(1436509052.249713) can0 18FEF100#FFFF...`, or the spaced form of the terminal,
//! `(1436509052.249713)  can0  18FEF100   [8]  FF FF ...`.
//!
//! Source: the forms that `sprint_canframe` and `sprint_long_canframe` of can-utils (lib.h) document.

/// Why a line gives no frame: code and message of the reject.
pub type Fault = (&'static str, &'static str);

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame<'l> {
    /// The clock of the log as it stands. [s]
    pub time: &'l str,
    pub time_ns: i64,
    pub id: u32,
    /// A 29-bit identifier.
    pub extended: bool,
    pub kind: Kind,
    pub data: Vec<u8>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Classic,
    Fd,
    /// Asks for data, and has none.
    Remote,
    /// What the interface says of the bus.
    Error,
}

const ERROR_FLAG: u32 = 0x2000_0000;
const NO_FRAME: Fault = ("not-a-frame", "the line is no frame of a candump log");
const NO_TIME: Fault = ("time-missing", "the frame has no time in seconds: log with candump -l, or with -t a");

pub fn read(line: &[u8]) -> Result<Frame<'_>, Fault> {
    let line = std::str::from_utf8(line).map_err(|_| ("not-text", "the line is not text"))?.trim();
    let clocked = line.strip_prefix('(').and_then(|rest| rest.split_once(')'));
    let (time, rest) = clocked.map_or((None, line), |(time, rest)| (Some(time.trim()), rest));
    let mut words = rest.split_whitespace();
    let _interface = words.next().ok_or(NO_FRAME)?;
    let mut word = words.next().ok_or(NO_FRAME)?;
    // The terminal form may say the direction, with two flags.
    if matches!(word, "RX" | "TX") {
        word = words.nth(2).ok_or(NO_FRAME)?;
    }
    let (id, kind, data) = match word.split_once('#') {
        // Some loggers add the direction.
        Some((id, rest)) if words.all(|word| matches!(word, "R" | "T")) => joined(id, rest)?,
        Some(_) => return Err(NO_FRAME),
        None => spaced(word, words)?,
    };
    let time = time.ok_or(NO_TIME)?;
    let time_ns = nanoseconds(time).ok_or(NO_TIME)?;
    let (id, extended) = id;
    let kind = if id & ERROR_FLAG != 0 { Kind::Error } else { kind };
    Ok(Frame { time, time_ns, id, extended, kind, data })
}

type Parts = ((u32, bool), Kind, Vec<u8>);

/// `123#1122`, `123#R`, `123##0112233`, with the raw length code after `_`.
fn joined(id: &str, rest: &str) -> Result<Parts, Fault> {
    let id = identifier(id).ok_or(NO_FRAME)?;
    let rest = rest.split('_').next().unwrap_or(rest);
    if rest.starts_with('R') {
        return Ok((id, Kind::Remote, Vec::new()));
    }
    let (kind, digits, most) = match rest.strip_prefix('#') {
        // The first digit holds the flags of the FD frame.
        Some(flagged) => (Kind::Fd, flagged.get(1..).ok_or(NO_FRAME)?, 64),
        None => (Kind::Classic, rest, 8),
    };
    if !digits.is_ascii() || digits.len() % 2 != 0 || digits.len() / 2 > most {
        return Err(NO_FRAME);
    }
    let data = (0..digits.len() / 2).map(|at| byte(&digits[2 * at..2 * at + 2])).collect::<Option<_>>();
    Ok((id, kind, data.ok_or(NO_FRAME)?))
}

/// `123   [3]  11 22 33`, `123   [0]  remote request`, `20000080   [8]  00 … ERRORFRAME`.
fn spaced<'l>(id: &str, mut words: impl Iterator<Item = &'l str>) -> Result<Parts, Fault> {
    let id = identifier(id).ok_or(NO_FRAME)?;
    let stated = words.next().and_then(|word| word.strip_prefix('[')?.strip_suffix(']')).ok_or(NO_FRAME)?;
    let length: usize = stated.parse().map_err(|_| NO_FRAME)?;
    // An FD frame states its length with two digits.
    let (kind, most) = if stated.len() > 1 { (Kind::Fd, 64) } else { (Kind::Classic, 8) };
    let mut words = words.peekable();
    if words.peek() == Some(&"remote") {
        return Ok((id, Kind::Remote, Vec::new()));
    }
    if length > most {
        return Err(NO_FRAME);
    }
    let data: Vec<u8> = words.take(length).map_while(byte).collect();
    if data.len() < length {
        return Err(("frame-cut-short", "the frame has fewer bytes than it states"));
    }
    Ok((id, kind, data))
}

/// Three digits are an 11-bit identifier, eight a 29-bit one.
fn identifier(text: &str) -> Option<(u32, bool)> {
    let value = u32::from_str_radix(text, 16).ok().filter(|_| text.bytes().all(|b| b.is_ascii_hexdigit()))?;
    match text.len() {
        3 => (value <= 0x7FF).then_some((value, false)),
        8 => (value < 2 * ERROR_FLAG).then_some((value, true)),
        _ => None,
    }
}

fn byte(text: &str) -> Option<u8> {
    let hex = text.len() == 2 && text.bytes().all(|b| b.is_ascii_hexdigit());
    if hex { u8::from_str_radix(text, 16).ok() } else { None }
}

fn nanoseconds(text: &str) -> Option<i64> {
    let (seconds, fraction) = text.split_once('.').unwrap_or((text, ""));
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    if seconds.is_empty() || fraction.len() > 9 || !digits(seconds) || !digits(fraction) {
        return None;
    }
    let fraction: i64 = format!("{fraction:0<9}").parse().ok()?;
    seconds.parse::<i64>().ok()?.checked_mul(1_000_000_000)?.checked_add(fraction)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_forms() {
        let joined = read(b"(1436509052.249713) can0 18FEF100#FFFF0A00000000FF").unwrap();
        assert_eq!((joined.id, joined.extended, joined.kind), (0x18FE_F100, true, Kind::Classic));
        assert_eq!(joined.data, [0xFF, 0xFF, 0x0A, 0, 0, 0, 0, 0xFF]);
        assert_eq!((joined.time, joined.time_ns), ("1436509052.249713", 1_436_509_052_249_713_000));
        for line in [
            " (1436509052.249713)  can0  18FEF100   [8]  FF FF 0A 00 00 00 00 FF",
            " (1436509052.249713)  can0  RX - -  18FEF100   [8]  FF FF 0A 00 00 00 00 FF   '........'",
            "(1436509052.249713) can0 18FEF100#FFFF0A00000000FF R",
            "(1436509052.249713) can0 18FEF100#FFFF0A00000000FF_9",
        ] {
            assert_eq!(read(line.as_bytes()).unwrap(), joined, "{line}");
        }
        let short = read(b"(0.5) vcan0 044#2A366C2BBA").unwrap();
        assert_eq!((short.id, short.extended, short.data.len()), (0x44, false, 5));
        assert!(read(b"(0.5) vcan0 044#").unwrap().data.is_empty());
    }

    #[test]
    fn frames_that_are_not_classic_data() {
        let kind = |line: &str| read(line.as_bytes()).unwrap().kind;
        assert_eq!(kind("(1.0) can0 123#R"), Kind::Remote);
        assert_eq!(kind("(1.0) can0 123#R8"), Kind::Remote);
        assert_eq!(kind("(1.0)  can0  123   [0]  remote request"), Kind::Remote);
        assert_eq!(kind("(1.0) can0 20000080#0000000000000000"), Kind::Error);
        assert_eq!(kind("(1.0)  can0  20000004   [8]  00 20 00 00 00 00 00 00   ERRORFRAME"), Kind::Error);
        let fd = read(b"(1.0) can0 12345678##1AABBCC").unwrap();
        assert_eq!((fd.kind, fd.data), (Kind::Fd, vec![0xAA, 0xBB, 0xCC]));
        let fd = read(b"(1.0)  can0  123  [12]  00 01 02 03 04 05 06 07 08 09 0A 0B").unwrap();
        assert_eq!((fd.kind, fd.data.len()), (Kind::Fd, 12));
    }

    #[test]
    fn each_fault_by_its_name() {
        let code = |line: &str| read(line.as_bytes()).unwrap_err().0;
        assert_eq!(code("can0  123   [1]  FF"), "time-missing");
        assert_eq!(code("(2026-03-02 08:00:00.123456)  can0  123   [1]  FF"), "time-missing");
        assert_eq!(code("(1.0)  can0  123   [3]  FF FF"), "frame-cut-short");
        for line in [
            "(1.0)",
            "(1.0) can0",
            "(1.0) can0 123#1",
            "(1.0) can0 123#GG",
            "(1.0) can0 12#11",
            "(1.0) can0 FFF#11",
            "(1.0) can0 123#112233445566778899",
            "(1.0) can0 123  8  11",
            "(1.0) can0 123 [9] 1 2 3 4 5 6 7 8 9",
            "(1.0) can0 F23#11",
            "(1.0) can0 80000000#11",
            "hello",
            "(1.0) can0 123##",
            "(1.0) can0 123#11 22",
            "(1.0) can0 +23#11",
            "(1.0) can0 123#é",
        ] {
            assert_eq!(code(line), "not-a-frame", "{line}");
        }
        assert_eq!(read(b"(1.0) can0 123#11\xFF").unwrap_err().0, "not-text");
    }

    proptest::proptest! {
        #[test]
        fn no_line_panics(line in "[(]?[0-9.() ]{0,12}[)]? ?[a-zA-Z0-9# \\[\\]]{0,40}") {
            let _ = read(line.as_bytes());
        }

        #[test]
        fn frames_read_back(id in 0..0x2000_0000_u32, data in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..9)) {
            let hex: String = data.iter().map(|byte| format!("{byte:02X}")).collect();
            let line = format!("(12.000001) can1 {id:08X}#{hex}");
            let frame = read(line.as_bytes()).unwrap();
            proptest::prop_assert_eq!((frame.id, frame.data), (id, data));
        }
    }
}
