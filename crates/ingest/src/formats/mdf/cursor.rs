//! The samples of one channel group, a window at a time.

use std::collections::VecDeque;
use std::io;

use falcon_mdf::blocks::ChannelType;
use falcon_mdf::{Channel, Mf4Error, Mf4File, Signal, SignalValues, SignalsChunks};

use super::channels::Group;
use crate::formats::guard::guarded;

/// Samples of one window.
const WINDOW: usize = 4096;

/// A sample: its time since the start of the file, its cells by field.
pub type Sample = (f64, Vec<(usize, String)>);

pub struct Cursor<'f> {
    group: &'f Group,
    windows: Option<SignalsChunks<'f>>,
    waiting: VecDeque<Sample>,
    read: u64,
}

impl<'f> Cursor<'f> {
    pub fn open(file: &'f Mf4File, group: &'f Group) -> io::Result<Self> {
        // The master is read like any other channel of its group, and comes first.
        let wanted: Vec<&Channel> =
            std::iter::once(&group.master).chain(group.channels.iter().map(|(channel, _)| channel)).collect();
        let windows = guarded("MDF", || file.signals_chunks(&wanted, WINDOW))?;
        Ok(Self { group, windows: Some(windows), waiting: VecDeque::new(), read: 0 })
    }

    /// The time of the next sample.
    pub fn peek(&mut self) -> io::Result<Option<f64>> {
        while self.waiting.is_empty() {
            let Some(mut windows) = self.windows.take() else { break };
            // A window that fails is the last: after a panic the iterator is not used again.
            let (group, first) = (self.group, self.read);
            let window = guarded("MDF", || match windows.next() {
                Some(signals) => samples(group, &signals?, first).map(Some),
                None => Ok(None),
            })?;
            let Some(samples) = window else { break };
            self.read += samples.len() as u64;
            // An empty window would come again for ever.
            if !samples.is_empty() {
                self.windows = Some(windows);
            }
            self.waiting.extend(samples);
        }
        Ok(self.waiting.front().map(|(time_s, _)| *time_s))
    }

    pub fn pop(&mut self) -> Option<Sample> {
        self.waiting.pop_front()
    }

    /// What the file says it holds, and does not.
    pub fn missing(&self) -> Option<String> {
        let Group { label, declared, .. } = self.group;
        (self.read < *declared).then(|| {
            format!("{label} states {declared} records, of which the file holds {}: it is cut short", self.read)
        })
    }
}

/// The samples of a window, the first of which is number `first` of the group.
fn samples(group: &Group, signals: &[Signal], first: u64) -> Result<Vec<Sample>, Mf4Error> {
    let Some((master, signals)) = signals.split_first() else { return Ok(Vec::new()) };
    let times = times(&group.master, master, first)?;
    let mut samples: Vec<Sample> = times.into_iter().map(|time_s| (time_s, Vec::new())).collect();
    for (signal, (_, field)) in signals.iter().zip(&group.channels) {
        let values = signal.values()?;
        for (at, (_, cells)) in samples.iter_mut().enumerate() {
            if signal.is_valid(at)
                && let Some(text) = text(&values, at)
            {
                cells.push((*field, text));
            }
        }
    }
    Ok(samples)
}

/// Seconds since the start. A virtual master counts samples, and a window would count its own from 0.
fn times(master: &Channel, signal: &Signal, first: u64) -> Result<Vec<f64>, Mf4Error> {
    if master.channel_type == ChannelType::VirtualMaster {
        return Ok((0..signal.len() as u64).map(|at| master.convert((first + at) as f64)).collect());
    }
    let mut times = signal.values_f64()?;
    for (at, time) in times.iter_mut().enumerate() {
        if !signal.is_valid(at) {
            *time = f64::NAN;
        }
    }
    Ok(times)
}

/// One value as text: whole numbers as they are, others in the shortest decimals that read back as the same double.
fn text(values: &SignalValues, at: usize) -> Option<String> {
    let number = |value: f64| value.is_finite().then(|| value.to_string());
    match values {
        SignalValues::U8(v) => v.get(at).map(ToString::to_string),
        SignalValues::U16(v) => v.get(at).map(ToString::to_string),
        SignalValues::U32(v) => v.get(at).map(ToString::to_string),
        SignalValues::U64(v) => v.get(at).map(ToString::to_string),
        SignalValues::I8(v) => v.get(at).map(ToString::to_string),
        SignalValues::I16(v) => v.get(at).map(ToString::to_string),
        SignalValues::I32(v) => v.get(at).map(ToString::to_string),
        SignalValues::I64(v) => v.get(at).map(ToString::to_string),
        SignalValues::F32(v) => v.get(at).and_then(|value| number(f64::from(*value))),
        SignalValues::F64(v) => v.get(at).and_then(|value| number(*value)),
        SignalValues::Str(v) => v.get(at).cloned(),
        _ => None,
    }
}
