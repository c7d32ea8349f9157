//! Groups of rounds that are alike: of one vehicle, and put together of several.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::BatchError;

use super::linkage;
use super::rounds::{Round, rounds};
use super::way::Way;
use crate::places::Places;

/// Rounds alike to this degree are one route: two rounds may each go two fifths of their length elsewhere. Below it, two
/// routes that share the road out of town would become one. Common practice, no source; the made-up pilots come out the same
/// from 0.45 to 0.75 (tests, suite `made`).
pub const ALIKE: f64 = 0.6;
/// A round of fewer cells is a move in the yard. About half a kilometre. [cells]
pub const CELLS_LEAST: usize = 5;
/// So many rounds of a vehicle, and so many groups of all, are compared with each other; the rest is held against what they
/// give. Time and memory grow with the square.
const ROUNDS_MOST: usize = 300;
const GROUPS_MOST: usize = 1000;

/// Rounds that are alike.
#[derive(Debug, Clone)]
pub struct Draft {
    /// The log's own name.
    pub label: Option<String>,
    pub rounds: u64,
    /// How many of them pass each cell.
    counts: BTreeMap<u64, u64>,
    /// The round most like the others.
    pub typical: Way,
}

/// The groups of one or more vehicles. Grows with routes and vehicles, not with trips.
#[derive(Debug, Clone, Default)]
pub struct Drafts {
    pub(super) drafts: Vec<Draft>,
}

impl Drafts {
    /// The groups of one vehicle's rounds. A round the log names is grouped by that name alone.
    pub fn of(
        trips: &RecordBatch,
        stops: &RecordBatch,
        crossings: &RecordBatch,
        places: &Places,
    ) -> Result<Self, BatchError> {
        let rounds = rounds(trips, stops, crossings, places)?;
        let (labelled, open) = by_label(rounds.iter().map(Draft::of));
        let mut drafts = grouped(&chosen(open, ROUNDS_MOST));
        for alike in labelled.into_values() {
            drafts.extend(Draft::joined(&chosen(told(alike), ROUNDS_MOST)));
        }
        Ok(Self { drafts })
    }

    pub fn add(&mut self, other: Self) {
        self.drafts.extend(other.drafts);
    }

    /// The groups of all vehicles: those the log names by name, the others by likeness.
    pub(super) fn merged(self) -> Vec<Draft> {
        let (labelled, open) = by_label(self.drafts.into_iter());
        let mut merged = grouped(&chosen(open, GROUPS_MOST));
        merged.extend(labelled.into_values().filter_map(|alike| Draft::joined(&told(alike))));
        merged
    }
}

impl Draft {
    fn of(round: &Round<'_>) -> Self {
        Self {
            label: round.label.map(str::to_owned),
            rounds: 1,
            counts: round.way.cells().iter().map(|cell| (*cell, 1)).collect(),
            typical: round.way.clone(),
        }
    }

    /// One group out of several; `None` of none.
    fn joined(drafts: &[Draft]) -> Option<Draft> {
        let typical = most_typical(drafts)?.typical.clone();
        let mut joined = Draft { label: drafts[0].label.clone(), rounds: 0, counts: BTreeMap::new(), typical };
        for draft in drafts {
            joined.rounds += draft.rounds;
            for (cell, count) in &draft.counts {
                *joined.counts.entry(*cell).or_default() += count;
            }
        }
        Some(joined)
    }

    /// The group as it is compared: cells that at least half of its rounds pass, and the places of its typical round.
    pub fn core(&self) -> Way {
        let often = self.counts.iter().filter(|(_, count)| 2 * **count >= self.rounds);
        let mut cells: Vec<u64> = often.map(|(cell, _)| *cell).collect();
        // Rounds that share the streets of a district and no street in particular.
        if 2 * cells.len() < self.typical.len() {
            cells = self.typical.cells().to_vec();
        }
        Way::new(cells, self.typical.stops.clone())
    }
}

/// By the log's own names; and those it does not name, without what is too short to tell.
fn by_label(drafts: impl Iterator<Item = Draft>) -> (BTreeMap<String, Vec<Draft>>, Vec<Draft>) {
    let mut labelled: BTreeMap<String, Vec<Draft>> = BTreeMap::new();
    let mut open = Vec::new();
    for draft in drafts {
        match &draft.label {
            Some(label) => labelled.entry(label.clone()).or_default().push(draft),
            None if draft.typical.len() >= CELLS_LEAST => open.push(draft),
            None => {}
        }
    }
    (labelled, open)
}

/// Those that tell where the route goes, if any does: a logger without positions may name it too.
fn told(alike: Vec<Draft>) -> Vec<Draft> {
    let (long, short): (Vec<Draft>, Vec<Draft>) =
        alike.into_iter().partition(|draft| draft.typical.len() >= CELLS_LEAST);
    if long.is_empty() { short } else { long }
}

/// Of many, those whose content comes first when it is scattered: a sample that does not depend on the order of the rounds
/// and changes little when one is added. What was driven more often comes first.
fn chosen(mut drafts: Vec<Draft>, most: usize) -> Vec<Draft> {
    drafts.sort_by_cached_key(|draft| {
        (
            std::cmp::Reverse(draft.rounds),
            scattered(&draft.typical),
            draft.typical.path.clone(),
            draft.typical.stops.clone(),
        )
    });
    drafts.truncate(most);
    drafts
}

/// FNV-1a, 64 bit (Fowler, Noll, Vo; constants as in RFC 9923), over the cells of the way.
fn scattered(way: &Way) -> u64 {
    let bytes = way.path.iter().flat_map(|cell| cell.to_le_bytes());
    bytes.fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

fn grouped(drafts: &[Draft]) -> Vec<Draft> {
    let weights: Vec<f64> = drafts.iter().map(|draft| draft.rounds as f64).collect();
    let cores: Vec<Way> = drafts.iter().map(Draft::core).collect();
    let groups = linkage::groups(&weights, ALIKE, |i, j| cores[i].likeness(&cores[j]));
    let members = |group: Vec<usize>| group.into_iter().map(|at| drafts[at].clone()).collect::<Vec<_>>();
    groups.into_iter().filter_map(|group| Draft::joined(&members(group))).collect()
}

/// The one most like the others, each as heavy as its rounds. Of hundreds the first are asked: they were scattered.
fn most_typical(drafts: &[Draft]) -> Option<&Draft> {
    const ASKED: usize = 60;
    let asked = &drafts[..drafts.len().min(ASKED)];
    let likeness = |one: &Draft| -> f64 {
        asked.iter().map(|other| other.rounds as f64 * one.typical.likeness(&other.typical)).sum()
    };
    let scored = asked.iter().map(|draft| (likeness(draft), draft));
    scored.reduce(|a, b| if b.0 > a.0 { b } else { a }).map(|(_, draft)| draft)
}
