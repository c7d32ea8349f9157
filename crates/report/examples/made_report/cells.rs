//! What stands in one cell of a table made by hand: the same every time, plausible in kind, true of nothing.

use backwatt_schema::Table;
use h3o::{LatLng, Resolution};

pub struct Pilot {
    pub drivers: usize,
    pub vehicles: usize,
    pub trips: usize,
    pub cells: usize,
    pub hostile: bool,
}

impl Pilot {
    pub fn vehicle(&self, n: usize) -> String {
        self.named("truck", n)
    }

    pub fn driver(&self, n: usize) -> String {
        self.named("driver", n)
    }

    pub fn route(&self, n: usize) -> String {
        self.named("route", n)
    }

    /// A name that means well, or one that does not: markup, quotes, marks that turn a line around, no end.
    pub fn named(&self, kind: &str, n: usize) -> String {
        if !self.hostile {
            return format!("{kind} {n:02}");
        }
        let bad = [
            "<script>document.title='taken'</script>",
            "\"'><img src=x onerror=alert(1)>",
            "\u{202e}desrever\u{2066}",
            "=HYPERLINK(\"http://example.org\")",
            "\u{fdd0}f\u{fdd2}plain\u{fdd2}0\u{fdd2}7\u{fdd2}us\u{fdd2}\u{fdd1}",
        ];
        match n % 6 {
            5 => format!("{kind} {n:02} {}", "W".repeat(10_000)),
            other => format!("{} {kind} {n:02}", bad[other]),
        }
    }
}

/// A number between 0 and 1 that depends on nothing but where it stands.
pub fn unit(table: &str, stem: &str, row: usize) -> f64 {
    // FNV-1a, 64 bit.
    let mut hash: u64 = 0xcbf2_9ce4_8422_2325;
    for byte in table.bytes().chain(stem.bytes()).chain(row.to_le_bytes()) {
        hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    }
    ((hash ^ (hash >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9) >> 11) as f64 / (1u64 << 53) as f64
}

/// Percentiles and bounds lie on their sides of the middle, signs where the column has them.
pub fn number(table: &'static Table, column: &str, row: usize) -> f64 {
    let mut stem = column.to_owned();
    let mut side = 1.0;
    let ends = [
        ("_p05", 0.8),
        ("_p50", 1.0),
        ("_p95", 1.2),
        ("_p10", 0.9),
        ("_p90", 1.1),
        ("_low", 0.9),
        ("_high", 1.1),
    ];
    for (end, factor) in ends {
        if stem.contains(end) {
            stem = stem.replacen(end, "", 1);
            side = factor;
        }
    }
    let base = unit(table.name, &stem, row);
    let signed =
        column.starts_with("effect") || column.starts_with("above_group") || column.contains("difference");
    let base = if signed { base - 0.4 } else { 0.1 + 0.8 * base };
    // A negative middle has its lower end further from zero.
    let side = if base < 0.0 { 2.0 - side } else { side };
    match column {
        "lat_deg" => 38.60 + 0.05 * base,
        "lon_deg" => -38.90 + 0.05 * base,
        _ if column.ends_with("_frac") => (base * side).min(0.999),
        _ if column.ends_with("_kwh_mi") => base * side,
        _ if column.ends_with("_mi") => 400.0 * base * side,
        _ if column.ends_with("_kwh") => 300.0 * base * side,
        _ if column.ends_with("_s") => 3600.0 * base * side,
        _ if column.ends_with("_m") => 20_000.0 * base * side,
        _ => 10.0 * base * side,
    }
}

/// A road cell of the made-up place.
pub fn cell(row: usize) -> String {
    let (x, y) = ((row % 40) as f64, (row / 40) as f64);
    let at = LatLng::new(38.6 + 0.0012 * y, -38.9 + 0.0016 * x).map(|at| at.to_cell(Resolution::Ten));
    at.map(|cell| cell.to_string()).unwrap_or_default()
}
