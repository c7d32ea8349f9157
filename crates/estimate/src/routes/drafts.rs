//! Groups of rounds that are alike: of one vehicle, and put together of several.

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use backwatt_schema::BatchError;

use super::linkage;
use super::rounds::{Round, rounds};
use super::way::Way;
use crate::places::Places;

/// Rounds alike to this degree are one route: two rounds may each go two fifths of their length elsewhere. Much below it, two
/// routes that share the road out of town would become one. Common practice, no source.
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
    pub rounds: u64,
    /// How many of them pass each cell.
    counts: BTreeMap<u64, u64>,
    /// The round most like the others.
    pub typical: Way,
    /// Whether the pilot's map names all of them, and no log.
    pub is_mapped: bool,
}

/// The groups of one or more vehicles. Grows with routes and vehicles, not with trips.
#[derive(Debug, Clone, Default)]
pub struct Drafts {
    open: Vec<Draft>,
    /// By the name that the log or the map gives.
    labelled: BTreeMap<String, Vec<Draft>>,
}

impl Drafts {
    /// The groups of one vehicle's rounds. A round the log names is grouped by that name alone.
    pub fn of(
        trips: &RecordBatch,
        stops: &RecordBatch,
        crossings: &RecordBatch,
        places: &Places,
    ) -> Result<Self, BatchError> {
        let mut labelled: BTreeMap<Option<&str>, Vec<Round<'_>>> = BTreeMap::new();
        for round in rounds(trips, stops, crossings, places)? {
            labelled.entry(round.label).or_default().push(round);
        }
        let mut drafts = Self::default();
        for (label, alike) in labelled {
            // A logger without positions may name a route too: it has a draft, and no way.
            let (mut told, untold): (Vec<_>, Vec<_>) = alike.into_iter().partition(|round| tells(&round.path));
            if told.is_empty() && label.is_some() {
                told = untold;
            }
            let told = chosen(told, ROUNDS_MOST, |round| (1, &round.path, &round.stops));
            let told: Vec<Draft> = told.iter().map(Draft::of).collect();
            match label {
                Some(label) => {
                    drafts.labelled.insert(label.to_owned(), Draft::joined(&told).into_iter().collect());
                }
                None => drafts.open = grouped(&told),
            }
        }
        Ok(drafts)
    }

    /// Adds up to the same in any order.
    pub fn add(&mut self, other: Self) {
        self.open.extend(other.open);
        self.open = chosen(std::mem::take(&mut self.open), GROUPS_MOST, Draft::content);
        for (label, more) in other.labelled {
            self.labelled.entry(label).or_default().extend(more);
        }
    }

    /// The groups of all vehicles: those the log names by name, the others by likeness.
    pub(super) fn merged(self) -> Vec<(Option<String>, Draft)> {
        let open = grouped(&chosen(self.open, GROUPS_MOST, Draft::content));
        let mut merged: Vec<(Option<String>, Draft)> = open.into_iter().map(|draft| (None, draft)).collect();
        for (label, alike) in self.labelled {
            let (mut told, untold): (Vec<_>, Vec<_>) =
                alike.into_iter().partition(|draft| tells(&draft.typical.path));
            if told.is_empty() {
                told = untold;
            }
            let told = chosen(told, GROUPS_MOST, Draft::content);
            merged.extend(Draft::joined(&told).map(|draft| (Some(label), draft)));
        }
        merged
    }
}

/// Whether a way is long enough to tell which route it is.
fn tells(path: &[u64]) -> bool {
    path.iter().collect::<BTreeSet<_>>().len() >= CELLS_LEAST
}

impl Draft {
    fn of(round: &Round<'_>) -> Self {
        let typical = round.way();
        let counts = typical.cells().iter().map(|cell| (*cell, 1)).collect();
        Self { rounds: 1, counts, typical, is_mapped: round.is_mapped }
    }

    fn content(&self) -> (u64, &Vec<u64>, &Vec<usize>) {
        (self.rounds, &self.typical.path, &self.typical.stops)
    }

    /// One group out of several; `None` of none.
    fn joined(drafts: &[Draft]) -> Option<Draft> {
        let typical = most_typical(drafts)?.typical.clone();
        let is_mapped = drafts.iter().all(|draft| draft.is_mapped);
        let mut joined = Draft { rounds: 0, counts: BTreeMap::new(), typical, is_mapped };
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

/// Of many, those whose content comes first when it is scattered: a sample that does not depend on the order of the rounds
/// and changes little when one is added. What was driven more often comes first.
fn chosen<T>(mut all: Vec<T>, most: usize, content: impl Fn(&T) -> (u64, &Vec<u64>, &Vec<usize>)) -> Vec<T> {
    all.sort_by_cached_key(|one| {
        let (rounds, path, stops) = content(one);
        (std::cmp::Reverse(rounds), scattered(path), path.clone(), stops.clone())
    });
    all.truncate(most);
    all
}

/// FNV-1a, 64 bit (Fowler, Noll, Vo; constants as in RFC 9923), over the cells of the way.
fn scattered(path: &[u64]) -> u64 {
    let bytes = path.iter().flat_map(|cell| cell.to_le_bytes());
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
