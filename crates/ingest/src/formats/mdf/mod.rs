//! ASAM MDF 4 measurement files: channels in, one record per sample of a channel group out.
//!
//! Every channel group has a clock of its own. Its records are merged with those of the other groups in the order of time,
//! and each fills the fields of its own group only. A group without a time master has no place in time, and its channels
//! are not offered. Records are counted from 0 in the merged order.
//!
//! Fields: `time` (RFC 3339; `local_time`, without an offset, where the file says that its clock is local; neither where
//! the file states no start), `time_s` (the master, since the start), and every channel as `Channel`, where its name stands
//! once, and as `Group.Channel`: the group's acquisition name where no other has it, and always `group N`, counted from 0.
//!
//! The file is read by `falcon_mdf` on a thread of its own, in windows that bound the memory. Its errors and its panics
//! become the file's problem ([`guarded`]): what was read before stays.

mod channels;
mod clock;
mod cursor;
mod source;

use std::io;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

use falcon_mdf::{Mf4File, OpenOptions};

use super::guard::guarded;
use super::{Fields, Opened, Records, RowText};
use crate::input::Input;
use crate::settings::Source;
use channels::Group;
use clock::Clock;
use cursor::Cursor;

/// Records are handed over in lots, of which a few may wait.
const LOT: usize = 1024;
const LOTS_WAITING: usize = 4;
/// The standard asks for blocks of at most 4 MiB before packing; few writers exceed it.
const BLOCK_BYTES_MOST: u64 = 256 << 20;
/// Room for what the file merely claims is taken as it fills.
const CLAIM_BYTES_MOST: usize = 16 << 20;

/// True for MDF files of any version, finished or not.
pub fn recognises(head: &[u8]) -> bool {
    head.starts_with(b"MDF     ") || head.starts_with(b"UnFinMF ")
}

pub fn open(source: &Source, input: Input) -> io::Result<Opened> {
    let options = OpenOptions {
        max_alloc: CLAIM_BYTES_MOST,
        max_decompressed: BLOCK_BYTES_MOST,
        parallel_parsing: false,
        ..OpenOptions::default()
    };
    let bytes = source::open(input)?;
    let file = guarded("MDF", || Mf4File::from_source_with_options(bytes, options))?;
    let wanted: Vec<&str> = source.wanted().collect();
    let clock = guarded("MDF", || Clock::of(&file))?;
    let channels::Choice { names, units, groups } =
        guarded("MDF", || channels::pick(&file, clock.fields(), &wanted))?;
    let unfinished = if file.unfinalized().is_some() { ", not finished by its writer" } else { "" };
    Ok(Opened {
        description: format!("MDF {}, {} channels{unfinished}", file.version(), file.channel_count()),
        sparse: true,
        units,
        ..Opened::new(Box::new(MdfRecords::start(file, clock, names, groups)))
    })
}

/// One record: its cells by field, clock first.
type Record = Vec<(usize, String)>;

struct MdfRecords {
    names: Vec<String>,
    lots: Receiver<io::Result<Vec<Record>>>,
    lot: std::vec::IntoIter<Record>,
    number: u64,
}

impl MdfRecords {
    fn start(file: Mf4File, clock: Clock, names: Vec<String>, groups: Vec<Group>) -> Self {
        let (sender, lots) = sync_channel(LOTS_WAITING);
        // The windows borrow the file, so both live where they are used. The thread ends when nobody listens.
        thread::spawn(move || {
            // A panic of our own must not pass for the end of the file either.
            if let Err(error) = guarded("MDF", || produce(&file, &clock, &groups, &sender)) {
                let _ = sender.send(Err(error));
            }
        });
        Self { names, lots, lot: Vec::new().into_iter(), number: 0 }
    }
}

/// Merges the groups in the order of their times and hands the records over.
fn produce(
    file: &Mf4File,
    clock: &Clock,
    groups: &[Group],
    sender: &SyncSender<io::Result<Vec<Record>>>,
) -> io::Result<()> {
    let mut cursors = groups.iter().map(|group| Cursor::open(file, group)).collect::<io::Result<Vec<_>>>()?;
    let mut lot = Vec::with_capacity(LOT);
    let mut fault = None;
    loop {
        let earliest = match next_of(&mut cursors) {
            Ok(Some(at)) => at,
            Ok(None) => break,
            Err(error) => {
                fault = Some(error);
                break;
            }
        };
        let Some((time_s, cells)) = cursors[earliest].pop() else { break };
        lot.push(clock.cells(time_s).into_iter().chain(cells).collect());
        if lot.len() >= LOT && sender.send(Ok(std::mem::take(&mut lot))).is_err() {
            return Ok(());
        }
    }
    if sender.send(Ok(lot)).is_err() {
        return Ok(());
    }
    let missing = cursors.iter().find_map(Cursor::missing);
    fault.map_or(Ok(()), Err).and_then(|()| missing.map_or(Ok(()), |said| Err(io::Error::other(said))))
}

/// The cursor with the earliest record; the first group of those at the same time.
fn next_of(cursors: &mut [Cursor<'_>]) -> io::Result<Option<usize>> {
    let mut earliest: Option<(f64, usize)> = None;
    for (at, cursor) in cursors.iter_mut().enumerate() {
        // A sample without a time is refused later, and must not hold up those behind it.
        let time_s = cursor.peek()?.map(|time_s| if time_s.is_nan() { f64::NEG_INFINITY } else { time_s });
        if let Some(time_s) = time_s
            && earliest.is_none_or(|(least, _)| time_s.total_cmp(&least).is_lt())
        {
            earliest = Some((time_s, at));
        }
    }
    Ok(earliest.map(|(_, at)| at))
}

impl Records for MdfRecords {
    fn names(&self) -> &[String] {
        &self.names
    }

    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        let record = loop {
            if let Some(record) = self.lot.next() {
                break record;
            }
            match self.lots.recv() {
                Ok(lot) => self.lot = lot?.into_iter(),
                // The thread has ended, and all it sent has been read.
                Err(_) => return Ok(RowText::End),
            }
        };
        let mut cells = vec![""; self.names.len()];
        for (field, text) in &record {
            cells[*field] = text;
        }
        fields.clear();
        cells.iter().for_each(|cell| fields.push(cell.as_bytes()));
        self.number += 1;
        Ok(RowText::Row { line: self.number - 1, raw: Vec::new() })
    }
}
