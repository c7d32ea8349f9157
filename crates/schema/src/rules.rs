//! What the codes of refused rows, refused cells and marks mean, in a line each.

/// Code and meaning, by the alphabet.
static MEANINGS: [(&str, &str); 45] = [
    ("checksum-missing", "a sentence without the checksum that would prove it whole"),
    ("checksum-wrong", "a sentence that does not match its checksum"),
    ("date-missing", "a time of day before anything has said which day it is"),
    ("duplicate-time", "the same instant again, with nothing new or with a contradiction"),
    ("error-frame", "a frame by which the bus tells of a fault: passed over"),
    ("frame-cut-short", "a frame with fewer bytes than it says"),
    ("frame-too-short", "a frame that ends before the signals wanted from it"),
    ("frozen", "every signal repeated unchanged while the vehicle claims to move"),
    ("gps-time-out-of-range", "a receiver's time outside the accepted years"),
    ("gps-time-unreadable", "a receiver's time that does not read as stated"),
    ("line-too-long", "a line longer than any row of a log"),
    ("not-a-flag", "a cell that is neither yes nor no"),
    ("not-a-frame", "a line that is no frame"),
    ("not-a-number", "a cell that is no number"),
    ("not-a-sentence", "a line that is no sentence"),
    ("not-json", "a line that is no JSON"),
    ("not-mapped", "a frame that holds no mapped signal: passed over"),
    ("not-text", "a cell that is no text in the file's encoding"),
    ("other-sentence", "a sentence of another kind than is read: passed over"),
    ("out-of-order", "stood later in its file than a later instant of the same vehicle; sorted into place"),
    ("out-of-range", "a value that the signal cannot have"),
    ("position-jump", "a fix further from the one before than the vehicle can have gone by its own speed"),
    ("ragged-row", "more or fewer fields than the header has"),
    ("rate", "further from the value before than the signal can change in the time between"),
    ("remote-frame", "a frame that asks for data and holds none: passed over"),
    ("repeated-header", "the header line again"),
    ("row-cut-short", "the file ends, or cannot be read further, inside this row"),
    ("sentence-field", "a field of a sentence that does not read"),
    ("sentence-short", "a sentence with fewer fields than its kind has"),
    ("sign-unsettled", "the sign of a battery signal is neither stated nor proved, or the data contradict it"),
    ("soc-reanchored", "a jump of the state of charge that no drive or charger explains"),
    ("speed-disagrees", "the logged speed against the receiver's, or the way between the fixes"),
    ("speed-range", "a speed that no road vehicle has"),
    ("stray-quote", "text after a closing quote"),
    ("time-missing", "no time"),
    ("time-out-of-range", "a time outside the accepted years, such as a clock that was reset"),
    ("time-skipped", "a local time that the clocks jumped over when summer time began"),
    ("time-unreadable", "a time that does not read as stated"),
    ("too-many-vehicles", "more vehicles in one file than are accepted"),
    ("transfer-broken", "a transfer of several frames that misses one"),
    ("transfer-frame", "part of a longer transfer: passed over, read with its end"),
    ("two-sentences", "two sentences on one line"),
    ("unclosed-quote", "a quoted field that does not end"),
    ("unit-suspected", "signals that contradict each other by the factor of another unit"),
    ("vehicle-missing", "no name of a vehicle"),
];

/// What a code means; nothing for one that is not known here.
///
/// ```
/// assert_eq!(backwatt_schema::rule_meaning("not-json"), Some("a line that is no JSON"));
/// assert_eq!(backwatt_schema::rule_meaning("-"), None);
/// ```
pub fn rule_meaning(code: &str) -> Option<&'static str> {
    MEANINGS.iter().find(|(known, _)| *known == code).map(|(_, meaning)| *meaning)
}
