//! One made-up minute in every format (`fixtures/formats`, written by other programs) gives the same samples.

use std::path::{Path, PathBuf};

use arrow::array::{Array, RecordBatch};
use backwatt_ingest::formats::Format;
use backwatt_ingest::settings::{CellUnit, LogFile, Long, Mapping, Positive, Source, TimeKind, TimeSettings};
use backwatt_ingest::{Receipt, Settings, Unpacking, members, run};
use backwatt_schema::BatchView;
use backwatt_schema::tables::{REJECTS, SAMPLES};
use backwatt_schema::unit::Unit;
use backwatt_store::{Layout, Provenance, read_table_if_present};
use proptest::prelude::*;

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/formats").join(name)
}

fn source() -> Source {
    let mapping = |signal: &str, unit: &str, names: &[&str]| Mapping {
        signal: backwatt_ingest::signal::position(signal).expect("a signal"),
        names: names.iter().map(|name| (*name).to_owned()).collect(),
        unit: Unit::parse(unit).map_or(CellUnit::None, CellUnit::Plain),
        scale: 1.0,
        fill_forward: false,
        least: None,
        most: None,
        positive: Positive::Discharge,
    };
    Source {
        name: "s".to_owned(),
        time: TimeSettings { columns: vec!["time".to_owned()], kind: TimeKind::Iso, gps: None },
        columns: vec![
            mapping("speed", "m/s", &["speed"]),
            mapping("latitude", "deg", &["lat", "gps.lat"]),
            mapping("longitude", "deg", &["lon", "gps.lon"]),
            mapping("altitude", "m", &["ele", "gps.ele"]),
            mapping("state_of_charge", "1", &["soc"]),
            mapping("pack_voltage", "V", &["volts", "battery.pack.0.volts"]),
            mapping("pack_current", "A", &["amps", "battery.pack.0.amps"]),
            mapping("plugged_in", "", &["plugged"]),
            mapping("regen_level", "", &["level"]),
        ],
        ..Source::unmapped()
    }
}

struct Ingested {
    samples: Option<RecordBatch>,
    receipt: Receipt,
    rejects: Option<RecordBatch>,
}

fn ingest_file(source: Source, file: &LogFile) -> Ingested {
    let settings = Settings {
        sources: vec![Source { files: vec![file.clone()], ..source }],
        elevation_tiles: None,
        loads: Vec::new(),
        shifts: Vec::new(),
        weather: None,
        time_earliest_ns: 0,
        time_latest_ns: i64::MAX,
        frozen_after_s: 10.0,
        memory_bytes: backwatt_ingest::settings::MEMORY_BYTES,
    };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let layout = Layout::new(folder.path());
    let outcome = run(&settings, &layout, &Provenance::default(), &|_| ()).expect("it runs");
    let samples = layout.samples_folder("T1").join("2026-03.parquet");
    Ingested {
        samples: read_table_if_present(&samples, &SAMPLES).expect("readable"),
        receipt: outcome.receipts[0].clone(),
        rejects: read_table_if_present(&layout.rejects_of_file(&file.shown), &REJECTS).expect("readable"),
    }
}

fn ingest(source: Source, path: &Path) -> Ingested {
    let shown = path.file_name().expect("a name").to_string_lossy().into_owned();
    ingest_file(source, &LogFile { path: path.to_owned(), member: None, shown, vehicle: Some("T1".to_owned()) })
}

/// A log of these bytes.
fn ingest_bytes(source: Source, name: &str, bytes: &[u8]) -> Ingested {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).expect("writable");
    ingest(source, &path)
}

/// The columns that differ, where the file is not meant to.
fn differences(a: &RecordBatch, b: &RecordBatch) -> Vec<String> {
    assert_eq!(a.num_rows(), b.num_rows());
    let names = SAMPLES.columns.iter().map(|column| column.name);
    let differs = |name: &&str| a.column_by_name(name) != b.column_by_name(name);
    names.filter(|name| !name.starts_with("source_")).filter(differs).map(str::to_owned).collect()
}

fn plain() -> RecordBatch {
    let minute = ingest(source(), &fixture("minute.csv"));
    assert_eq!((minute.receipt.rows_in, minute.receipt.rows_kept, minute.receipt.cells_refused), (60, 60, 0));
    minute.samples.expect("samples")
}

fn assert_same(minute: &Ingested, description: &str) {
    assert_eq!(minute.receipt.problem, None);
    assert_eq!((minute.receipt.rows_in, minute.receipt.rows_kept), (60, 60), "{:?}", minute.receipt);
    assert_eq!(minute.receipt.dialect.as_deref(), Some(description));
    assert_eq!(minute.receipt.columns_missing, Vec::<&str>::new());
    assert_eq!(differences(&plain(), minute.samples.as_ref().expect("samples")), Vec::<String>::new());
}

/// Line feeds, carriage returns with them, or carriage returns alone.
#[test]
fn lines_may_end_in_any_of_three_ways() {
    let text = std::fs::read_to_string(fixture("minute.csv")).expect("the fixture");
    for end in ["\r", "\r\n"] {
        let minute = ingest_bytes(source(), "minute.csv", text.replace('\n', end).as_bytes());
        let description = minute.receipt.dialect.clone().expect("it was read");
        assert_same(&minute, &description);
    }
    let text = std::fs::read_to_string(fixture("minute.ndjson")).expect("the fixture");
    let minute = ingest_bytes(source(), "minute.ndjson", text.replace('\n', "\r").as_bytes());
    assert_eq!((minute.receipt.rows_in, minute.receipt.rows_kept), (60, 60), "{:?}", minute.receipt);
}

/// A column of one number, written as plain as can be and packed: a hundred megabytes in some kilobytes.
#[test]
fn a_parquet_bomb_is_refused_before_it_is_unpacked() {
    use arrow::array::{ArrayRef, Float64Array};
    use parquet::arrow::ArrowWriter;
    use parquet::basic::{Compression, ZstdLevel};
    use parquet::file::properties::WriterProperties;
    let zeros: ArrayRef = std::sync::Arc::new(Float64Array::from(vec![0.0; 1 << 20]));
    let batch = RecordBatch::try_from_iter([("time", zeros.clone()), ("speed", zeros)]).expect("a batch");
    let properties = WriterProperties::builder()
        .set_dictionary_enabled(false)
        .set_max_row_group_row_count(Some(1 << 24))
        .set_compression(Compression::ZSTD(ZstdLevel::default()))
        .build();
    let mut writer = ArrowWriter::try_new(Vec::new(), batch.schema(), Some(properties)).expect("a writer");
    for _ in 0..12 {
        writer.write(&batch).expect("writable");
    }
    let bytes = writer.into_inner().expect("written");
    let found = ingest_bytes(source(), "bomb.parquet", &bytes);
    let told = found.receipt.problem.expect("it is refused");
    assert!(told.contains("row group 0 unpacks to more than 500 times"), "{told}");
}

/// A page that says it unpacks to more than its column comes to is refused by name, before room is made for it.
#[test]
fn a_parquet_page_that_lies_is_refused() {
    use arrow::array::{ArrayRef, Float64Array, StringArray};
    use parquet::arrow::ArrowWriter;
    use parquet::basic::Compression;
    use parquet::file::properties::WriterProperties;
    let times: ArrayRef = std::sync::Arc::new(StringArray::from_iter_values(
        (0..1200).map(|i| format!("2026-03-02T06:{:02}:{:02}Z", i / 60, i % 60)),
    ));
    let speeds: ArrayRef =
        std::sync::Arc::new(Float64Array::from_iter_values((0..1200).map(|i| f64::from(i % 97) / 7.0)));
    let batch = RecordBatch::try_from_iter([("time", times), ("speed", speeds)]).expect("a batch");
    let properties =
        WriterProperties::builder().set_dictionary_enabled(false).set_compression(Compression::SNAPPY).build();
    let mut writer = ArrowWriter::try_new(Vec::new(), batch.schema(), Some(properties)).expect("a writer");
    writer.write(&batch).expect("writable");
    let mut bytes = writer.into_inner().expect("written");
    assert_eq!(ingest_bytes(source(), "sound.parquet", &bytes).receipt.rows_kept, 1200);
    // The first header stands behind the four bytes that mark the file: a data page, and its size in three bytes.
    assert!(bytes[4..7] == [0x15, 0x00, 0x15] && bytes[7] & bytes[8] & 0x80 != 0 && bytes[9] < 0x80);
    bytes[7..10].copy_from_slice(&[0xFE, 0xFF, 0x7F]);
    let receipt = ingest_bytes(source(), "lie.parquet", &bytes).receipt;
    let told = receipt.problem.clone().expect("it is refused");
    assert!(told.contains("a page says that it unpacks to 1048575 bytes, where its column may have"), "{told}");
    assert!(receipt.balances());
}

/// The bytes are those whose SHA-256 the card prints.
#[test]
fn the_fixtures_are_those_of_their_card() {
    let card = std::fs::read_to_string(fixture("CARD.md")).expect("the card");
    let mut seen = 0;
    for cells in card.lines().map(|line| line.split('|').map(str::trim).collect::<Vec<_>>()) {
        let [_, name, .., digest, _] = cells[..] else { continue };
        if let Some(name) = name.strip_prefix('`').and_then(|name| name.strip_suffix('`')) {
            let found = backwatt_store::digest_file(&fixture(name)).expect("the fixture");
            assert_eq!(format!("`{found}`"), digest, "{name}");
            seen += 1;
        }
    }
    assert!(seen >= 10);
}

const DELIMITED: &str = "UTF-8, delimiter \",\", decimal point, header on line 1";

#[test]
fn the_minute_is_the_same_however_it_is_packed() {
    for (name, packing) in [("minute.csv.gz", "gzip, "), ("minute.csv.zst", "zstd, ")] {
        assert_same(&ingest(source(), &fixture(name)), &format!("{packing}{DELIMITED}"));
    }
    let path = fixture("minute.zip");
    let archive = members(&path).expect("readable").expect("an archive");
    assert_eq!(archive.fault, None);
    let names: Vec<&str> = archive.members.iter().map(|member| member.name.as_str()).collect();
    assert_eq!(names, ["trips/README", "trips/minute.csv"]);
    let log = |at: usize| LogFile {
        path: path.clone(),
        member: Some(archive.members[at].clone()),
        shown: format!("minute.zip/{}", names[at]),
        vehicle: Some("T1".to_owned()),
    };
    assert_same(&ingest_file(source(), &log(1)), &format!("zip, {DELIMITED}"));
    let no_log = ingest_file(source(), &log(0)).receipt;
    assert!(no_log.problem.is_some_and(|problem| problem.contains("no column \"time\"")));
}

#[test]
fn the_minute_is_the_same_in_every_format() {
    for (name, description) in [
        ("minute.ndjson", "JSON, an object a line"),
        ("minute.ndjson.gz", "gzip, JSON, an object a line"),
        ("minute.parquet", "Parquet"),
        ("minute.parquet.zst", "zstd, Parquet"),
        ("minute.gpx", "GPX"),
    ] {
        assert_same(&ingest(source(), &fixture(name)), description);
    }
}

#[test]
fn a_stated_format_is_taken_at_its_word() {
    let stated = |format| Source { format: Some(format), ..source() };
    assert_same(&ingest(stated(Format::Ndjson), &fixture("minute.ndjson")), "JSON, an object a line");
    let receipt = ingest(stated(Format::Parquet), &fixture("minute.csv")).receipt;
    assert!(receipt.problem.is_some_and(|problem| problem.starts_with("cannot read")));
}

fn long() -> Source {
    let long = Long { signal: "signal".to_owned(), value: "value".to_owned() };
    Source { long: Some(long), ..source() }
}

#[test]
fn the_long_form_is_the_same_minute_row_by_row() {
    let minute = ingest(Source { gather: Some(false), ..long() }, &fixture("minute-long.csv"));
    assert_eq!(minute.receipt.problem, None);
    assert_eq!((minute.receipt.rows_in, minute.receipt.rows_kept), (491, 491));
    assert_eq!(minute.receipt.rows_merged, 491 - 60);
    assert_eq!(differences(&plain(), &minute.samples.expect("samples")), ["mask_merged"]);
}

/// Gathered, blanks between two values of a slow signal are held and marked; nothing else changes.
#[test]
fn the_long_form_gathered_differs_in_what_is_held_alone() {
    let minute = ingest(long(), &fixture("minute-long.csv"));
    assert!(minute.receipt.balances());
    assert_eq!((minute.receipt.rows_kept, minute.receipt.rows_merged), (491, 431));
    let (wide, gathered) = (plain(), minute.samples.expect("samples"));
    assert_eq!(
        differences(&wide, &gathered),
        ["soc_frac", "pack_current_a", "pack_power_w", "mask_held", "mask_merged"]
    );
    let view = |batch| BatchView::new(&SAMPLES, batch);
    let numbers = |batch, name| view(batch).numbers(name).expect("a column").clone();
    let held = view(&gathered).flags("mask_held").expect("a column").clone();
    for name in ["soc_frac", "pack_current_a"] {
        let (was, is) = (numbers(&wide, name), numbers(&gathered, name));
        for row in 0..60 {
            let from = (0..=row).rev().find(|from| was.is_valid(*from)).expect("the first row has all");
            assert_eq!(is.value(row), was.value(from), "{name} in row {row}");
            assert!(from == row || held.value(row));
        }
    }
}

/// Long enough that names are promised before they are met, with a field that is called like a signal.
#[test]
fn the_long_form_of_a_long_ndjson_log() {
    let mut log = String::new();
    for second in 0..1500 {
        let time = format!("2026-03-02T06:{:02}:{:02}Z", second / 60, second % 60);
        log += &format!(
            "{{\"time\":\"{time}\",\"speed\":\"x\",\"signal\":\"Speed\",\"value\":{}}}\n",
            second % 20
        );
    }
    let read = ingest_bytes(Source { gather: Some(false), ..long() }, "log.ndjson", log.as_bytes());
    assert_eq!((read.receipt.rows_kept, read.receipt.cells_refused), (1500, 0), "{:?}", read.receipt);
    assert_eq!(read.receipt.columns_missing.len(), 8, "all but the speed");
    let samples = read.samples.expect("samples");
    let speeds = BatchView::new(&SAMPLES, &samples).numbers("speed_m_s").expect("a column").clone();
    assert_eq!((speeds.null_count(), speeds.value(1499)), (0, 19.0));
}

#[test]
fn signals_that_nobody_maps_are_passed_over_and_counted() {
    let mut source = long();
    source.columns.truncate(1);
    let receipt = ingest(source, &fixture("minute-long.csv")).receipt;
    assert_eq!((receipt.rows_in, receipt.rules.get("not-mapped")), (60, Some(&431)));
}

/// What stands before the cut is kept; the receipt says that reading stopped, and the row that was cut is refused.
#[test]
fn cut_short_whatever_was_whole_is_kept() {
    for name in ["minute.csv.gz", "minute.csv.zst", "minute.ndjson.gz", "minute.gpx"] {
        let bytes = std::fs::read(fixture(name)).expect("the fixture");
        let cut = ingest_bytes(source(), name, &bytes[..bytes.len() * 4 / 5]);
        let receipt = &cut.receipt;
        assert!(receipt.balances());
        assert!(receipt.rows_kept >= 24 && receipt.rows_kept < 60, "{name}: {receipt:?}");
        let problem = receipt.problem.as_deref().unwrap_or_default();
        assert!(problem.starts_with("reading stopped"), "{name}: {problem}");
        if let Some(rejects) = &cut.rejects {
            let reasons = BatchView::new(&REJECTS, rejects).texts("reason").expect("a column").clone();
            assert_eq!((reasons.len(), reasons.value(0)), (1, "row-cut-short"), "{name}");
        }
        let kept = cut.samples.expect("samples");
        let rows = kept.num_rows();
        assert_eq!(differences(&plain().slice(0, rows), &kept), Vec::<String>::new(), "{name}");
    }
    let bytes = std::fs::read(fixture("minute.parquet")).expect("the fixture");
    let receipt = ingest_bytes(source(), "cut.parquet", &bytes[..bytes.len() * 4 / 5]).receipt;
    assert!(receipt.problem.is_some_and(|problem| problem.starts_with("cannot read")), "the footer is gone");
}

#[test]
fn a_zip_cut_short_gives_its_first_members() {
    let bytes = std::fs::read(fixture("minute.zip")).expect("the fixture");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("cut.zip");
    std::fs::write(&path, &bytes[..bytes.len() * 2 / 3]).expect("writable");
    let archive = members(&path).expect("readable").expect("an archive");
    assert!(archive.fault.is_some_and(|fault| fault.contains("cut short")));
    let member = archive.members.iter().find(|member| member.name == "trips/minute.csv").expect("the first");
    let shown = "cut.zip/trips/minute.csv".to_owned();
    let log = LogFile { path, member: Some(member.clone()), shown, vehicle: Some("T1".to_owned()) };
    let receipt = ingest_file(source(), &log).receipt;
    assert!((20..60).contains(&receipt.rows_kept), "{receipt:?}");
    assert!(receipt.problem.is_some_and(|problem| problem.starts_with("reading stopped")));
}

#[test]
fn a_damaged_member_is_told_by_its_checksum() {
    let plain = b"time,speed\n2026-03-02T06:30:00Z,1\n2026-03-02T06:30:01Z,2\n";
    let mut out = std::io::Cursor::new(Vec::new());
    let mut writer = zip::ZipWriter::new(&mut out);
    let stored = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    writer.start_file("a.csv", stored).expect("a member");
    std::io::Write::write_all(&mut writer, plain).expect("writable");
    writer.finish().expect("an archive");
    let mut bytes = out.into_inner();
    let at = bytes.windows(3).position(|window| window == b",2\n").expect("the last row");
    bytes[at + 1] = b'3';
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("a.zip");
    std::fs::write(&path, bytes).expect("writable");
    let archive = members(&path).expect("readable").expect("an archive");
    let (member, shown) = (Some(archive.members[0].clone()), "a.zip/a.csv".to_owned());
    let receipt =
        ingest_file(source(), &LogFile { path, member, shown, vehicle: Some("T1".to_owned()) }).receipt;
    assert!(receipt.problem.is_some_and(|problem| problem.contains("checksum")));
}

/// 100 MiB of zeros in a hundred kilobytes, as text without a line end: one row refused, and an end.
#[test]
fn a_packed_bomb_ends_in_a_clear_problem() {
    use std::io::Write;
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    let mut zstd = zstd::stream::write::Encoder::new(Vec::new(), 3).expect("an encoder");
    let chunk = vec![b'0'; 1 << 20];
    for writer in [&mut gzip as &mut dyn Write, &mut zstd] {
        writer.write_all(b"time,speed\n2026-03-02T06:30:00Z,1\n").expect("writable");
        (0..100).for_each(|_| writer.write_all(&chunk).expect("writable"));
    }
    for (name, bytes) in
        [("bomb.csv.gz", gzip.finish().expect("a file")), ("bomb.csv.zst", zstd.finish().expect("a file"))]
    {
        assert!(bytes.len() < 1 << 20);
        let bomb = ingest_bytes(source(), name, &bytes).receipt;
        let problem = bomb.problem.as_deref().unwrap_or_default();
        assert!(problem.contains("unpack_ratio_max"), "{name}: {problem}");
        assert_eq!((bomb.rows_kept, bomb.rows_rejected), (1, 1));
        let small = Unpacking { bytes_most: 1 << 20, ratio_most: u64::MAX };
        let bomb = ingest_bytes(Source { unpacking: small, ..source() }, name, &bytes).receipt;
        assert!(bomb.problem.is_some_and(|problem| problem.contains("unpack_bytes_max")));
    }
}

#[test]
fn packings_and_archives_that_are_not_read_are_named() {
    for (start, what) in [
        (&b"\xFD7zXZ\0....................."[..], "xz"),
        (b"BZh91AY&SY..................", "bzip2"),
        (b"7z\xBC\xAF'\x1C.................", "7z"),
        (b"Rar!\x1A\x07\x01\0...............", "rar"),
    ] {
        let problem = ingest_bytes(source(), "log.csv", start).receipt.problem.unwrap_or_default();
        assert!(problem.contains(what) && problem.contains("gzip, zstd or zip"), "{problem}");
    }
}

/// A bad line costs itself.
#[test]
fn bad_json_lines_are_refused_with_their_line_number() {
    let deep = format!("{}1{}", "{\"a\":".repeat(5000), "}".repeat(5000));
    let log = [
        r#"{"time":"2026-03-02T06:30:00Z","speed":1}"#,
        r#"{"time":"2026-03-02T06:30:01Z","speed":"#,
        "",
        "[1,2]",
        &deep,
        r#"{"time":"2026-03-02T06:30:02Z","speed":{"value":3}}"#,
        r#"{"time":"2026-03-02T06:30:03Z","speed":4.5}"#,
    ]
    .join("\r\n");
    let minute = ingest_bytes(source(), "log.jsonl", log.as_bytes());
    assert_eq!((minute.receipt.rows_in, minute.receipt.rows_kept, minute.receipt.cells_refused), (6, 3, 1));
    let rejects = minute.rejects.expect("rejects");
    let view = BatchView::new(&REJECTS, &rejects);
    assert_eq!(view.counts("source_line").expect("a column").values(), &[2, 4, 5, 6]);
    let samples = minute.samples.expect("samples");
    let speeds = BatchView::new(&SAMPLES, &samples).numbers("speed_m_s").expect("a column").clone();
    assert_eq!(speeds.iter().collect::<Vec<_>>(), [Some(1.0), None, Some(4.5)]);
}

#[test]
fn an_array_of_objects_is_read_as_well() {
    let row = |second: u8, speed: u8| format!(r#"{{"time":"2026-03-02T06:30:0{second}Z","speed":{speed}}}"#);
    for log in [format!("[\n{},\n{}\n]\n", row(0, 1), row(1, 2)), format!("[{},\n {}]", row(0, 1), row(1, 2))] {
        let receipt = ingest_bytes(source(), "log.json", log.as_bytes()).receipt;
        assert_eq!((receipt.rows_in, receipt.rows_kept), (2, 2), "{log}");
    }
}

fn gpx(body: &str) -> Ingested {
    let text = format!("<?xml version=\"1.0\"?>\n<gpx version=\"1.1\">\n<trk><trkseg>\n{body}");
    ingest_bytes(source(), "log.gpx", text.as_bytes())
}

const POINT: &str =
    "<trkpt lat=\"1\" lon=\"2\"><time>2026-03-02T06:30:00Z</time><x:speed>&#51;</x:speed></trkpt>\n";

#[test]
fn hostile_gpx_ends_after_what_was_sound() {
    let declared = "<!DOCTYPE gpx [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\">]>";
    let read = ingest_bytes(source(), "log.gpx", format!("{declared}<gpx><trk><trkseg>{POINT}").as_bytes());
    assert!(read.receipt.problem.is_some_and(|problem| problem.contains("document type")));
    for (body, wanted) in [
        ("<a>".repeat(100_000), "deep"),
        ("x".repeat(3 << 20), "longer than 1 MiB"),
        (format!("<trkpt lat=\"{}", "x".repeat(3 << 20)), "longer than 1 MiB"),
        ("</trkpt>".to_owned(), "not well-formed"),
        ("<trkpt lat=\"1".to_owned(), "reading stopped"),
    ] {
        let read = gpx(&format!("{POINT}{body}"));
        let problem = read.receipt.problem.as_deref().unwrap_or_default();
        assert!(problem.contains(wanted), "{wanted}: {problem}");
        assert_eq!(read.receipt.rows_kept, 1, "{wanted}");
        assert!(read.receipt.balances());
    }
}

#[test]
fn entities_are_not_expanded_and_lines_are_counted() {
    let with_entity = POINT.replace("&#51;", "&what;").replace("30:00", "30:01");
    let read = gpx(&format!("{POINT}{with_entity}</trkseg></trk></gpx>"));
    assert_eq!((read.receipt.problem, read.receipt.rows_kept, read.receipt.cells_refused), (None, 2, 1));
    let rejects = read.rejects.expect("rejects");
    let view = BatchView::new(&REJECTS, &rejects);
    assert_eq!(view.counts("source_line").expect("a column").values(), &[5]);
    assert_eq!(view.texts("value").expect("a column").value(0), "&what;");
}

#[test]
fn damaged_parquet_never_stops_the_run() {
    let bytes = std::fs::read(fixture("minute.parquet")).expect("the fixture");
    for at in (0..bytes.len()).step_by(97) {
        let mut damaged = bytes.clone();
        damaged[at] ^= 0xA5;
        let receipt = ingest_bytes(source(), "log.parquet", &damaged).receipt;
        assert!(receipt.balances());
    }
}

/// Every kind of column that means something, and the texts it becomes.
#[test]
fn parquet_columns_of_many_types() {
    use arrow::array::{
        ArrayRef, Date32Array, Decimal128Array, Float32Array, Int8Array, LargeStringArray,
        TimestampMillisecondArray, TimestampNanosecondArray, UInt64Array,
    };
    let instant = 1_772_433_000_i64;
    let columns: Vec<(&str, ArrayRef)> = vec![
        (
            "iso",
            std::sync::Arc::new(
                TimestampNanosecondArray::from(vec![instant * 1_000_000_000 + 1])
                    .with_timezone("America/Chicago"),
            ),
        ),
        ("local", std::sync::Arc::new(TimestampMillisecondArray::from(vec![instant * 1000 + 250]))),
        ("day", std::sync::Arc::new(Date32Array::from(vec![20_514]))),
        ("tiny", std::sync::Arc::new(Int8Array::from(vec![-7]))),
        ("large", std::sync::Arc::new(UInt64Array::from(vec![u64::MAX]))),
        ("single", std::sync::Arc::new(Float32Array::from(vec![0.1]))),
        (
            "decimal",
            std::sync::Arc::new(
                Decimal128Array::from(vec![12_345]).with_precision_and_scale(9, 3).expect("a decimal"),
            ),
        ),
        ("text", std::sync::Arc::new(LargeStringArray::from(vec!["a,b"]))),
    ];
    let batch = RecordBatch::try_from_iter(columns).expect("a batch");
    let mut bytes = Vec::new();
    let mut writer = parquet::arrow::ArrowWriter::try_new(&mut bytes, batch.schema(), None).expect("a writer");
    writer.write(&batch).expect("written");
    writer.close().expect("closed");
    // A time that cannot be read sends the whole row to the rejects, as text.
    let mut source = source();
    source.time.columns = vec!["text".to_owned()];
    let names = ["iso", "local", "day", "tiny", "large", "single", "decimal", "text"];
    source.columns =
        names.map(|name| Mapping { names: vec![name.to_owned()], ..source.columns[0].clone() }).to_vec();
    let rejects = ingest_bytes(source, "log.parquet", &bytes).rejects.expect("a refused row");
    let raw = BatchView::new(&REJECTS, &rejects).texts("raw").expect("a column").value(0).to_owned();
    assert_eq!(
        raw.splitn(8, ',').collect::<Vec<_>>(),
        [
            "2026-03-02T06:30:00.000000001Z",
            "2026-03-02 06:30:00.250",
            "2026-03-02",
            "-7",
            "18446744073709551615",
            "0.1",
            "12.345",
            "a,b"
        ]
    );
}

#[test]
fn inspect_drafts_every_format() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for name in
        ["minute.csv.gz", "minute.zip", "minute.ndjson", "minute.parquet.zst", "minute.gpx", "minute-long.csv"]
    {
        let kind = folder.path().join(name.replace('.', "-"));
        std::fs::create_dir(&kind).expect("a folder");
        std::fs::copy(fixture(name), kind.join(name)).expect("copied");
    }
    let draft = backwatt_ingest::inspect::inspect(folder.path()).expect("a draft");
    assert_eq!(draft.sources, 6, "{:#?}", draft.notes);
    for piece in [
        "files = [\"minute-zip/minute.zip/trips/minute.csv\"]",
        "long = { signal = \"signal\", value = \"value\" }",
        "latitude = { column = \"gps.lat\"",
        "# seen: zstd, Parquet",
        "# seen: GPX",
        "# seen: JSON",
    ] {
        assert!(draft.toml.contains(piece), "{piece}\n{}", draft.toml);
    }
    assert_eq!(draft.toml.matches("time = { column = \"time\", kind = \"iso\" }").count(), 6);
    assert_eq!(draft.toml.matches("\nspeed = { column = \"speed\"").count(), 6);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// Bytes changed, cut out and cut off anywhere in any format: rows are kept or refused, and the run ends.
    #[test]
    fn receipts_balance_for_damaged_files(
        name in prop::sample::select(vec![
            "minute.csv.gz", "minute.csv.zst", "minute.zip", "minute.ndjson", "minute.gpx", "minute-long.csv",
        ]),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        cut in any::<prop::sample::Index>(),
        end in any::<prop::sample::Index>(),
    ) {
        let mut bytes = std::fs::read(fixture(name)).expect("the fixture");
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        bytes.truncate(bytes.len() / 2 + end.index(bytes.len() / 2));
        let cut = cut.index(bytes.len());
        bytes.drain(cut..(cut + 7).min(bytes.len()));
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).expect("writable");
        let archive = members(&path).ok().flatten().unwrap_or_default();
        let member = archive.members.into_iter().next();
        let source = if name.contains("long") { long() } else { source() };
        let log = LogFile { path, member, shown: name.to_owned(), vehicle: Some("T1".to_owned()) };
        prop_assert!(ingest_file(source, &log).receipt.balances());
    }
}
