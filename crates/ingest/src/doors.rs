//! Doors for tests that make inputs by the million: what a run does to untrusted bytes, without files or tables.
//!
//! Nothing in a run goes through here; what stands behind the doors is what a run uses.

use std::io::Cursor;
use std::sync::Arc;

use crate::IngestError;
use crate::formats::{self, Fields, RowText, can};
use crate::header::Plan;
use crate::input::Input;
use crate::receipt::Receipt;
use crate::rejects::RejectWriter;
use crate::row::RowReader;
use crate::settings::{LogFile, Settings, Source, TimeKind};

/// Reads a log record by record and row by row, as the first pass does, and drops the rows.
///
/// What makes the log unreadable as a whole is the receipt's problem, as in a run.
pub fn read_log(settings: &Settings, source: &Source, bytes: Vec<u8>) -> Result<Receipt, IngestError> {
    let file = LogFile {
        path: "log".into(),
        member: None,
        shown: "log".to_owned(),
        vehicle: source.vehicle_column.is_none().then(|| "vehicle".to_owned()),
    };
    let mut receipt = Receipt {
        source_file: file.shown.clone(),
        clock_relative: matches!(source.time.kind, TimeKind::Relative(_)),
        ..Receipt::default()
    };
    let opened = match formats::open(source, Input::new(Box::new(Cursor::new(bytes)))) {
        Ok(opened) => opened,
        Err(error) => return Ok(Receipt { problem: Some(error.to_string()), ..receipt }),
    };
    let mut records = opened.records;
    let plan = match Plan::find(source, &file, records.names()) {
        Ok(plan) => plan,
        Err(reason) => return Ok(Receipt { problem: Some(reason), ..receipt }),
    };
    let mut rows = RowReader::new(settings, source, &file, plan, opened.decimal_comma);
    let mut rejects = RejectWriter::dropping();
    let mut fields = Fields::default();
    loop {
        match records.next(&mut fields) {
            Ok(RowText::Row { line, .. }) => {
                receipt.rows_in += 1;
                match rows.read(&fields, line, &mut receipt, &mut rejects)? {
                    Ok(_) => receipt.rows_kept += 1,
                    Err((reason, _)) => receipt.refuse_row(reason, line),
                }
            }
            Ok(RowText::Refused { line, reason, .. }) => {
                receipt.rows_in += 1;
                receipt.refuse_row(reason, line);
            }
            Ok(RowText::End) => return Ok(receipt),
            Err(error) => return Ok(Receipt { problem: Some(error.to_string()), ..receipt }),
        }
    }
}

/// The instant a time cell gives, in nanoseconds; `None` where it is refused.
pub fn read_time(text: &str, plus: Option<&str>, kind: &TimeKind, decimal_comma: bool) -> Option<i64> {
    crate::time::parse_time(text, plus, kind, decimal_comma).ok()
}

/// A DBC file from its text, as a source reads frames by it.
pub fn read_dbc(text: &str) -> Result<can::DbcFile, String> {
    can::database_of(text)
        .map(|database| can::DbcFile::read_before(Arc::new(database)))
        .map_err(|e| e.to_string())
}
