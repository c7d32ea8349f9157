//! Which groups of the answer table may be told apart.

use std::collections::BTreeMap;

use backwatt_schema::{BatchError, BatchView};

/// A group on fewer vehicle-days is too small to hide who drove. Statistics offices ask for three to ten (the
/// minimum frequency rule: Hundepool and others, Statistical Disclosure Control, Wiley 2012; figures from memory).
pub const LEAST_VEHICLE_DAYS: u64 = 5;

/// True for rows of `recovery` that stay.
pub fn mask(view: &BatchView<'_>, people: bool, trucks: bool) -> Result<Vec<bool>, BatchError> {
    let (grouping, days) = (view.texts("grouping")?, view.counts("vehicle_days")?);
    let mut by_grouping: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for row in 0..view.rows() {
        by_grouping.entry(grouping.value(row)).or_default().push(row);
    }
    let mut mask = vec![false; view.rows()];
    for (grouping, rows) in by_grouping {
        let told = match grouping {
            "trip" => false,
            "driver" => people,
            "vehicle" | "vehicle_type" => trucks,
            // Beside the levels of all trucks it would give away what is left out of it.
            "level_of_type" => false,
            _ => true,
        };
        if told {
            let sizes: Vec<u64> = rows.iter().map(|row| days.value(*row)).collect();
            kept(&sizes).into_iter().zip(rows).for_each(|(keep, row)| mask[row] = keep);
        }
    }
    Ok(mask)
}

/// True for groups that stay. What is left out must itself be no small group, or the total less the others would give it
/// away: then the next smallest goes as well.
fn kept(sizes: &[u64]) -> Vec<bool> {
    let mut order: Vec<usize> = (0..sizes.len()).collect();
    order.sort_by_key(|at| sizes[*at]);
    let mut kept = vec![true; sizes.len()];
    let mut hidden = 0;
    for at in order {
        let small = sizes[at] < LEAST_VEHICLE_DAYS;
        if small || (hidden > 0 && hidden < LEAST_VEHICLE_DAYS) {
            kept[at] = false;
            hidden += sizes[at];
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_group_takes_the_next_with_it() {
        assert_eq!(kept(&[20, 9, 2]), [true, false, false]);
        assert_eq!(kept(&[20, 4, 3]), [true, false, false]);
        assert_eq!(kept(&[20, 9, 5]), [true, true, true]);
        assert_eq!(kept(&[2]), [false]);
    }
}
