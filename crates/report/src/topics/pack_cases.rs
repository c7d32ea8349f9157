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
    match (0..2).find(|digits| !reads_alike(*digits)) {
        Some(digits) => row.likely("probability_finish_frac", digits as usize),
        None => Ok(format!("just under {}", row.percent("target_frac", 0)?)),
    }
}

/// "93 to over 99".
pub fn interval(row: &Row<'_>) -> Read<String> {
    let low = row.likely("probability_finish_p05_frac", 0)?;
    let high = row.likely("probability_finish_p95_frac", 0)?;
    let is_sure = row.number("probability_finish_p05_frac")?.is_none_or(|low| low >= super::rows::NEARLY_SURE);
    Ok(if is_sure { low } else { format!("{low} to {high}") })
}

/// Of fewer vehicle-days a probability is provisional, and its interval too narrow: checked on made-up pilots, see the method.
const FEW_DAYS: u64 = 6;

/// "98 (93 to over 99)"; once where both say "over 99"; marked where few days are behind it.
pub fn with_interval(row: &Row<'_>) -> Read<String> {
    let (probability, interval) = (probability(row)?, interval(row)?);
    let told = if interval == probability { probability } else { format!("{probability} ({interval})") };
    let few = row.count("vehicle_days")?.is_some_and(|days| days < FEW_DAYS);
    Ok(if few { format!("{told}, provisional") } else { told })
}

/// "1 vehicle-day".
pub fn days(row: &Row<'_>) -> Read<String> {
    let plural = if row.count("vehicle_days")? == Some(1) { "" } else { "s" };
    Ok(format!("{} vehicle-day{plural}", row.whole("vehicle_days")?))
}

#[cfg(test)]
mod tests {
    use backwatt_schema::tables;

    use super::*;
    use crate::figure::plain;
    use crate::topics::made::{Typed, batch};
    use crate::topics::packs_told as told;
    use crate::topics::rows::rows;

    /// A van on one route: its packs, the probability, whether that meets 95 %, whether fewer do.
    fn row<'a>(
        route: &'a str,
        kind: &'a str,
        packs: &'a str,
        chance: &'a str,
        meets: &'a str,
        least: &'a str,
    ) -> Vec<(&'a str, &'a str)> {
        vec![
            ("vehicle_type", "van"),
            ("route", route),
            ("season", "winter"),
            ("scenario", kind),
            ("midday_charging", AS_DRIVEN),
            ("packs", packs),
            ("probability_finish_frac", chance),
            ("probability_finish_p05_frac", chance),
            ("probability_finish_p95_frac", "0.999"),
            ("target_frac", "0.95"),
            ("meets_target", meets),
            ("is_smallest", least),
            ("vehicle_days", "4"),
            ("evidence", "inferred"),
        ]
    }

    #[test]
    fn packs_that_are_there_are_judged_on_every_kind_of_day() {
        let made = [
            row("coast", AS_DRIVEN, "2", "0.5", "false", "false"),
            row("coast", AS_DRIVEN, "3", "0.9484", "false", "false"),
            row("coast", AS_DRIVEN, "4", "0.97", "true", "true"),
            row("coast", "cold", "3", "0.6", "false", "false"),
            row("ridge", AS_DRIVEN, "2", "0.98", "true", "true"),
            row("ridge", AS_DRIVEN, "3", "0.9999", "true", "false"),
            row("ridge", "cold", "3", "0.96", "true", "true"),
        ];
        let typed: Vec<Typed<'_>> = made.iter().map(Vec::as_slice).collect();
        let table = batch(&tables::PACK_SIZING, &typed);
        let cases = cases(&rows(&tables::PACK_SIZING, &table, false), |_| Some(3)).expect("cases");
        assert_eq!(cases.len(), 2);
        let fitted = told::fitted(&cases, false).expect("a sentence");
        assert_eq!(
            plain(&fitted.join(" ")),
            "van has 3 packs, enough as driven on every route and season but these: coast in winter, not shown to be enough (on 94.8 of 100 such days, 95 to over 99; \
             4 vehicle-days; inferred). The other: ridge in winter (on over 99 of 100 such days; 4 vehicle-days; inferred)."
        );
        let days = told::other_days(&cases, &[AS_DRIVEN, "cold"], false).expect("a sentence");
        assert_eq!(
            plain(&days.join(" ")),
            "Of the other kinds of day (cold) the 3 packs of van are not shown to be enough on coast in winter (cold: on 60 of 100 such days, 60 to over 99)."
        );
        let fewest = plain(&told::fewest(&cases, false).expect("a sentence"));
        assert!(
            fewest.contains(
                "2 in 1 and 4 in 1. Least sure of these: 4 packs, van on coast in winter (on 97 of 100"
            ),
            "{fewest}"
        );
    }
}
