//! What was reckoned of packs, case by case: a type on a route in a season, under every kind of day.

use super::rows::{Read, Row, UNKNOWN};

/// What one case is of.
const KEY: [&str; 4] = ["vehicle_type", "route", "season", "midday_charging"];
pub const AS_DRIVEN: &str = "as driven";

/// The rows of one case: each kind of day with each count looked at.
pub struct Case<'a> {
    pub rows: Vec<Row<'a>>,
    /// Packs the type has, where that is known.
    pub fitted: Option<u64>,
}

/// Rows in the order of the table, which keeps those of a case together.
pub fn cases<'a>(rows: &[Row<'a>], fitted: impl Fn(&str) -> Option<u64>) -> Read<Vec<Case<'a>>> {
    let key = |row: &Row<'a>| -> Read<Vec<&'a str>> { KEY.iter().map(|name| row.text(name)).collect() };
    let mut cases: Vec<Case<'a>> = Vec::new();
    for row in rows {
        let same = match cases.last().and_then(|case| case.rows.last()) {
            Some(last) => key(last)? == key(row)?,
            None => false,
        };
        match cases.last_mut() {
            Some(last) if same => last.rows.push(*row),
            _ => cases.push(Case { rows: vec![*row], fitted: fitted(row.text("vehicle_type")?) }),
        }
    }
    Ok(cases)
}

impl<'a> Case<'a> {
    /// Of one kind of day, from few packs to many.
    pub fn of(&self, kind: &str) -> Read<Vec<Row<'a>>> {
        let mut of_kind = Vec::new();
        for row in &self.rows {
            if row.text("scenario")? == kind {
                of_kind.push(*row);
            }
        }
        Ok(of_kind)
    }

    /// The count that will do, else the largest looked at.
    pub fn fewest(&self, kind: &str) -> Read<Option<Row<'a>>> {
        let rows = self.of(kind)?;
        for row in &rows {
            if row.flag("is_smallest")? {
                return Ok(Some(*row));
            }
        }
        Ok(rows.last().copied())
    }

    pub fn at(&self, kind: &str, packs: u64) -> Read<Option<Row<'a>>> {
        for row in self.of(kind)? {
            if row.count("packs")? == Some(packs) {
                return Ok(Some(row));
            }
        }
        Ok(None)
    }

    /// The packs the truck has, on one kind of day; none where that is not known or was not looked at.
    pub fn fitted(&self, kind: &str) -> Read<Option<Row<'a>>> {
        self.fitted.map_or(Ok(None), |packs| self.at(kind, packs))
    }

    pub fn words(&self, column: &str) -> Read<String> {
        self.rows.first().map_or(Ok(UNKNOWN.to_owned()), |row| row.words(column))
    }

    /// "coast in spring", with the way of charging where there are several.
    pub fn place(&self, tells_charging: bool) -> Read<String> {
        let charging = if tells_charging {
            format!(", midday charging {}", self.words("midday_charging")?)
        } else {
            String::new()
        };
        Ok(format!("{} in {}{charging}", self.words("route")?, self.words("season")?))
    }
}

/// Different words of a column, in the order they are met.
pub fn distinct<'a>(rows: &[Row<'a>], column: &str) -> Read<Vec<&'a str>> {
    let mut found = Vec::new();
    for row in rows {
        let text = row.text(column)?;
        if !found.contains(&text) {
            found.push(text);
        }
    }
    Ok(found)
}

/// "98": with decimals where it would else read as the probability that it misses.
pub fn probability(row: &Row<'_>) -> Read<String> {
    let (Some(chance), Some(target)) = (row.number("probability_finish_frac")?, row.number("target_frac")?)
    else {
        return Ok(UNKNOWN.to_owned());
    };
    let reads_alike = |digits: i32| {
        let rounded = |frac: f64| (frac * 100.0 * 10f64.powi(digits)).round();
        chance < target && rounded(chance) >= rounded(target)
    };
    let digits = (0..3).find(|digits| !reads_alike(*digits)).unwrap_or(3);
    row.likely("probability_finish_frac", digits as usize)
}

/// "93 to over 99".
pub fn interval(row: &Row<'_>) -> Read<String> {
    let low = row.likely("probability_finish_p05_frac", 0)?;
    let high = row.likely("probability_finish_p95_frac", 0)?;
    let is_sure = row.number("probability_finish_p05_frac")?.is_none_or(|low| low >= super::rows::NEARLY_SURE);
    Ok(if is_sure { low } else { format!("{low} to {high}") })
}

/// "98 (93 to over 99)".
pub fn with_interval(row: &Row<'_>) -> Read<String> {
    Ok(format!("{} ({})", probability(row)?, interval(row)?))
}
